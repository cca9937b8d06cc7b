"""Addresses of sign-in and accounts."""

app_name = "people"
urlpatterns: list = []
