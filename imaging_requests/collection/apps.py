"""The app's place in Django."""

from django.apps import AppConfig


class CollectionConfig(AppConfig):
    """Catalogues, entries, objects, their facts, numbers, faces and whereabouts."""

    name = "imaging_requests.collection"

    def ready(self) -> None:
        from imaging_requests.collection import guards

        guards.declare()
