"""Addresses of sign-in and accounts."""

from django.urls import path

from imaging_requests.people import views

app_name = "people"
urlpatterns = [
    path("sign-in/", views.sign_in, name="sign_in"),
    path("sign-out/", views.sign_out, name="sign_out"),
    path("accounts/", views.accounts, name="accounts"),
    path("accounts/<int:pk>/", views.account, name="account"),
    path("own/", views.own_account, name="own_account"),
    path("notices/read/", views.notices_read, name="notices_read"),
]
