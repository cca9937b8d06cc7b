"""Addresses for the validator of the Image API: its picture through our answers, no sign-in."""

from __future__ import annotations

from pathlib import Path

from django.http import HttpRequest, HttpResponse
from django.urls import path, reverse

from imaging_requests.people.policies import public
from imaging_requests.pictures import answers

IDENTIFIER = "67352ccc-d1b0-11e1-89ae-279075081939"
#: Where the test has put the pyramid of the validator's picture.
PYRAMIDS: list[Path] = []


def _open(identifier: str) -> Path:
    if identifier != IDENTIFIER:
        raise answers.RefusedError(answers.refuse(answers.NOT_THERE, status=404))
    return PYRAMIDS[-1]


def _address(request: HttpRequest, identifier: str) -> str:
    return request.build_absolute_uri(reverse("base", args=[identifier]))


@public
@answers.answering
def base(request: HttpRequest, identifier: str) -> HttpResponse:
    _open(identifier)
    return answers.redirect_to_info(_address(request, identifier))


@public
@answers.answering
def description(request: HttpRequest, identifier: str) -> HttpResponse:
    return answers.describe_picture(
        request, _open(identifier), address=_address(request, identifier)
    )


@public
@answers.answering
def region(
    request: HttpRequest, identifier: str, area: str, size: str, rotation: str, ending: str
) -> HttpResponse:
    return answers.give_picture(
        request,
        _open(identifier),
        recipe="test picture",
        address=_address(request, identifier),
        parts=(area, size, rotation, ending),
    )


urlpatterns = [
    path("iiif/<str:identifier>", base, name="base"),
    path("iiif/<str:identifier>/info.json", description),
    path("iiif/<str:identifier>/<str:area>/<str:size>/<str:rotation>/<str:ending>", region),
]
