"""Addresses of the picture service."""

from django.urls import path

from imaging_requests.pictures import views, views_access, views_manifest

app_name = "pictures"
urlpatterns = [
    path("iiif/<str:identifier>", views.base, name="base"),
    path("iiif/<str:identifier>/info.json", views.description, name="description"),
    path(
        "iiif/<str:identifier>/<str:area>/<str:size>/<str:rotation>/<str:ending>",
        views.region,
        name="region",
    ),
    path("link/<str:token>", views.link, name="link"),
    path("link/<str:token>/info.json", views.link_description, name="link_description"),
    path(
        "link/<str:token>/<str:area>/<str:size>/<str:rotation>/<str:ending>",
        views.link_region,
        name="link_region",
    ),
    path("objects/<uuid:uuid>/manifest.json", views_manifest.manifest, name="manifest"),
    path("objects/<int:pk>/restrictions/", views_access.restrictions, name="restrictions"),
    path("restrictions/<int:pk>/lift/", views_access.lift, name="lift"),
    path("grants/", views_access.grants, name="grants"),
    path("grants/<int:pk>/end/", views_access.end_grant, name="end_grant"),
    path("granted/", views_access.granted, name="granted"),
    path("granted/<uuid:uuid>/", views_access.granted_object, name="granted_object"),
]
