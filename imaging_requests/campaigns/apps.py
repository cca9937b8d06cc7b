"""The app's place in Django, and what it tells the room further in."""

from django.apps import AppConfig


class CampaignsConfig(AppConfig):
    """Campaigns, stations, sessions, shot lines, bookings and set-up cards."""

    name = "imaging_requests.campaigns"

    def ready(self) -> None:
        from imaging_requests.campaigns import guards
        from imaging_requests.campaigns.plans import plans_of
        from imaging_requests.campaigns.queries import sessions_ahead
        from imaging_requests.people.leaving import tell_ahead
        from imaging_requests.requesting import outlook

        guards.declare()
        outlook.tell_plans(plans_of)
        tell_ahead(sessions_ahead)
