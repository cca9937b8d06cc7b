"""Pages of the drift watch."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils import timezone
from django.views.decorators.http import require_safe

from imaging_requests.campaigns.models import Station
from imaging_requests.deliverables.drift_page import drift_context, stations_context
from imaging_requests.deliverables.policies import READ_REVIEWS
from imaging_requests.people.policies import requires


@requires(READ_REVIEWS)
@require_safe
def drift_stations(request: HttpRequest) -> HttpResponse:
    """The stations whose checks can be watched."""
    return render(request, "deliverables/drift_stations.html", stations_context())


@requires(READ_REVIEWS)
@require_safe
def drift(request: HttpRequest, code: str) -> HttpResponse:
    """The control charts of one station, those with an alarm first."""
    station = get_object_or_404(Station, code=code)
    return render(request, "deliverables/drift.html", drift_context(station, now=timezone.now()))
