"""Addresses of campaigns, sessions, the shot list and the light book."""

from django.urls import path

from imaging_requests.campaigns import views, views_easel

app_name = "campaigns"
urlpatterns = [
    path("", views.campaigns, name="campaigns"),
    path("new/", views.campaign_new, name="campaign_new"),
    path("<int:pk>/", views.campaign, name="campaign"),
    path("<int:campaign_pk>/sessions/new/", views.session_new, name="session_new"),
    path("sessions/<int:pk>/", views.session, name="session"),
    path("sessions/<int:pk>/edit/", views.session_edit, name="session_edit"),
    path("sessions/<int:pk>/pick/", views.session_pick, name="session_pick"),
    path("sessions/<int:pk>/confirm/", views.session_confirm, name="session_confirm"),
    path("sessions/<int:pk>/start/", views_easel.session_start, name="session_start"),
    path("sessions/<int:pk>/close/", views_easel.session_close, name="session_close"),
    path("sessions/<int:pk>/cancel/", views.session_cancel, name="session_cancel"),
    path("sessions/<int:pk>/sign/", views.limit_sign, name="limit_sign"),
    path("lines/<int:pk>/drop/", views.line_drop, name="line_drop"),
    path("lines/<int:pk>/keep/", views.line_keep, name="line_keep"),
    path("lines/<int:pk>/done/", views_easel.line_done, name="line_done"),
    path("lines/<int:pk>/not-done/", views_easel.line_not_done, name="line_not_done"),
    path("lines/<int:pk>/slate/", views_easel.slate, name="slate"),
    path("lines/<int:pk>/reopen/", views_easel.line_reopen, name="line_reopen"),
    path("shot-list/", views_easel.shot_list, name="shot_list"),
    path("shot-list/<int:pk>/", views_easel.shot_line, name="shot_line"),
    path("cards/<int:pk>/", views_easel.setup_card, name="setup_card"),
    path("cards/<int:pk>/recall/", views_easel.setup_recall, name="setup_recall"),
    path("light/<int:object_pk>/", views_easel.light_book, name="light_book"),
]
