"""Addresses of the picture service."""

from django.urls import path

from imaging_requests.pictures import views

app_name = "pictures"
urlpatterns = [
    path("iiif/<str:identifier>", views.base, name="base"),
    path("iiif/<str:identifier>/info.json", views.description, name="description"),
    path(
        "iiif/<str:identifier>/<str:area>/<str:size>/<str:rotation>/<str:ending>",
        views.region,
        name="region",
    ),
]
