"""Resumable uploads by the open protocol tus 1.0: core, creation, termination.

The offset that is answered is the number of bytes that are on the disk, so a sender may always
go on from there. The body is read in small pieces and never held in memory.
"""

from __future__ import annotations

import base64
import binascii
from collections.abc import Callable, Iterator
from functools import wraps
from typing import Any
from uuid import UUID

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.views.decorators.cache import never_cache

from imaging_requests.intake import actions
from imaging_requests.intake.models import Arrival, ArrivalState, Drop
from imaging_requests.intake.policies import UPLOAD
from imaging_requests.people.errors import DomainError
from imaging_requests.people.policies import requires
from imaging_requests.people.requests import MOST_DIGITS, signed_in, whole_number

VERSION = "1.0.0"
BODY_TYPE = "application/offset+octet-stream"
PIECE_BYTES = 1024 * 1024
CREATING = frozenset({"OPTIONS", "POST"})
SENDING = frozenset({"HEAD", "PATCH", "DELETE"})
TusView = Callable[..., HttpResponse]


class _WrongRequest(Exception):
    """A request that the protocol does not allow, with the status that it names."""

    def __init__(self, status: int, sentence: str, **headers: str) -> None:
        super().__init__(sentence)
        self.status, self.sentence, self.headers = status, sentence, headers


def _method(request: HttpRequest) -> str:
    """Return the method; senders behind narrow gates override POST, which carries its token."""
    if request.method == "POST" and "X-HTTP-Method-Override" in request.headers:
        return str(request.headers["X-HTTP-Method-Override"]).upper()
    return str(request.method)


def _protocol(view: TusView) -> TusView:
    """Check the version, turn refusals into the statuses of the protocol, and say who answers."""

    @wraps(view)
    def answered(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        try:
            if _method(request) != "OPTIONS" and request.headers.get("Tus-Resumable") != VERSION:
                raise _WrongRequest(412, f"This is tus {VERSION}.", **{"Tus-Version": VERSION})
            response = view(request, *args, **kwargs)
        except _WrongRequest as error:
            response = _plain(error.status, error.sentence, error.headers)
        except (Arrival.DoesNotExist, Drop.DoesNotExist):
            response = _plain(404, "Nothing is being received under this address.")
        except DomainError as error:
            response = _plain(error.status, str(error))
        response["Tus-Resumable"] = VERSION
        return response

    return answered


def _plain(status: int, sentence: str, headers: dict[str, str] | None = None) -> HttpResponse:
    return HttpResponse(
        sentence, status=status, content_type="text/plain; charset=utf-8", headers=headers
    )


@requires(UPLOAD)
@never_cache
@_protocol
def tus(request: HttpRequest) -> HttpResponse:
    """Tell what is understood (OPTIONS), or announce a file (POST)."""
    method = _method(request)
    if method not in CREATING:
        raise _WrongRequest(405, "Files are announced with POST.", Allow="OPTIONS, POST")
    if method == "OPTIONS":
        return HttpResponse(
            status=204,
            headers={
                "Tus-Version": VERSION,
                "Tus-Extension": "creation,termination",
                "Tus-Max-Size": str(settings.UPLOAD_LIMIT_BYTES),
            },
        )
    size_bytes = _whole(request, "Upload-Length")
    told = _metadata(request.headers.get("Upload-Metadata", ""))
    arrival = actions.begin_arrival(
        actor=signed_in(request),
        drop_id=_drop_id(told.get("drop", "")),
        name=told.get("filename") or told.get("name", ""),
        size_bytes=size_bytes,
    )
    address = reverse("intake:tus_upload", args=[arrival.token])
    return HttpResponse(status=201, headers={"Location": address})


@requires(UPLOAD)
@never_cache
@_protocol
def tus_upload(request: HttpRequest, token: UUID) -> HttpResponse:
    """Tell how much is here (HEAD), take in more (PATCH), or give the file up (DELETE)."""
    method = _method(request)
    if method not in SENDING:
        raise _WrongRequest(405, "A file is sent with PATCH.", Allow="HEAD, PATCH, DELETE")
    if method == "DELETE":
        actions.give_up_arrival(actor=signed_in(request), token=token)
        return HttpResponse(status=204)
    if method == "HEAD":
        return _standing(token)
    return _take_in(request, token)


def _standing(token: UUID) -> HttpResponse:
    arrival = Arrival.objects.get(token=token)
    if arrival.state == ArrivalState.GIVEN_UP:
        raise _WrongRequest(410, "This file was given up.")
    return HttpResponse(
        status=200,
        headers={
            "Upload-Offset": str(arrival.offset_bytes),
            "Upload-Length": str(arrival.size_bytes),
            "Cache-Control": "no-store",
        },
    )


def _take_in(request: HttpRequest, token: UUID) -> HttpResponse:
    if request.content_type != BODY_TYPE:
        raise _WrongRequest(415, f"The body of a file is sent as {BODY_TYPE}.")
    if not request.META.get("CONTENT_LENGTH"):
        raise _WrongRequest(411, "Say how long the body is.")
    offset = _whole(request, "Upload-Offset")
    arrived = actions.append_bytes(
        actor=signed_in(request), token=token, offset=offset, chunks=_pieces(request)
    )
    return HttpResponse(status=204, headers={"Upload-Offset": str(arrived)})


def _pieces(request: HttpRequest) -> Iterator[bytes]:
    while piece := request.read(PIECE_BYTES):
        yield piece


def _whole(request: HttpRequest, header: str) -> int:
    number = whole_number(request.headers.get(header, ""))
    if number is None:
        raise _WrongRequest(
            400, f"{header} must be a whole number of bytes, with at most {MOST_DIGITS} digits."
        )
    return number


def _metadata(header: str) -> dict[str, str]:
    """Read "key base64, key base64"; a key alone stands for an empty value."""
    told: dict[str, str] = {}
    for pair in header.split(","):
        key, _, value = pair.strip().partition(" ")
        if not key:
            continue
        try:
            told[key] = base64.b64decode(value, validate=True).decode("utf-8")
        except (binascii.Error, UnicodeDecodeError) as error:
            raise _WrongRequest(400, f"Upload-Metadata: {key} is not readable.") from error
    return told


def _drop_id(text: str) -> int:
    number = whole_number(text)
    if number is None:
        raise _WrongRequest(400, "Upload-Metadata must name the drop by its number in the address.")
    return number
