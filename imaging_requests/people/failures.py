"""Pages for what Django itself refuses: each says what happened, what is safe, what to do."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render


def bad_request(request: HttpRequest, exception: Exception | None = None) -> HttpResponse:
    """The request could not be read."""
    return render(request, "errors/400.html", status=400)


def not_allowed(request: HttpRequest, exception: Exception | None = None) -> HttpResponse:
    """The person may not do this."""
    return render(request, "errors/403.html", status=403)


def not_found(request: HttpRequest, exception: Exception | None = None) -> HttpResponse:
    """There is nothing here, or nothing for this person."""
    return render(request, "errors/404.html", status=404)


def broken(request: HttpRequest) -> HttpResponse:
    """The program failed; rendered without the request, whose context may be what failed."""
    return render(None, "errors/500.html", status=500)
