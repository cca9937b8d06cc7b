"""The app's place in Django."""

from django.apps import AppConfig


class PeopleConfig(AppConfig):
    """Users, roles, who may do what, the audit trail, and what every page shares."""

    name = "imaging_requests.people"
