"""What the page of a campaign shows: its sessions by day and station, hours booked."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

from django.urls import reverse
from django.utils import timezone

from imaging_requests.campaigns import queries
from imaging_requests.campaigns.models import Campaign, Session, SessionState, Station
from imaging_requests.campaigns.policies import PLAN
from imaging_requests.campaigns.words import (
    day_words,
    duration_words,
    line_words,
    local_day,
    time_words,
)
from imaging_requests.people.models import User
from imaging_requests.people.policies import may
from imaging_requests.requesting.words import numbers_of


@dataclass(frozen=True, kw_only=True)
class ShownSession:
    """A session as a cell of the plan."""

    session: Session
    times: str
    hours: str
    lines: int
    done: int
    objects: int

    @property
    def is_off(self) -> bool:
        """Whether it was cancelled."""
        return self.session.state == SessionState.CANCELLED


def shown(session: Session) -> ShownSession:
    """Lay a session out; it carries the counts of `campaign_sessions`."""
    return ShownSession(
        session=session,
        times=time_words(session.starts_at, session.ends_at),
        hours=duration_words(session.ends_at - session.starts_at),
        lines=session.line_count,  # type: ignore[attr-defined]
        done=session.done_count,  # type: ignore[attr-defined]
        objects=session.object_count,  # type: ignore[attr-defined]
    )


def campaign_context(campaign: Campaign, user: User) -> dict[str, Any]:
    """Everything the page of a campaign shows."""
    sessions = queries.campaign_sessions(campaign)
    live = [session for session in sessions if session.state != SessionState.CANCELLED]
    used = {session.station_id for session in sessions}
    stations = [row for row in queries.stations_in_use() if row.pk in used] or list(
        queries.stations_in_use()
    )
    return {
        "campaign": campaign,
        "stations": stations,
        "days": _days(sessions, stations),
        "booked": [{"station": station, "hours": _hours(live, station)} for station in stations],
        "answer": _answer(campaign, live),
        "counts": _counts(live),
        "questions": questions(),
        "actions": _actions(campaign, user),
    }


def _actions(campaign: Campaign, user: User) -> list[dict[str, str]]:
    if not may(user, PLAN):
        return []
    href = reverse("campaigns:session_new", args=[campaign.pk])
    if not has_ended(campaign):
        return [{"label": "Plan a session", "href": href, "kind": "do"}]
    return [
        {"label": "Open a campaign", "href": reverse("campaigns:campaign_new"), "kind": "do"},
        {"label": "Plan a session after its end", "href": href},
    ]


def has_ended(campaign: Campaign) -> bool:
    """Tell whether the last day of a campaign is over in the studio."""
    return campaign.ends_on < timezone.localdate()


def _hours(sessions: Sequence[Session], station: Station) -> str:
    length = sum(
        (row.ends_at - row.starts_at for row in sessions if row.station_id == station.pk),
        timedelta(),
    )
    return duration_words(length)


def _days(sessions: Sequence[Session], stations: Sequence[Station]) -> list[dict[str, Any]]:
    """One row for each day with a session: its cells in the order of the stations."""
    grid: dict[date, dict[int, list[ShownSession]]] = defaultdict(lambda: defaultdict(list))
    for session in sessions:
        grid[local_day(session.starts_at)][session.station_id].append(shown(session))
    return [
        {
            "day": day_words(day),
            "cells": [
                {"station": station, "sessions": cells.get(station.pk, [])} for station in stations
            ],
        }
        for day, cells in sorted(grid.items())
    ]


def _answer(campaign: Campaign, live: Sequence[Session]) -> str:
    ended = has_ended(campaign)
    name = f"{campaign.name} has ended" if ended else campaign.name
    if not live:
        return f"{name}: no session was held" if ended else f"{name}: no session is planned yet"
    drafts = sum(session.state == SessionState.DRAFT for session in live)
    closed = sum(session.state == SessionState.CLOSED for session in live)
    parts = [f"{len(live)} session{'' if len(live) == 1 else 's'}"]
    if closed:
        parts.append(f"{closed} closed")
    if drafts:
        parts.append(f"{drafts} still a draft" if drafts == 1 else f"{drafts} still drafts")
    return f"{name}: {', '.join(parts)}"


def _counts(live: Sequence[Session]) -> list[dict[str, Any]]:
    lines = sum(session.line_count for session in live)  # type: ignore[attr-defined]
    done = sum(session.done_count for session in live)  # type: ignore[attr-defined]
    length = sum((session.ends_at - session.starts_at for session in live), timedelta())
    return [
        {"figure": duration_words(length), "unit": "booked"},
        {"figure": f"{done} of {lines}", "unit": "lines done"},
    ]


def questions() -> list[dict[str, str]]:
    """What the lead is asked about the plan: unwanted lines, sessions without a photographer."""
    lines = queries.unwanted_lines()
    numbers = numbers_of(line.object_id for line in lines)
    found = [
        {
            "text": f"Nobody asks for {line_words(line)} of {numbers[line.object_id]} any more, "
            f"planned on {day_words(local_day(line.session.starts_at))}. Drop or keep it?",
            "href": reverse("campaigns:session", args=[line.session_id]),
        }
        for line in lines
    ]
    found += [
        {
            "text": f"{session.photographer}'s account is closed, and the session on "
            f"{day_words(local_day(session.starts_at))} is theirs. Name another photographer.",
            "href": reverse("campaigns:session_edit", args=[session.pk]),
        }
        for session in queries.left_behind()
    ]
    return found
