"""The app's place in Django."""

from django.apps import AppConfig


class IntakeConfig(AppConfig):
    """Drops, arrivals, frames, the store, the sorting table and background jobs."""

    name = "imaging_requests.intake"

    def ready(self) -> None:
        from django.core import checks

        from imaging_requests.campaigns.awaited import tell_placed
        from imaging_requests.intake import guards
        from imaging_requests.intake.checks import check_places
        from imaging_requests.intake.kinds import register_kinds
        from imaging_requests.intake.queries import placed_on_lines

        guards.declare()
        checks.register(check_places)
        register_kinds()
        tell_placed(placed_on_lines)
