"""What views need from a request, with its type."""

from __future__ import annotations

from django.http import HttpRequest

from imaging_requests.people.models import User


def signed_in(request: HttpRequest) -> User:
    """Return the person behind the request; login is required everywhere that calls this."""
    user = request.user
    if not isinstance(user, User):
        raise TypeError("This view was reached without a sign-in.")
    return user
