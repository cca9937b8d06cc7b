"""Addresses of the first pages, the catalogue board, entries, objects, treatments, decisions."""

from django.urls import path

from imaging_requests.progress import treatment_views, views

app_name = "progress"
urlpatterns = [
    path("", views.first_page, name="first_page"),
    path("catalogues/", views.catalogues, name="catalogues"),
    path("catalogues/<int:pk>/", views.board, name="board"),
    path("entries/<int:pk>/", views.entry, name="entry"),
    path("objects/<int:pk>/", views.museum_object, name="object"),
    path("objects/<int:object_pk>/treatment/", treatment_views.treatment_new, name="treatment_new"),
    path("objects/<int:object_pk>/incident/", treatment_views.incident_new, name="incident_new"),
    path("treatments/", treatment_views.treatments, name="treatments"),
    path("treatments/<int:pk>/", treatment_views.treatment, name="treatment"),
    path("treatments/<int:pk>/<slug:act>/", treatment_views.treatment_act, name="treatment_act"),
    path("treatment-steps/<int:pk>/<slug:act>/", treatment_views.step_act, name="step_act"),
    path("decisions/", treatment_views.decisions, name="decisions"),
    path("decisions/<int:pk>/", treatment_views.decide, name="decide"),
]
