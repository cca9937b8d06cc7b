"""The app's place in Django."""

from django.apps import AppConfig


class TreatmentsConfig(AppConfig):
    """Treatments, interventions, incidents, decisions and what follows from them."""

    name = "imaging_requests.treatments"

    def ready(self) -> None:
        from imaging_requests.treatments import guards

        guards.declare()
