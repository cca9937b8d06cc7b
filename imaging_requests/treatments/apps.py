"""The app's place in Django."""

from django.apps import AppConfig


class TreatmentsConfig(AppConfig):
    """Treatments, interventions, incidents, decisions and what follows from them."""

    name = "imaging_requests.treatments"

    def ready(self) -> None:
        from imaging_requests.protocols.models import RuleKind
        from imaging_requests.protocols.news import tell_published
        from imaging_requests.treatments import guards
        from imaging_requests.treatments.stale import mark_planned

        guards.declare()
        tell_published(RuleKind.TRIGGERS, mark_planned)
