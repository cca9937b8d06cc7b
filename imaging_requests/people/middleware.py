"""What every request passes: the studio's clock, the page's content policy, refusals as pages."""

from __future__ import annotations

import logging
import zoneinfo
from collections.abc import Callable

from django.conf import settings
from django.core.exceptions import ObjectDoesNotExist
from django.db import IntegrityError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone

from imaging_requests.people.errors import Contradiction, DomainError, StaleWrite
from imaging_requests.people.way_back import typed, way_back

logger = logging.getLogger(__name__)

GetResponse = Callable[[HttpRequest], HttpResponse]


class ContentSecurityPolicy:
    """Everything a page loads comes from this site; nothing runs that is written into a page."""

    policy = (
        "default-src 'self'; img-src 'self' data: blob:; object-src 'none'; base-uri 'self'; "
        "form-action 'self'; frame-ancestors 'none'"
    )

    def __init__(self, get_response: GetResponse) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        response = self.get_response(request)
        response.headers.setdefault("Content-Security-Policy", self.policy)
        return response


class StudioZone:
    """Instants are stored in UTC and shown in the studio's zone, wherever the server stands."""

    def __init__(self, get_response: GetResponse) -> None:
        self.get_response = get_response
        self.zone = zoneinfo.ZoneInfo(settings.STUDIO_ZONE)

    def __call__(self, request: HttpRequest) -> HttpResponse:
        with timezone.override(self.zone):
            return self.get_response(request)


class DomainErrors:
    """Turn a refusal that no view handled into a page or a fragment with its sentence.

    A row that is gone when its action looks for it is answered like one that never was. An address
    that only takes forms says so to a person who opens it, as after a sign-in amid a step. What the
    database refuses by itself, such as a name that somebody saved a moment earlier, is a refusal
    too, and stands in the log with its trace.
    """

    def __init__(self, get_response: GetResponse) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        response = self.get_response(request)
        if (
            response.status_code != 405
            or request.method != "GET"
            or not (back := way_back(request))
        ):
            return response
        page = render(request, "errors/405.html", {"back": back}, status=405)
        page.headers["Allow"] = response.headers["Allow"]
        return page

    def process_exception(self, request: HttpRequest, error: Exception) -> HttpResponse | None:
        if isinstance(error, ObjectDoesNotExist):
            logger.warning("Gone, or never there: %s at %s", error, request.path)
            return render(request, "errors/404.html", status=404)
        if isinstance(error, IntegrityError):
            logger.exception("The database refused a row at %s", request.path)
            error = Contradiction()
        if not isinstance(error, DomainError):
            return None
        context = {
            "error": error,
            "differences": error.differences if isinstance(error, StaleWrite) else [],
            "back": way_back(request),
            "typed": typed(request),
        }
        htmx = bool(getattr(request, "htmx", False))
        template = "errors/refusal_fragment.html" if htmx else f"errors/{error.status}.html"
        return render(request, template, context, status=error.status)
