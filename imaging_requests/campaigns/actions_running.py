"""Writes of a session's life: confirming, starting, closing, cancelling, and its lines."""

from __future__ import annotations

from datetime import datetime

from django.db import transaction
from django.urls import reverse
from django.utils import timezone

from imaging_requests.campaigns import rules
from imaging_requests.campaigns.actions_planning import demand_confirmable
from imaging_requests.campaigns.awaited import has_files, nothing_came
from imaging_requests.campaigns.bookings import release
from imaging_requests.campaigns.models import Session, SessionState, ShotLine, ShotLineState
from imaging_requests.campaigns.policies import PLAN, RUN
from imaging_requests.campaigns.rules import SessionStep
from imaging_requests.campaigns.words import session_words
from imaging_requests.collection.stale import mark_stale
from imaging_requests.people import audit
from imaging_requests.people.actions import tell
from imaging_requests.people.errors import DomainError
from imaging_requests.people.models import User
from imaging_requests.people.policies import demand
from imaging_requests.people.versions import lock_row, save_row


def _step(
    session: Session,
    step: SessionStep,
    *,
    actor: User,
    now: datetime,
    instant: str = "",
    reason: str = "",
) -> None:
    """Take a step of the table, keep its instant, record it, and mark the objects."""
    before = session.state
    session.state = rules.next_state(session.state, step)
    fields = ["state"]
    if instant:
        setattr(session, instant, now)
        fields.append(instant)
    save_row(session, fields=fields)
    audit.record(
        f"campaigns.session_{_PAST[step]}",
        actor=actor,
        subject=session,
        before={"state": before},
        after={"state": session.state},
        reason=reason,
        now=now,
    )
    mark_stale(session.shot_lines.values_list("object_id", flat=True), f"session {_PAST[step]}")


_PAST = {
    SessionStep.CONFIRM: "confirmed",
    SessionStep.START: "started",
    SessionStep.CLOSE: "closed",
    SessionStep.CANCEL: "cancelled",
}


@transaction.atomic
def confirm_session(
    *, actor: User, session_id: int, read_version: int, now: datetime | None = None
) -> Session:
    """Confirm a draft against which nothing stands; the photographer is told."""
    demand(actor, PLAN)
    now = now or timezone.now()
    session = lock_row(Session, session_id, read_version=read_version)
    rules.next_state(session.state, SessionStep.CONFIRM)
    demand_confirmable(session, now=now)
    _step(session, SessionStep.CONFIRM, actor=actor, now=now, instant="confirmed_at")
    if session.photographer_id != actor.pk:
        tell(
            [session.photographer],
            f"Your {session_words(session)} is confirmed.",
            reverse("campaigns:session", args=[session.pk]),
            now=now,
        )
    return session


@transaction.atomic
def start_session(
    *, actor: User, session_id: int, read_version: int, now: datetime | None = None
) -> Session:
    """Begin to shoot."""
    session = lock_row(Session, session_id, read_version=read_version)
    demand(actor, RUN, session)
    _step(session, SessionStep.START, actor=actor, now=now or timezone.now())
    return session


@transaction.atomic
def close_session(
    *, actor: User, session_id: int, read_version: int, now: datetime | None = None
) -> Session:
    """End a session once every line is done or not done with its reason."""
    now = now or timezone.now()
    session = lock_row(Session, session_id, read_version=read_version)
    demand(actor, RUN, session)
    rules.next_state(session.state, SessionStep.CLOSE)
    rules.demand_decided(session.shot_lines.values_list("state", flat=True))
    _step(session, SessionStep.CLOSE, actor=actor, now=now, instant="closed_at")
    return session


@transaction.atomic
def cancel_session(
    *,
    actor: User,
    session_id: int,
    read_version: int,
    reason: str,
    now: datetime | None = None,
) -> Session:
    """Cancel a session: its bookings are free, its views are open again."""
    demand(actor, PLAN)
    now = now or timezone.now()
    session = lock_row(Session, session_id, read_version=read_version)
    if not reason.strip():
        raise DomainError(
            "The people of the session need to know why it is cancelled.",
            code="campaigns.cancel_reason",
            next_step="Write one sentence.",
        )
    was_confirmed = session.state == SessionState.CONFIRMED
    _step(
        session,
        SessionStep.CANCEL,
        actor=actor,
        now=now,
        instant="cancelled_at",
        reason=reason.strip(),
    )
    release(session, now=now)
    if was_confirmed and session.photographer_id != actor.pk:
        tell(
            [session.photographer],
            f"Your {session_words(session)} is cancelled: {reason.strip()}",
            reverse("campaigns:session", args=[session.pk]),
            now=now,
        )
    return session


def _lock_line(
    line_id: int, read_version: int, actor: User, *, only_running: bool = True
) -> ShotLine:
    """Lock the session first, then the line; as a rule only while the session runs."""
    session_id = ShotLine.objects.values_list("session_id", flat=True).get(pk=line_id)
    session = Session.objects.select_for_update().get(pk=session_id)
    demand(actor, RUN, session)
    line = lock_row(ShotLine, line_id, read_version=read_version)
    if only_running:
        rules.demand_running(session.state)
    line.session = session
    return line


def _decide(
    line: ShotLine, state: ShotLineState, reason: str, *, actor: User, now: datetime
) -> ShotLine:
    before = line.state
    line.state, line.reason = state, reason
    line.decided_at = None if state == ShotLineState.PLANNED else now
    save_row(line, fields=["state", "reason", "decided_at"])
    audit.record(
        f"campaigns.line_{state}",
        actor=actor,
        subject=line,
        object_id=line.object_id,
        before={"state": before},
        after={"state": state},
        reason=reason,
        now=now,
    )
    mark_stale([line.object_id], f"line {state}")
    return line


@transaction.atomic
def mark_line_done(
    *, actor: User, line_id: int, read_version: int, now: datetime | None = None
) -> ShotLine:
    """Say that a line was shot."""
    line = _lock_line(line_id, read_version, actor)
    return _decide(line, ShotLineState.DONE, "", actor=actor, now=now or timezone.now())


@transaction.atomic
def mark_line_not_done(
    *,
    actor: User,
    line_id: int,
    read_version: int,
    reason: str,
    now: datetime | None = None,
) -> ShotLine:
    """Say why a line was not shot; nobody is blamed for a view that could not be made.

    After the session is closed the lead says it of a line whose files never came: its views are
    open again.
    """
    line = _lock_line(line_id, read_version, actor, only_running=False)
    if line.session.state != SessionState.RUNNING:
        demand(actor, PLAN)
        came = not nothing_came().filter(pk=line.pk).exists() or has_files(line)
        rules.demand_nothing_came(line.session.state, line.state, came=came)
    if not reason.strip():
        raise DomainError(
            "Why it was not possible is missing.",
            code="campaigns.not_done_reason",
            next_step="Choose a reason, or write one.",
        )
    return _decide(
        line, ShotLineState.NOT_DONE, reason.strip(), actor=actor, now=now or timezone.now()
    )


@transaction.atomic
def reopen_line(
    *, actor: User, line_id: int, read_version: int, now: datetime | None = None
) -> ShotLine:
    """Take back what was said of a line while the session runs."""
    line = _lock_line(line_id, read_version, actor)
    return _decide(line, ShotLineState.PLANNED, "", actor=actor, now=now or timezone.now())
