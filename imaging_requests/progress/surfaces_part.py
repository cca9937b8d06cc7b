"""The part of an object's page that tells what could be seen at each face, and when."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime
from itertools import groupby
from typing import Any

from django.urls import reverse

from imaging_requests.people.counting import noun_of, number_of
from imaging_requests.progress.columns import FACE_WORDS
from imaging_requests.reckoning.truth.facts import Event
from imaging_requests.reckoning.truth.moment import Moment
from imaging_requests.reckoning.truth.sights import Seen, Sight, sights
from imaging_requests.reckoning.truth.words import Speech, capital


def surfaces_over_time(
    moment: Moment, speech: Speech, *, is_past: bool = False
) -> list[dict[str, Any]]:
    """Lay out every surface below its face; asks the database nothing."""
    day = "that day" if is_past else "today"
    return [
        {"label": FACE_WORDS[face], "surfaces": [_surface(sight, speech, day) for sight in group]}
        for face, group in groupby(sights(moment), key=lambda sight: sight.face)
    ]


def _surface(sight: Sight, speech: Speech, day: str) -> dict[str, Any]:
    return {
        "code": sight.code,
        "words": capital(sight.words),
        "stands": _stands(sight, is_past=day != "today"),
        "seen": [_span(seen, speech, day) for seen in sight.seen],
        "pictures": _pictures(sight),
    }


def _stands(sight: Sight, *, is_past: bool) -> str:
    if sight.is_visible:
        return "could be seen that day" if is_past else "can be seen now"
    if sight.is_gone:
        return "gone for ever"
    return "hidden that day" if is_past else "hidden now"


def _span(seen: Seen, speech: Speech, day: str) -> dict[str, Any]:
    """The two ends of a time, each with its words, its event and the event's own page."""
    begins = _end(seen.from_at, seen.opened_by, speech)
    if seen.opened_by is None:
        begins["words"] = "when the object came"
    ends = _end(seen.until_at, seen.closed_by, speech)
    if seen.closed_by is None:
        ends["words"] = day
        if seen.until_at is not None:
            planned = "" if seen.is_planned else ", as planned"
            ends["words"] = f"{speech.day(seen.until_at)}{planned}"
        elif seen.is_planned:
            ends["words"] = "a day not planned yet"
    if seen.is_planned and seen.from_at is None:
        begins["words"] = "a day not planned yet"
    return {"ends": (begins, ends), "is_planned": seen.is_planned}


def _end(at: datetime | None, event: Event | None, speech: Speech) -> dict[str, str]:
    end = {"words": speech.day(at) if at is not None else "", "event": "", "code": "", "href": ""}
    if event is not None:
        end["event"] = speech.event(event)
        if event.treatment is not None:
            end["code"] = speech.names.get(event.treatment, "")
            end["href"] = reverse("progress:treatment", args=[event.treatment])
    return end


def _pictures(sight: Sight) -> str:
    if not sight.pictures:
        return "no picture of it was ever accepted" if _was_seen(sight.seen) else "none yet"
    verb = noun_of(sight.speaking, "speaks", "speak")
    if sight.speaking == sight.pictures:
        return f"{number_of(sight.pictures, 'picture')} {verb} for it"
    return f"{sight.speaking} of {number_of(sight.pictures, 'picture')} {verb} for it"


def _was_seen(seen: Iterable[Seen]) -> bool:
    return any(each.closed_by is not None for each in seen)
