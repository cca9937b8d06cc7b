"""The app's place in Django."""

from django.apps import AppConfig


class ProgressConfig(AppConfig):
    """Derived statuses, the catalogue board and the pages that read everything."""

    name = "imaging_requests.progress"
