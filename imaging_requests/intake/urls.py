"""Addresses of drops, uploads, the sorting table and small pictures."""

from django.urls import path

from imaging_requests.intake import views, views_sorting, views_tus

app_name = "intake"
urlpatterns = [
    path("drops/", views.drops, name="drops"),
    path("drops/new/", views.drop_new, name="drop_new"),
    path("drops/<int:pk>/", views.drop, name="drop"),
    path("drops/<int:pk>/state/", views.drop_state, name="drop_state"),
    path("drops/<int:pk>/receipt/", views.receipt, name="receipt"),
    path("drops/<int:pk>/close/", views.drop_close, name="drop_close"),
    path("drops/<int:pk>/clock/", views.drop_clock, name="drop_clock"),
    path("store/", views.store_page, name="store"),
    path("files/", views_tus.tus, name="tus"),
    path("files/<uuid:token>/", views_tus.tus_upload, name="tus_upload"),
    path("files/<uuid:token>/give-up/", views.arrival_give_up, name="arrival_give_up"),
    path("refused/<int:pk>/clear/", views.arrival_clear, name="arrival_clear"),
    path("work/<int:pk>/again/", views.job_again, name="job_again"),
    path("sorting/", views_sorting.sorting_table, name="sorting_table"),
    path("sorting/steps/<int:pk>/undo/", views_sorting.step_undo, name="step_undo"),
    path("clocks/<int:pk>/", views_sorting.clock_decide, name="clock_decide"),
    path("sorting/take-back/", views_sorting.take_back, name="take_back"),
    path("pictures/<int:frame_pk>/<str:kind>/", views.picture, name="picture"),
]
