"""The app's place in Django."""

from django.apps import AppConfig


class DeliverablesConfig(AppConfig):
    """Deliverables, their checks and reviews, recalls and sealed packages."""

    name = "imaging_requests.deliverables"

    def ready(self) -> None:
        from imaging_requests.deliverables import guards, jobs
        from imaging_requests.intake.jobs import register

        guards.declare()
        register(jobs.ASSEMBLE, jobs.assemble, jobs.QUEUE, jobs.LONGEST_S)
