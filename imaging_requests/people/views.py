"""Sign-in, sign-out, accounts, and the page for a form that came without its token."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from imaging_requests.people.policies import public


@public
def csrf_failure(request: HttpRequest, reason: str = "") -> HttpResponse:
    """Say in words that a form was too old or came from elsewhere."""
    return render(request, "errors/403.html", {"stale_form": True}, status=403)
