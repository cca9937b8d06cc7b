"""What the page of a session shows: its lines, what stands against it, what may be done."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.urls import reverse

from imaging_requests.campaigns import queries
from imaging_requests.campaigns.awaited import awaited_of, files_words
from imaging_requests.campaigns.bookings import helpers_of
from imaging_requests.campaigns.checks import Finding, check_session, is_unwanted, pieces_of
from imaging_requests.campaigns.minutes import studio_for, total_minutes
from imaging_requests.campaigns.models import Session, SessionState, ShotLine, ShotLineState
from imaging_requests.campaigns.policies import PLAN, RUN, SIGN_LIMIT
from imaging_requests.campaigns.rules import OPEN_TO_PLANNING, SessionStep, steps_from
from imaging_requests.campaigns.words import (
    day_words,
    duration_words,
    line_words,
    local_day,
    minutes_words,
    session_words,
    time_words,
)
from imaging_requests.people.models import Role, User
from imaging_requests.people.policies import may
from imaging_requests.requesting.words import Numbers, as_of_words, numbers_of


@dataclass(frozen=True, kw_only=True)
class ShownFinding:
    """A finding with its word in front and whether the reader may sign it."""

    finding: Finding
    kind: str
    word: str
    waits_for: str
    can_sign: bool


@dataclass(frozen=True, kw_only=True)
class ShownLine:
    """A line of the session as a row."""

    line: ShotLine
    number: str
    words: str
    serves: str
    exposures: str
    minutes: str
    awaited: str
    is_unwanted: bool


def session_context(session: Session, user: User, *, now: datetime) -> dict[str, Any]:
    """Everything the page of a session shows."""
    lines = queries.session_lines(session)
    numbers = numbers_of(line.object_id for line in lines)
    awaited = awaited_of(lines)
    findings = [_shown_finding(each, user) for each in _findings(session, now)]
    planning = session.state in OPEN_TO_PLANNING and may(user, PLAN)
    return {
        "session": session,
        "answer": _answer(session, findings, now),
        "sub": f"{session.station}, {day_words(local_day(session.starts_at))}, "
        f"{time_words(session.starts_at, session.ends_at)}",
        "crumbs": [
            {
                "label": session.campaign.name,
                "href": reverse("campaigns:campaign", args=[session.campaign_id]),
            }
        ],
        "findings": findings,
        "lines": [_shown_line(line, numbers, awaited.get(line.pk, 0)) for line in lines],
        "about": _about(session, lines, now),
        "cautions": list(
            dict.fromkeys(
                str(caution)
                for cautions in (*(line.cautions for line in lines), session.station.cautions)
                for caution in cautions
            )
        ),
        "may_plan": planning,
        "is_running": session.state == SessionState.RUNNING,
        "steps": _steps(session, user, findings),
        "shot_list_href": f"{reverse('campaigns:shot_list')}"
        f"?date={local_day(session.starts_at):%Y-%m-%d}",
    }


def _findings(session: Session, now: datetime) -> list[Finding]:
    if session.state not in OPEN_TO_PLANNING:
        return []
    return check_session(session, now=now)


def _shown_finding(finding: Finding, user: User) -> ShownFinding:
    if finding.is_refusal:
        kind, word = "stop", "Not possible:"
    elif finding.lacking:
        kind, word = "caution", "Needs a signature:"
    elif finding.signed_as:
        kind, word = "done", "Signed:"
    else:
        kind, word = "note", "To know:"
    names = [f"the {str(Role(role).label).lower()}" for role in finding.lacking]
    signed_by_reader = any(each.signed_by_id == user.pk for each in finding.signatures)
    return ShownFinding(
        finding=finding,
        kind=kind,
        word=word,
        waits_for=" and ".join(names),
        can_sign=bool(finding.lacking)
        and may(user, SIGN_LIMIT)
        and user.has_role(*finding.lacking)
        and not signed_by_reader,
    )


def _answer(session: Session, findings: Sequence[ShownFinding], now: datetime) -> str:
    """Where the session stands, as a sentence."""
    if session.state == SessionState.DRAFT:
        against = sum(each.finding.stands_against for each in findings)
        if not against:
            return "This session can be confirmed"
        things = "1 thing stands" if against == 1 else f"{against} things stand"
        return f"{things} against this session"
    if session.state == SessionState.CONFIRMED and session.ends_at < now:
        return "The time of this session is over, and it was never started"
    if session.state == SessionState.RUNNING and session.ends_at < now:
        return "The time of this session is over; it is still running"
    return {
        SessionState.CONFIRMED: "This session is confirmed",
        SessionState.RUNNING: "This session is running",
        SessionState.CLOSED: "This session is closed",
        SessionState.CANCELLED: "This session was cancelled",
    }[SessionState(session.state)]


def exposures_words(line: ShotLine) -> str:
    """``2 tiles × 3 exposures``; one of each goes without saying."""
    tiles = line.tiles_across * line.tiles_down
    parts = []
    if tiles > 1:
        parts.append(f"{line.tiles_across} × {line.tiles_down} tiles")
    if len(line.exposures_ev) > 1:
        parts.append(f"{len(line.exposures_ev)} exposures")
    if line.focus_slices > 1:
        parts.append(f"{line.focus_slices} focus slices")
    files = f"{line.expected_files} file{'' if line.expected_files == 1 else 's'}"
    return f"{', '.join(parts)}: {files}" if parts else files


def _shown_line(line: ShotLine, numbers: Numbers, awaited: int) -> ShownLine:
    views = list(line.owed_views.all())
    return ShownLine(
        line=line,
        number=numbers[line.object_id],
        words=line_words(line),
        serves=", ".join(dict.fromkeys(as_of_words(view) for view in views)),
        exposures=exposures_words(line),
        minutes=minutes_words(line.minutes),
        awaited=files_words(awaited) if awaited else "",
        is_unwanted=is_unwanted(line),
    )


def _about(session: Session, lines: Sequence[ShotLine], now: datetime) -> list[dict[str, str]]:
    studio = studio_for([line.object_id for line in lines], now)
    total = total_minutes(pieces_of(lines), station_code=session.station.code, studio=studio)
    length = session.ends_at - session.starts_at
    helpers = ", ".join(person.name for person in helpers_of(session))
    about = [
        {"label": "Photographer", "value": session.photographer.name},
        {"label": "Helpers", "value": helpers or "none"},
        {"label": "Art handlers", "value": str(session.handlers)},
        {"label": "Length", "value": duration_words(length)},
        {
            "label": "Lines take",
            "value": minutes_words(total.booked),
            "note": f"{minutes_words(total.shooting)} shooting, "
            f"{minutes_words(total.placing)} placing, {minutes_words(total.turning)} turning, "
            "and the reserve",
        },
        {"label": "Files", "value": str(sum(line.expected_files for line in lines))},
    ]
    if session.note:
        about.append({"label": "Note", "value": session.note})
    return about


def _steps(session: Session, user: User, findings: Sequence[ShownFinding]) -> list[dict[str, str]]:
    """The buttons of the session's life that are the reader's, or why they are not open."""
    steps = steps_from(session.state)
    found: list[dict[str, str]] = []
    if SessionStep.CONFIRM in steps and may(user, PLAN):
        against = [each for each in findings if each.finding.stands_against]
        found.append(
            {
                "step": "confirm",
                "label": "Confirm",
                "not_because": "something stands against it, see below." if against else "",
            }
        )
    if SessionStep.START in steps and may(user, RUN, session):
        found.append({"step": "start", "label": "Start the session", "not_because": ""})
    if SessionStep.CLOSE in steps and may(user, RUN, session):
        waiting = session.shot_lines.filter(state=ShotLineState.PLANNED).count()
        found.append(
            {
                "step": "close",
                "label": "Close the session",
                "not_because": f"{waiting} line{' is' if waiting == 1 else 's are'} neither done "
                "nor not done."
                if waiting
                else "",
            }
        )
    return found


def cancel_answer(session: Session) -> str:
    """The question of the page that cancels a session."""
    return f"Cancel the {session_words(session)}?"


def may_cancel(session: Session, user: User) -> bool:
    """Whether the reader may cancel the session now."""
    return SessionStep.CANCEL in steps_from(session.state) and may(user, PLAN)
