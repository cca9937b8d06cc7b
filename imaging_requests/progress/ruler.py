"""Draw an object's state line as a ruler of time: spans, ticks and a scale in per cent."""

from __future__ import annotations

import zoneinfo
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from itertools import pairwise
from typing import Any

from django.conf import settings

from imaging_requests.people.counting import number_of
from imaging_requests.reckoning.truth.facts import Event
from imaging_requests.reckoning.truth.moment import Moment
from imaging_requests.reckoning.truth.windows import windows
from imaging_requests.reckoning.truth.words import Speech, capital

LEAST_WIDTH = 0.4
MARGIN = timedelta(days=21)
MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


@dataclass(frozen=True)
class _Scale:
    start: datetime
    end: datetime

    def place(self, instant: datetime) -> float:
        share = (instant - self.start) / (self.end - self.start)
        return round(min(max(share, 0.0), 1.0) * 100, 2)

    def width(self, start: datetime, end: datetime) -> float:
        return max(round(self.place(end) - self.place(start), 2), LEAST_WIDTH)


def draw_ruler(moment: Moment, speech: Speech, *, chosen: int, address: str) -> dict[str, Any]:
    """Lay out the states, the events between them and what is planned.

    `chosen` is the state that the page shows; `address` is the page of the object, which shows a
    past state as its last full day.
    """
    now = moment.t
    openers = [event for event in moment.line.openers if event.ended_at is not None]
    planned = [
        event
        for event in moment.events
        if event.ended_at is None and event.dropped_at is None and event.planned_start_at
    ]
    instants = [event.ended_at for event in openers if event.ended_at is not None]
    instants += [event.planned_start_at for event in planned if event.planned_start_at]
    instants += [
        standing.picture.captured_at for group in moment.pictures.values() for standing in group
    ]
    start = min([now - timedelta(days=180), *instants]) - MARGIN
    end = max([now + timedelta(days=60), *instants]) + MARGIN
    scale = _Scale(start, end)
    return {
        "spans": _spans(moment, openers, scale, speech, chosen, address),
        "ticks": _ticks(openers, planned, scale, speech),
        "scale": _months(scale),
        "today": scale.place(now),
        "caption": _caption(openers, planned, speech),
    }


def _spans(
    moment: Moment,
    openers: list[Event],
    scale: _Scale,
    speech: Speech,
    chosen: int,
    address: str,
) -> list[dict[str, Any]]:
    bounds = [scale.start, *(event.ended_at or scale.start for event in openers), moment.t]
    spans: list[dict[str, Any]] = []
    present = len(bounds) - 2
    for index, (start, end) in enumerate(pairwise(bounds)):
        last_day = None if index == present else _last_full_day(start, end)
        since = f"since {speech.dated(openers[index - 1])}" if index else "as it came"
        spans.append(
            {
                "label": f"s{index}",
                "start": scale.place(start),
                "width": scale.width(start, end),
                "href": _address(address, last_day, is_present=index == present),
                "words": f"State {index}, {since}",
                "is_chosen": index == chosen,
            }
        )
    for window in windows(moment):
        if window.opens_at is None or window.closes_at is None:
            continue
        spans.append(
            {
                "label": window.surface,
                "start": scale.place(window.opens_at),
                "width": scale.width(window.opens_at, window.closes_at),
                "words": f"Surface {window.surface} can be seen only from "
                f"{speech.day(window.opens_at)} to {speech.day(window.closes_at)}",
                "kind": "window",
            }
        )
    return spans


def _last_full_day(start: datetime, end: datetime) -> date | None:
    """The last day whose end lies in the state; None if it did not see one."""
    zone = zoneinfo.ZoneInfo(settings.STUDIO_ZONE)
    day = end.astimezone(zone).date() - timedelta(days=1)
    closes = datetime.combine(day + timedelta(days=1), time(), tzinfo=zone)
    return day if closes > start else None


def _address(address: str, day: date | None, *, is_present: bool) -> str:
    if is_present:
        return address
    return f"{address}?as_of={day.isoformat()}" if day else ""


def _ticks(
    openers: list[Event], planned: list[Event], scale: _Scale, speech: Speech
) -> list[dict[str, Any]]:
    ticks: list[dict[str, Any]] = []
    for number, event in enumerate(openers, 1):
        assert event.ended_at is not None
        tick: dict[str, Any] = {
            "at": scale.place(event.ended_at),
            "number": number,
            "date": speech.day(event.ended_at),
            "words": capital(speech.event(event)),
        }
        if event.treatment is None:
            tick["kind"] = "incident"
        ticks.append(tick)
    planned.sort(key=lambda event: (event.planned_start_at or scale.end, event.step or 0))
    for number, event in enumerate(planned, len(openers) + 1):
        assert event.planned_start_at is not None
        ticks.append(
            {
                "at": scale.place(event.planned_start_at),
                "number": number,
                "date": speech.day(event.planned_start_at),
                "words": f"{capital(speech.event(event))} (planned)",
                "kind": "planned",
            }
        )
    return ticks


def _months(scale: _Scale) -> list[dict[str, Any]]:
    zone = zoneinfo.ZoneInfo(settings.STUDIO_ZONE)
    first = scale.start.astimezone(zone)
    months = (scale.end - scale.start).days // 30
    step = 1 if months <= 14 else 3 if months <= 42 else 12
    marks: list[dict[str, Any]] = []
    year, month = first.year, first.month
    while True:
        month += 1
        if month > 12:
            year, month = year + 1, 1
        instant = datetime(year, month, 1, tzinfo=zone)
        if instant >= scale.end:
            return marks
        if (month - 1) % step == 0:
            label = f"{year}" if month == 1 or step == 12 else MONTHS[month - 1]
            marks.append({"at": scale.place(instant), "label": label})


def _caption(openers: list[Event], planned: list[Event], speech: Speech) -> str:
    if not openers and not planned:
        return "One state: nothing has changed this object since it came into the programme."
    done = "; ".join(f"state {n} since {speech.dated(e)}" for n, e in enumerate(openers, 1))
    ahead = f"; {number_of(len(planned), 'step')} planned" if planned else ""
    return f"State 0 as it came{'; ' + done if done else ''}{ahead}."
