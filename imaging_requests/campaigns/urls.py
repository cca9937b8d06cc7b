"""Addresses of campaigns, sessions and the shot list."""

app_name = "campaigns"
urlpatterns: list = []
