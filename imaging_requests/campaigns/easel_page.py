"""The shot list at the easel: the day's lines, and one line with its numbers."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime
from typing import Any

from django.urls import reverse

from imaging_requests.campaigns import queries
from imaging_requests.campaigns.awaited import awaited_of, files_words, nothing_came
from imaging_requests.campaigns.models import Session, SessionState, ShotLine, ShotLineState
from imaging_requests.campaigns.policies import PLAN, RUN
from imaging_requests.campaigns.rules import NOT_DONE_WORDS, NotDone
from imaging_requests.campaigns.session_page import exposures_words
from imaging_requests.campaigns.words import (
    card_figures,
    day_words,
    line_words,
    local,
    time_words,
)
from imaging_requests.collection.models import Unavailability
from imaging_requests.people.models import User
from imaging_requests.people.policies import may
from imaging_requests.requesting import outlook
from imaging_requests.requesting.words import numbers_of

_STATE_WORDS = {
    ShotLineState.PLANNED: "to shoot",
    ShotLineState.DONE: "done",
    ShotLineState.NOT_DONE: "not done",
}


def list_context(day: date, user: User) -> dict[str, Any]:
    """The lines of a day, session by session, and the next one to shoot."""
    sessions = queries.sessions_on(day, user)
    lines = queries.lines_of(sessions)
    numbers = numbers_of(line.object_id for line in lines)
    awaited = awaited_of(lines)
    rows: list[dict[str, Any]] = [
        {
            "line": line,
            "number": numbers[line.object_id],
            "words": line_words(line),
            "exposures": exposures_words(line),
            "state_words": _STATE_WORDS[ShotLineState(line.state)],
            "awaited": files_words(awaited[line.pk]) if awaited.get(line.pk) else "",
        }
        for line in lines
    ]
    waiting = [
        row
        for row in rows
        if row["line"].state == ShotLineState.PLANNED
        and row["line"].session.state != SessionState.CLOSED
    ]
    return {
        "day": day_words(day),
        "date": day,
        "groups": [
            {
                "session": session,
                "times": time_words(session.starts_at, session.ends_at),
                "rows": [row for row in rows if row["line"].session_id == session.pk],
                "can_start": session.state == SessionState.CONFIRMED and may(user, RUN, session),
            }
            for session in sessions
        ],
        "next": waiting[0] if waiting else None,
        "answer": _answer(sessions, len(waiting), len(rows)),
        "awaited": files_words(sum(awaited.values())) if any(awaited.values()) else "",
    }


def _answer(sessions: Sequence[Session], waiting: int, total: int) -> str:
    if not sessions:
        return "Nothing is to be shot on this day"
    if not waiting:
        return "Everything on this list is decided"
    if total == 1:
        return "1 line to shoot"
    return f"{waiting} of {total} lines to shoot"


def line_context(line: ShotLine, user: User, *, now: datetime) -> dict[str, Any]:
    """One line as it is read at the easel."""
    awaited = awaited_of([line]).get(line.pk, 0)
    lines = list(line.session.shot_lines.order_by("position").values_list("pk", flat=True))
    place = lines.index(line.pk)
    session = line.session
    running = session.state == SessionState.RUNNING and may(user, RUN, session)
    return {
        "line": line,
        "session": session,
        "position": place + 1,
        "total": len(lines),
        "station": session.station.name,
        "leaves_at": f"{local(session.ends_at):%H:%M}",
        "number": numbers_of([line.object_id])[line.object_id],
        "title": line.object.title,
        "shot": line_words(line),
        "expected": expected_words(line),
        "figures": figures_of(line),
        "came_back": outlook.return_of(list(line.owed_views.values_list("pk", flat=True)))
        if line.state == ShotLineState.PLANNED
        else "",
        "cautions": cautions_of(line, now),
        "card_label": f"Set-up card {line.setup_card}" if line.setup_card else "",
        "card_href": reverse("campaigns:setup_card", args=[line.setup_card.pk])
        if line.setup_card
        else "",
        "state_words": _STATE_WORDS[ShotLineState(line.state)],
        "is_planned": line.state == ShotLineState.PLANNED,
        "is_running": running,
        "awaited": files_words(awaited) if awaited else "",
        "gives_up": awaited > 0
        and session.state == SessionState.CLOSED
        and may(user, PLAN)
        and nothing_came().filter(pk=line.pk).exists(),
        "can_start": session.state == SessionState.CONFIRMED and may(user, RUN, session),
        "reasons": [
            (code.value, words)
            for code, words in NOT_DONE_WORDS.items()
            if code is not NotDone.NO_FILES or line.state == ShotLineState.DONE
        ],
        "previous_href": _line_href(lines[place - 1]) if place else "",
        "next_href": _line_href(lines[place + 1]) if place + 1 < len(lines) else "",
        "drop_href": f"{reverse('intake:drop_new')}?line={line.pk}",
        "list_href": f"{reverse('campaigns:shot_list')}?date={local(session.starts_at):%Y-%m-%d}",
    }


def _line_href(pk: int) -> str:
    return reverse("campaigns:shot_line", args=[pk])


def expected_words(line: ShotLine) -> str:
    """How many files this line must bring, and why so many."""
    tiles = line.tiles_across * line.tiles_down
    parts = [f"{tiles} tile{'' if tiles == 1 else 's'}"]
    if tiles > 1:
        parts[0] += f" ({line.tiles_across} across, {line.tiles_down} down)"
    parts.append(f"{len(line.exposures_ev)} exposure{'' if len(line.exposures_ev) == 1 else 's'}")
    if line.focus_slices > 1:
        parts.append(f"{line.focus_slices} focus slices")
    files = f"{line.expected_files} file{'' if line.expected_files == 1 else 's'}"
    return f"{' × '.join(parts)}: {files}"


def ev_words(value: float) -> str:
    """``+1``, ``0``, ``−1`` with a true minus sign.

    >>> [ev_words(value) for value in (-1, 0, 2)]
    ['−1', '0', '+2']
    """
    return f"{value:+g}".replace("-", "−") if value else "0"


def figures_of(line: ShotLine) -> list[dict[str, Any]]:
    """The numbers that are set: density and bracket from the line, the rest from the card."""
    exposures = ", ".join(ev_words(value) for value in line.exposures_ev)
    figures: list[dict[str, Any]] = [
        {"label": "Density", "figure": f"{line.px_per_mm:.3g}", "unit": "px/mm"},
    ]
    if len(line.exposures_ev) > 1:
        figures.append({"label": "Bracket", "figure": exposures, "unit": "EV"})
    if line.setup_card is not None:
        figures += card_figures(line.setup_card.values)
    figures.append({"label": "Time", "figure": f"{line.minutes:g}", "unit": "min"})
    return figures


def cautions_of(line: ShotLine, now: datetime) -> list[str]:
    """Cautions of the line and of the station, and what the object's whereabouts add today."""
    found = [*line.cautions, *line.session.station.cautions]
    soon = Unavailability.objects.filter(
        object=line.object_id, withdrawn_at=None, since__gt=now
    ).order_by("since")[:1]
    found += [
        f"{away.get_reason_display()} from {day_words(local(away.since).date())}: what is still "
        "owed is made before that."
        for away in soon
    ]
    return list(dict.fromkeys(str(caution) for caution in found))
