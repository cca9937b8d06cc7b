"""The addresses of the picture service."""

from __future__ import annotations

from pathlib import Path

from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.views.decorators.http import require_safe

from imaging_requests.intake.policies import SEE_PICTURES
from imaging_requests.people.policies import requires, why_not
from imaging_requests.people.requests import signed_in
from imaging_requests.pictures import answers
from imaging_requests.pictures.sources import Source, find_source


def _open(request: HttpRequest, identifier: str) -> tuple[Source, Path]:
    """Return the picture and its file if the person may see it; otherwise refuse with why not."""
    source = find_source(identifier)
    if source is None:
        raise answers.RefusedError(answers.refuse(answers.NOT_THERE, status=404))
    reason = why_not(signed_in(request), SEE_PICTURES, source.subject)
    if reason:
        raise answers.RefusedError(answers.refuse(reason, status=403))
    if source.path is None:
        raise answers.RefusedError(answers.not_made_yet(source.not_there_because))
    return source, source.path


def _address(request: HttpRequest, identifier: str) -> str:
    return request.build_absolute_uri(reverse("pictures:base", args=[identifier]))


@requires(SEE_PICTURES)
@require_safe
@answers.answering
def base(request: HttpRequest, identifier: str) -> HttpResponse:
    """Lead to the description of a picture."""
    _open(request, identifier)
    return answers.redirect_to_info(_address(request, identifier))


@requires(SEE_PICTURES)
@require_safe
@answers.answering
def description(request: HttpRequest, identifier: str) -> HttpResponse:
    """Describe a picture: its size, its tiles, what can be asked of it."""
    _, path = _open(request, identifier)
    return answers.describe_picture(request, path, address=_address(request, identifier))


@requires(SEE_PICTURES)
@require_safe
@answers.answering
def region(
    request: HttpRequest, identifier: str, area: str, size: str, rotation: str, ending: str
) -> HttpResponse:
    """Give a region of a picture in a size."""
    source, path = _open(request, identifier)
    return answers.give_picture(
        request,
        path,
        recipe=source.recipe,
        address=_address(request, identifier),
        parts=(area, size, rotation, ending),
    )
