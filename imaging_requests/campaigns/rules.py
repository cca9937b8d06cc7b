"""Decisions about sessions and lines that need no database."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime
from enum import StrEnum
from itertools import pairwise

from imaging_requests.campaigns.models import SessionState, ShotLineState
from imaging_requests.people.errors import DomainError, IllegalStep


class SessionStep(StrEnum):
    """What can happen to a session."""

    CONFIRM = "confirm"
    START = "start"
    CLOSE = "close"
    CANCEL = "cancel"


_SESSION_STEPS: Mapping[tuple[SessionState, SessionStep], SessionState] = {
    (SessionState.DRAFT, SessionStep.CONFIRM): SessionState.CONFIRMED,
    (SessionState.DRAFT, SessionStep.CANCEL): SessionState.CANCELLED,
    (SessionState.CONFIRMED, SessionStep.START): SessionState.RUNNING,
    (SessionState.CONFIRMED, SessionStep.CANCEL): SessionState.CANCELLED,
    (SessionState.RUNNING, SessionStep.CLOSE): SessionState.CLOSED,
}
_STATE_WORDS = {
    SessionState.DRAFT: "is a draft",
    SessionState.CONFIRMED: "is confirmed",
    SessionState.RUNNING: "is running",
    SessionState.CLOSED: "is closed",
    SessionState.CANCELLED: "was cancelled",
}
_FIRST_DO = {
    SessionStep.CONFIRM: "Only a draft is confirmed.",
    SessionStep.START: "A session is confirmed before it starts.",
    SessionStep.CLOSE: "Only a running session is closed.",
    SessionStep.CANCEL: "Only a draft or a confirmed session is cancelled.",
}

#: Sessions that can still be planned.
OPEN_TO_PLANNING = frozenset((SessionState.DRAFT, SessionState.CONFIRMED))


def next_state(state: str, step: SessionStep) -> SessionState:
    """The state of a session after a step; a step the table does not know is refused in words."""
    now = SessionState(state)
    following = _SESSION_STEPS.get((now, step))
    if following is None:
        raise IllegalStep(
            f"This session {_STATE_WORDS[now]}. {_FIRST_DO[step]}",
            code=f"campaigns.session_{step}",
            next_step="Load the page again to see where it stands.",
        )
    return following


def steps_from(state: str) -> frozenset[SessionStep]:
    """The steps that are open from a state."""
    return frozenset(step for (now, step) in _SESSION_STEPS if now == state)


def demand_planning(state: str) -> None:
    """Refuse to change the plan of a session that runs or is over."""
    if state not in OPEN_TO_PLANNING:
        raise IllegalStep(
            f"This session {_STATE_WORDS[SessionState(state)]}, so its plan stands.",
            code="campaigns.plan_stands",
            next_step="Plan another session for what is still needed.",
        )


def demand_running(state: str) -> None:
    """Refuse to say what became of a line while the session does not run."""
    if state != SessionState.RUNNING:
        raise IllegalStep(
            f"This session {_STATE_WORDS[SessionState(state)]}, so nothing is shot in it now.",
            code="campaigns.not_running",
            next_step="Start it first, or find the session that runs.",
        )


def demand_nothing_came(session_state: str, line_state: str, *, came: bool) -> None:
    """Refuse to take back "done" after the session, unless the line's files never came."""
    if session_state != SessionState.CLOSED or line_state != ShotLineState.DONE:
        demand_running(session_state)
    elif came:
        raise IllegalStep(
            "This session is closed and files of this line have come, so it stays done.",
            code="campaigns.files_came",
            next_step="If they are no good, send its picture back; the view is then owed again.",
        )


class NotDone(StrEnum):
    """Why a line was not shot, for the list at the easel."""

    NOT_THERE = "not_there"
    STOPPED = "stopped"
    CONDITION = "condition"
    EQUIPMENT = "equipment"
    NO_TIME = "no_time"
    NO_FILES = "no_files"
    OTHER = "other"


NOT_DONE_WORDS: Mapping[NotDone, str] = {
    NotDone.NOT_THERE: "The object was not at its place",
    NotDone.STOPPED: "Stopped by the conservator",
    NotDone.CONDITION: "Its condition does not allow it today",
    NotDone.EQUIPMENT: "The equipment failed",
    NotDone.NO_TIME: "No time was left",
    NotDone.NO_FILES: "It was shot, but its files never came",
    NotDone.OTHER: "Another reason",
}


def not_done_reason(code: str, words: str) -> str:
    """The reason that is kept: the chosen one, with what was added in words.

    >>> not_done_reason("stopped", "flakes at the lower edge")
    'Stopped by the conservator: flakes at the lower edge'
    """
    try:
        chosen = NotDone(code)
    except ValueError:
        chosen = NotDone.OTHER
    added = words.strip()
    if chosen is NotDone.OTHER and not added:
        raise DomainError(
            "“Another reason” needs its words.",
            code="campaigns.not_done_words",
            next_step="Write what hindered it.",
        )
    return f"{NOT_DONE_WORDS[chosen]}: {added}" if added else NOT_DONE_WORDS[chosen]


def check_times(starts_at: datetime, ends_at: datetime) -> None:
    """Refuse a session that ends before it starts."""
    if ends_at <= starts_at:
        raise DomainError(
            "The session ends before it starts.",
            code="campaigns.times",
            next_step="Give an end after the start; past midnight, give the next day.",
        )


def demand_decided(states: Iterable[str]) -> None:
    """Refuse to close a session while a line is neither done nor not done."""
    waiting = sum(state == ShotLineState.PLANNED for state in states)
    if waiting:
        raise DomainError(
            f"{waiting} line{' is' if waiting == 1 else 's are'} neither done nor not done.",
            code="campaigns.lines_waiting",
            next_step="Say for each what became of it, then close the session.",
        )


_FACE_ORDER = {"F": 0, "T": 1, "B": 2, "E": 3}


def order_key(
    technique: str, face: str, variant: str, *, techniques: Sequence[str]
) -> tuple[int, int, str]:
    """Where a line stands in a visit: all of the front, one turn, all of the back, the edges.

    On each face techniques come in the studio's order, which puts ultraviolet last.
    """
    rank = techniques.index(technique) if technique in techniques else len(techniques)
    return _FACE_ORDER.get(face, len(_FACE_ORDER)), rank, variant


def count_turns(faces: Sequence[str]) -> int:
    """How often an object is turned for lines in this order; edges and through need no turn.

    >>> count_turns(["F", "F", "B", "E"]), count_turns(["F", "B", "F"]), count_turns(["T"])
    (1, 2, 0)
    """
    sides = [face for face in faces if face in ("F", "B")]
    return sum(one != other for one, other in pairwise(sides))
