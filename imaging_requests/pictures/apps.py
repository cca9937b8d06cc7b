"""The app's place in Django."""

from django.apps import AppConfig


class PicturesConfig(AppConfig):
    """The picture service and who may see what of which picture."""

    name = "imaging_requests.pictures"

    def ready(self) -> None:
        from imaging_requests.deliverables.actions.handing_over import add_handing_rule
        from imaging_requests.intake.policies import add_frames_rule, add_picture_rule
        from imaging_requests.people.actions import add_leaving_rule
        from imaging_requests.pictures import guards
        from imaging_requests.pictures.access import kept_back, why_frames_hidden, why_hidden
        from imaging_requests.pictures.actions import end_grants_of

        guards.declare()
        add_picture_rule(why_hidden)
        add_frames_rule(why_frames_hidden)
        add_handing_rule(kept_back)
        add_leaving_rule(end_grants_of)
