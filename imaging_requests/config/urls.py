"""Every address of the program, one include for each room."""

from django.urls import include, path

urlpatterns = [
    # asked for by the hundred while somebody looks at a picture, so found first
    path("pictures/", include("imaging_requests.pictures.urls")),
    path("", include("imaging_requests.progress.urls")),
    path("people/", include("imaging_requests.people.urls")),
    path("objects/", include("imaging_requests.collection.urls")),
    path("rules/", include("imaging_requests.protocols.urls")),
    path("requests/", include("imaging_requests.requesting.urls")),
    path("campaigns/", include("imaging_requests.campaigns.urls")),
    path("intake/", include("imaging_requests.intake.urls")),
    path("deliverables/", include("imaging_requests.deliverables.urls")),
]
handler400 = "imaging_requests.people.failures.bad_request"
handler403 = "imaging_requests.people.failures.not_allowed"
handler404 = "imaging_requests.people.failures.not_found"
handler500 = "imaging_requests.people.failures.broken"
