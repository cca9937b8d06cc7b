"""Addresses of deliverables, their reviews, and packages."""

from django.urls import path

from imaging_requests.deliverables import views, views_packages

app_name = "deliverables"
urlpatterns = [
    path("reviews/", views.reviews, name="reviews"),
    path("reviews/<int:pk>/", views.review, name="review"),
    path("lone-work/", views.lone_work, name="lone_work"),
    path("packages/", views_packages.packages, name="packages"),
    path("packages/<int:pk>/", views_packages.package, name="package"),
    path("packages/<int:pk>/manifest.json", views_packages.manifest, name="manifest"),
    path("<int:pk>/", views.deliverable, name="deliverable"),
    path("<int:pk>/sheet.jpg", views.sheet, name="sheet"),
    path("<int:pk>/hand-in/", views.hand_in, name="hand_in"),
    path("<int:pk>/take-back/", views.take_back, name="take_back"),
    path("<int:pk>/start-again/", views.start_again, name="start_again"),
    path("<int:pk>/recall/", views.recall, name="recall"),
]
