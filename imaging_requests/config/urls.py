"""Every address of the program, one include for each room."""

from django.urls import include, path

urlpatterns = [
    path("people/", include("imaging_requests.people.urls")),
    path("protocols/", include("imaging_requests.protocols.urls")),
]
