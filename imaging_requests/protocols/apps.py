"""The app's place in Django."""

from django.apps import AppConfig


class ProtocolsConfig(AppConfig):
    """Versions of the protocol, of the trigger table and of the studio's settings."""

    name = "imaging_requests.protocols"

    def ready(self) -> None:
        from imaging_requests.collection import limits
        from imaging_requests.protocols import guards, queries

        guards.declare()
        limits.tell_limits(queries.limits_of_measures)
