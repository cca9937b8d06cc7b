"""The app's place in Django."""

from django.apps import AppConfig


class DemoConfig(AppConfig):
    """The invented museum that shows the program at work."""

    name = "imaging_requests.demo"
