"""The app's place in Django."""

from django.apps import AppConfig


class PicturesConfig(AppConfig):
    """The picture service and who may see what of which picture."""

    name = "imaging_requests.pictures"
