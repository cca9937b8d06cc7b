"""The app's place in Django, and what it tells the rooms further in."""

from django.apps import AppConfig


class ProgressConfig(AppConfig):
    """Derived statuses, the catalogue board and the pages that read everything."""

    name = "imaging_requests.progress"

    def ready(self) -> None:
        from imaging_requests.intake.jobs import register
        from imaging_requests.progress import rehearsal_work
        from imaging_requests.progress.drawing import drawing_pictures
        from imaging_requests.progress.standing import open_only, standings
        from imaging_requests.requesting import outlook

        outlook.tell_standing(standings)
        outlook.tell_open(open_only)
        outlook.tell_pictures(drawing_pictures)
        register(
            rehearsal_work.REHEARSE,
            rehearsal_work.work,
            rehearsal_work.QUEUE,
            rehearsal_work.LONGEST_S,
            when_failed=rehearsal_work.failed,
        )
