"""Addresses about objects."""

from django.urls import path

from imaging_requests.collection import views

app_name = "collection"
urlpatterns = [path("<int:pk>/facts/", views.facts, name="facts")]
