"""Addresses of requests and of what is signed about duties."""

from django.urls import path

from imaging_requests.requesting import views, views_waivers

app_name = "requesting"
urlpatterns = [
    path("", views.requests, name="requests"),
    path("new/", views.request_new, name="request_new"),
    path("triage/", views.triage, name="triage"),
    path("<int:pk>/", views.request, name="request"),
    path("<int:pk>/withdraw/", views.withdraw, name="withdraw"),
    path("<int:pk>/follow/", views.follow, name="follow"),
    path("waivers/", views_waivers.waivers, name="waivers"),
    path("waivers/<int:pk>/end/", views_waivers.waiver_end, name="waiver_end"),
    path("waivers/<int:pk>/co-sign/", views_waivers.co_sign, name="waiver_co_sign"),
    path("proposals/<int:pk>/sign/", views_waivers.sign, name="waiver_sign"),
    path("proposals/<int:pk>/refuse/", views_waivers.refuse, name="waiver_refuse"),
    path("views/<int:pk>/waive/", views_waivers.waive, name="waive"),
    path("views/<int:pk>/replace/", views_waivers.replace, name="replace"),
    path(
        "objects/<int:object_pk>/not-applicable/",
        views_waivers.not_applicable,
        name="not_applicable",
    ),
    path(
        "not-applicable/<int:pk>/end/",
        views_waivers.not_applicable_end,
        name="not_applicable_end",
    ),
    path("entries/<int:pk>/gap/", views_waivers.gap_statement, name="gap_statement"),
]
