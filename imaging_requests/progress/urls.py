"""Addresses of the first pages, the catalogue board, entries, objects, treatments, decisions."""

from django.urls import path

from imaging_requests.progress import (
    decision_views,
    register_views,
    rehearsal_views,
    treatment_views,
    treatment_views_times,
    views,
)
from imaging_requests.progress.look import views as look_views

app_name = "progress"
urlpatterns = [
    path("", views.first_page, name="first_page"),
    path("catalogues/", views.catalogues, name="catalogues"),
    path("catalogues/new/", register_views.catalogue_new, name="catalogue_new"),
    path("catalogues/<int:pk>/", views.board, name="board"),
    path("catalogues/<int:pk>/entry/", register_views.entry_new, name="entry_new"),
    path("catalogues/<int:pk>/numbers/", views.numbers, name="numbers"),
    path("catalogues/<int:pk>/numbers/<slug:metric>/<slug:part>/", views.rows, name="rows"),
    path("entries/<int:pk>/object/", register_views.object_into_entry, name="object_into_entry"),
    path("objects/<int:pk>/moved/", register_views.moved, name="moved"),
    path("objects/<int:pk>/unavailable/", register_views.unavailable, name="unavailable"),
    path("objects/<int:pk>/merged/", register_views.merged, name="merged"),
    path("objects/<int:pk>/parted/", register_views.parted, name="parted"),
    path("entries/<int:pk>/", views.entry, name="entry"),
    path("objects/<int:pk>/", views.museum_object, name="object"),
    path("objects/<int:object_pk>/treatment/", treatment_views.treatment_new, name="treatment_new"),
    path("objects/<int:object_pk>/incident/", treatment_views.incident_new, name="incident_new"),
    path("objects/<int:pk>/look/", look_views.look, name="look"),
    path("objects/<int:pk>/look/pair/", look_views.look_pair, name="look_pair"),
    path("objects/<int:pk>/notes/new/", look_views.note_new, name="look_note_new"),
    path("notes/<int:pk>/", look_views.note, name="look_note"),
    path("notes/<int:pk>/take-back/", look_views.note_withdraw, name="look_note_withdraw"),
    path("treatments/", treatment_views.treatments, name="treatments"),
    path("treatments/<int:pk>/", treatment_views.treatment, name="treatment"),
    path(
        "treatments/<int:pk>/reassign/",
        decision_views.treatment_reassign,
        name="treatment_reassign",
    ),
    path("treatments/<int:pk>/<slug:act>/", treatment_views.treatment_act, name="treatment_act"),
    path("treatment-steps/<int:pk>/emergency/", treatment_views.emergency, name="emergency"),
    path("treatment-steps/<int:pk>/<slug:act>/", treatment_views.step_act, name="step_act"),
    path("proposed-times/<int:pk>/<slug:act>/", treatment_views_times.times_act, name="times_act"),
    path("rehearsals/<slug:kind>/<int:pk>/", rehearsal_views.rehearse, name="rehearse"),
    path("decisions/", decision_views.decisions, name="decisions"),
    path("decisions/<int:pk>/", decision_views.decide, name="decide"),
    path("decisions/<int:pk>/reopen/", decision_views.reopen, name="case_reopen"),
    path("decisions/<int:pk>/hand-on/", decision_views.hand_on, name="case_hand_on"),
]
