"""The app's place in Django."""

from django.apps import AppConfig


class IntakeConfig(AppConfig):
    """Drops, arrivals, frames, the store, the sorting table and background jobs."""

    name = "imaging_requests.intake"

    def ready(self) -> None:
        from imaging_requests.intake import guards
        from imaging_requests.intake.kinds import register_kinds

        guards.declare()
        register_kinds()
