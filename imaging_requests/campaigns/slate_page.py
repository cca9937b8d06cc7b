"""The slate of a shot line: what is photographed first, so that frames find session and line."""

from __future__ import annotations

from datetime import datetime
from typing import Any

import segno
from django.urls import reverse
from django.utils.safestring import mark_safe

from imaging_requests.campaigns.models import ShotLine
from imaging_requests.campaigns.words import day_words, line_words, local, local_day, time_words
from imaging_requests.imaging.slate.payload import Slate, slate_text
from imaging_requests.requesting.words import numbers_of

MODULE_PX = 8
QUIET_MODULES = 4


def slate_context(line: ShotLine, *, now: datetime, on_paper: bool) -> dict[str, Any]:
    """The slate in words and as a code; on paper it cannot know the time."""
    card = line.setup_card.values if line.setup_card is not None else {}
    body = str(card.get("body_serial", ""))
    shown_at = None if on_paper else now.replace(microsecond=0)
    text = slate_text(Slate(line.session_id, line.pk, body, shown_at))
    session = line.session
    return {
        "line": line,
        "number": numbers_of([line.object_id])[line.object_id],
        "words": line_words(line),
        "station": session.station,
        "when": f"{day_words(local_day(session.starts_at))}, "
        f"{time_words(session.starts_at, session.ends_at)}",
        "body": body,
        "clock": "" if shown_at is None else f"{local(shown_at):%H:%M:%S}",
        "zone": "" if shown_at is None else f"{local(shown_at):%Z}",
        "text": text,
        "code": _code(text),
        "on_paper": on_paper,
        "address": reverse("campaigns:slate", args=[line.pk]),
    }


def _code(text: str) -> str:
    """Draw the code; black on white whatever the page's mode, for a camera reads it."""
    drawn = segno.make(text, error="q", micro=False).svg_inline(
        scale=MODULE_PX, border=QUIET_MODULES, dark="#000", light="#fff", omitsize=True
    )
    return mark_safe(drawn)
