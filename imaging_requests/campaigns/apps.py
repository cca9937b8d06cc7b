"""The app's place in Django."""

from django.apps import AppConfig


class CampaignsConfig(AppConfig):
    """Campaigns, stations, sessions, shot lines, bookings and set-up cards."""

    name = "imaging_requests.campaigns"
