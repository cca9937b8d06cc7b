"""The app's place in Django, and what it tells the rooms further in."""

from django.apps import AppConfig


class ProgressConfig(AppConfig):
    """Derived statuses, the catalogue board and the pages that read everything."""

    name = "imaging_requests.progress"

    def ready(self) -> None:
        from imaging_requests.progress.standing import standings
        from imaging_requests.requesting import outlook

        outlook.tell_standing(standings)
