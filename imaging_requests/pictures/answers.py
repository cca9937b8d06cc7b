"""Answers of the picture service in HTTP: headers, conditional requests, refusals in a sentence."""

from __future__ import annotations

import hashlib
import logging
from collections.abc import Callable, Iterator
from functools import wraps
from pathlib import Path
from typing import Any, TypeVar

import pyvips
from django.http import (
    HttpRequest,
    HttpResponse,
    HttpResponseBase,
    JsonResponse,
    StreamingHttpResponse,
)
from django.utils.http import parse_etags
from django.views.decorators.csrf import csrf_exempt
from django.views.decorators.http import require_safe

from imaging_requests.imaging.iiif import info, render
from imaging_requests.imaging.iiif.asked import (
    MEDIA_TYPES,
    Asked,
    Limits,
    WrongRequestError,
    read_request,
)
from imaging_requests.imaging.iiif.pyramid import Pyramid, PyramidError, read_pyramid
from imaging_requests.pictures.numbers import service_numbers

logger = logging.getLogger(__name__)

View = TypeVar("View", bound=Callable[..., HttpResponseBase])

CODE_VERSION = 1
"""Raised whenever the same request would give other bytes; browsers then ask anew."""
LD_JSON = f'application/ld+json;profile="{info.CONTEXT}"'
NOT_THERE = "There is no such picture, or it is not open to you."
ALL_ORIGINS = "*"
PART_BYTES = 512 * 1024


class RefusedError(Exception):
    """An answer that ends the work on a request; it carries the response."""

    def __init__(self, answer: HttpResponse) -> None:
        super().__init__(answer.status_code)
        self.answer = answer


def read_only(view: View) -> View:
    """Answer GET and HEAD alone; everything else is refused with 405, whatever token it brings.

    Without this the program would ask for a token before it looks at the method, and say 403.
    """
    return csrf_exempt(require_safe(view))


def answering(view: View) -> View:
    """Turn a refusal that a view meets into its answer."""

    @wraps(view)
    def answered(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        try:
            return view(request, *args, **kwargs)
        except RefusedError as refused:
            return refused.answer

    return answered  # type: ignore[return-value]


def refuse(sentence: str, *, status: int) -> HttpResponse:
    """Answer with a sentence; programs on other sites may read it too."""
    answer = HttpResponse(f"{sentence}\n", status=status, content_type="text/plain; charset=utf-8")
    answer["Access-Control-Allow-Origin"] = ALL_ORIGINS
    answer["Cache-Control"] = "no-store"
    return answer


def not_made_yet(sentence: str) -> HttpResponse:
    """Say that a picture cannot be shown now and when to ask again."""
    answer = refuse(sentence, status=503)
    answer["Retry-After"] = "30"
    return answer


def redirect_to_info(address: str) -> HttpResponse:
    """Lead from a picture's bare address to its description."""
    answer = HttpResponse(status=303)
    answer["Location"] = f"{address}/info.json"
    answer["Access-Control-Allow-Origin"] = ALL_ORIGINS
    return answer


def describe_picture(
    request: HttpRequest, path: Path, *, address: str, limits: Limits | None = None
) -> HttpResponse:
    """Answer the information document; `limits` where less than usual may be asked for."""
    pyramid = _pyramid(path)
    body = info.describe(pyramid, address=address, limits=limits or service_numbers().limits)
    wants_ld = "application/ld+json" in request.headers.get("Accept", "")
    answer = JsonResponse(body, content_type=LD_JSON if wants_ld else "application/json")
    answer["Access-Control-Allow-Origin"] = ALL_ORIGINS
    answer["Vary"] = "Accept"
    answer["Cache-Control"] = "private, no-cache"
    answer["Link"] = f'<{info.LEVEL_DOCUMENT}>;rel="profile"'
    return answer


def give_picture(
    request: HttpRequest,
    path: Path,
    *,
    recipe: str,
    address: str,
    parts: tuple[str, str, str, str],
    allow: Callable[[Asked, str], None] | None = None,
    is_still_open: Callable[[], bool] | None = None,
) -> HttpResponseBase:
    """Answer one region in one size; `parts` are region, size, rotation, quality.format.

    `allow(asked, canonical)` may refuse before anything is made. `is_still_open` is asked again
    before each part of a long answer; when it is not, the transfer ends there.
    """
    pyramid = _pyramid(path)
    region, size, rotation, ending = parts
    quality, _, suffix = ending.rpartition(".")
    numbers = service_numbers()
    try:
        asked = read_request(
            (region, size, rotation, quality, suffix),
            size_px=(pyramid.width_px, pyramid.height_px),
            limits=numbers.limits,
        )
    except WrongRequestError as error:
        raise RefusedError(refuse(str(error), status=400)) from error
    canonical = asked.canonical(default_quality=render.default_quality(pyramid))
    named = f"{CODE_VERSION} {recipe} {numbers.jpeg_quality} {canonical}"
    if allow is not None:
        allow(asked, canonical)
    etag = f'"{hashlib.sha256(named.encode()).hexdigest()[:32]}"'
    answer: HttpResponseBase
    if etag in parse_etags(request.headers.get("If-None-Match", "")):
        answer = HttpResponse(status=304)
    else:
        try:
            body = render.answer(path, pyramid, asked, quality=numbers.jpeg_quality)
        except (OSError, PyramidError, pyvips.Error) as error:
            raise _not_readable(path, error) from error
        answer = _answer_with(body, MEDIA_TYPES[asked.format], is_still_open)
    answer["ETag"] = etag
    answer["Access-Control-Allow-Origin"] = ALL_ORIGINS
    answer["Cache-Control"] = f"private, max-age={numbers.kept_s}"
    answer["Link"] = (
        f'<{address}/{canonical}>;rel="canonical",<{info.LEVEL_DOCUMENT}>;rel="profile"'
    )
    return answer


def _answer_with(
    body: bytes, media_type: str, is_still_open: Callable[[], bool] | None
) -> HttpResponseBase:
    if is_still_open is None or len(body) <= PART_BYTES:
        return HttpResponse(body, content_type=media_type)
    answer = StreamingHttpResponse(_parts(body, is_still_open), content_type=media_type)
    answer["Content-Length"] = str(len(body))
    return answer


def _parts(body: bytes, is_still_open: Callable[[], bool]) -> Iterator[bytes]:
    """Hand out a long answer in parts, and stop when it is no longer open to the person."""
    for start in range(0, len(body), PART_BYTES):
        if start and not is_still_open():
            logger.warning("a transfer was ended after %s of %s bytes", start, len(body))
            return
        yield body[start : start + PART_BYTES]


def _pyramid(path: Path) -> Pyramid:
    try:
        return read_pyramid(path)
    except (OSError, PyramidError) as error:
        raise _not_readable(path, error) from error


def _not_readable(path: Path, error: Exception) -> RefusedError:
    logger.error("pyramid %s cannot be read: %s", path, error)
    return RefusedError(
        not_made_yet(
            "The derived picture is not on the disk now; the master is safe. The system keeper "
            "can have it made again."
        )
    )
