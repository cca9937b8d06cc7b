"""What stands in the place of a small picture that is closed to somebody."""

from __future__ import annotations

import textwrap
from typing import Any

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render

from imaging_requests.intake.policies import why_closed
from imaging_requests.people.policies import is_outside
from imaging_requests.people.requests import signed_in

LINE_CHARACTERS = 32
MOST_LINES = 4
FIRST_LINE_PX, LINE_PX = 100, 16


def refusal(request: HttpRequest, subject: Any, *, longest_px: int = 0) -> HttpResponse | None:
    """Return a drawing that says why a picture is closed, or None if it is open.

    `longest_px` is the longest side of what would be given: who sees small pictures only gets
    nothing larger. For people from outside a closed picture does not exist: raises `Http404`.
    """
    user = signed_in(request)
    reason = why_closed(user, subject, longest_px=longest_px)
    if not reason:
        return None
    if is_outside(user):
        raise Http404("There is no such picture, or it is not open to you.")
    lines = textwrap.wrap(reason, LINE_CHARACTERS, max_lines=MOST_LINES, placeholder=" …")
    context = {
        "lines": [
            {"words": words, "y": FIRST_LINE_PX + LINE_PX * number}
            for number, words in enumerate(lines)
        ]
    }
    answer = render(
        request, "intake/picture_hidden.svg", context, content_type="image/svg+xml", status=403
    )
    answer["Cache-Control"] = "no-store"
    return answer
