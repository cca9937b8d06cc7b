"""The app's place in Django."""

from django.apps import AppConfig


class RequestingConfig(AppConfig):
    """Requests, owed views, the demand that keeps them alive, waivers."""

    name = "imaging_requests.requesting"

    def ready(self) -> None:
        from imaging_requests.requesting import guards

        guards.declare()
