"""The app's place in Django."""

from django.apps import AppConfig


class ProtocolsConfig(AppConfig):
    """Versions of the protocol, of the trigger table and of the studio's settings."""

    name = "imaging_requests.protocols"

    def ready(self) -> None:
        from imaging_requests.protocols import guards

        guards.declare()
