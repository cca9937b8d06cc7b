"""Addresses of deliverables, their reviews, and packages."""

from django.urls import URLPattern

app_name = "deliverables"
urlpatterns: list[URLPattern] = []
