"""Addresses of the studio's versioned rules."""

from django.urls import path

from imaging_requests.protocols import views

app_name = "protocols"
urlpatterns = [
    path("", views.versions, name="versions"),
    path("entries/<int:entry_pk>/", views.entry_pin, name="entry_pin"),
    path("<slug:kind>/new/", views.draft_new, name="draft_new"),
    path("<slug:kind>/compare/", views.compared, name="compare"),
    path("<slug:kind>/<int:pk>/", views.version, name="version"),
    path("<slug:kind>/<int:pk>/draft/", views.draft, name="draft"),
    path("<slug:kind>/<int:pk>/sign/", views.sign, name="sign"),
    path(
        "<slug:kind>/<int:pk>/rehearsal/<int:rehearsal_pk>/read/",
        views.read_report,
        name="read_report",
    ),
    path("<slug:kind>/<int:pk>/co-sign/", views.co_sign, name="co_sign"),
    path("<slug:kind>/<int:pk>/retire/", views.retire, name="retire"),
]
