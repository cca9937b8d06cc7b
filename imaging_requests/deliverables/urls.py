"""Addresses of deliverables, their reviews, and packages."""

from django.urls import path

from imaging_requests.deliverables import (
    views,
    views_comparisons,
    views_corrections,
    views_drift,
    views_packages,
    views_plates,
)

app_name = "deliverables"
urlpatterns = [
    path("reviews/", views.reviews, name="reviews"),
    path("reviews/<int:pk>/", views.review, name="review"),
    path("comparisons/new/", views_comparisons.compare_new, name="compare_new"),
    path("comparisons/<int:pk>/", views_comparisons.comparison, name="comparison"),
    path("comparisons/<int:pk>/picture.png", views_comparisons.picture, name="comparison_picture"),
    path("comparisons/<int:pk>/retest/", views_comparisons.retest, name="comparison_retest"),
    path("drift/", views_drift.drift_stations, name="drift_stations"),
    path("drift/<slug:code>/", views_drift.drift, name="drift"),
    path("lone-work/", views.lone_work, name="lone_work"),
    path("packages/", views_packages.packages, name="packages"),
    path("packages/<int:pk>/", views_packages.package, name="package"),
    path("packages/<int:pk>/manifest.json", views_packages.manifest, name="manifest"),
    path("packages/<int:pk>/hand-over/", views_packages.hand_over, name="hand_over"),
    path("deliveries/<int:pk>/received/", views_packages.received, name="received"),
    path("corrections/", views_corrections.corrections_list, name="corrections"),
    path("corrections/<int:pk>/", views_corrections.correction, name="correction"),
    path("corrections/told/<int:pk>/", views_corrections.confirm, name="correction_confirm"),
    path("<int:pk>/words/", views.correct_words, name="correct_words"),
    path("<int:pk>/", views.deliverable, name="deliverable"),
    path("<int:pk>/sheet.jpg", views.sheet, name="sheet"),
    path("<int:pk>/plates/", views_plates.plates, name="plates"),
    path("<int:pk>/plates/found/", views_plates.plates_found, name="plates_found"),
    path("<int:pk>/join/", views_plates.join, name="join"),
    path("<int:pk>/joined/<str:kind>/", views_plates.joined, name="joined"),
    path("<int:pk>/hand-in/", views.hand_in, name="hand_in"),
    path("<int:pk>/take-back/", views.take_back, name="take_back"),
    path("<int:pk>/start-again/", views.start_again, name="start_again"),
    path("<int:pk>/recall/", views.recall, name="recall"),
]
