"""Load the Celery application once Django's settings stand."""

from django.apps import AppConfig


class ConfigConfig(AppConfig):
    """The outermost ring as an app, so that tasks find their application in every process."""

    name = "imaging_requests.config"

    def ready(self) -> None:
        from imaging_requests.config import celery

        celery.app.set_default()
