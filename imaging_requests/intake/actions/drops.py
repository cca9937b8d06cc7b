"""Writes about drops: open, close, open again, correct the camera's clock, ask work again."""

from __future__ import annotations

from datetime import datetime

from django.db import transaction
from django.utils import timezone

from imaging_requests.campaigns.models import Session, SessionState, ShotLine
from imaging_requests.intake import jobs
from imaging_requests.intake.actions.layout import ask_for_layout
from imaging_requests.intake.models import Drop, Job
from imaging_requests.intake.policies import ASK_AGAIN, PLACE, UPLOAD
from imaging_requests.intake.rules import UNDER_WAY
from imaging_requests.people import audit
from imaging_requests.people.errors import DomainError, IllegalStep
from imaging_requests.people.models import AuditHead, User
from imaging_requests.people.policies import demand
from imaging_requests.people.versions import lock_row, save_row

#: A clock that was never set shows the day its maker chose; no maker is older than this.
MOST_OFF_S = 100 * 366 * 86_400.0


@transaction.atomic
def open_drop(
    *,
    actor: User,
    session_id: int | None = None,
    shot_line_id: int | None = None,
    note: str = "",
    now: datetime | None = None,
) -> Drop:
    """Open a drop for a session, for one of its shot lines, or for neither."""
    now = now or timezone.now()
    demand(actor, UPLOAD)
    session_id = _shot_in(session_id, shot_line_id)
    drop = Drop.objects.create(
        number=_next_number(now),
        brought_by=actor,
        session_id=session_id,
        shot_line_id=shot_line_id,
        note=note.strip(),
        opened_at=now,
    )
    audit.record(
        "intake.drop_opened",
        actor=actor,
        subject=drop,
        after={"number": drop.number, "session": session_id, "shot_line": shot_line_id},
        now=now,
    )
    return drop


def _shot_in(session_id: int | None, shot_line_id: int | None) -> int | None:
    """Return the session in which files were shot, or refuse one in which nothing can have been."""
    if shot_line_id is not None:
        line = ShotLine.objects.filter(pk=shot_line_id).first()
        if line is None:
            raise DomainError(
                "There is no shot line with this number.",
                code="intake.no_such_line",
                next_step="Choose one of the lines of the session.",
            )
        if session_id is not None and session_id != line.session_id:
            raise DomainError(
                f"The shot line {line} does not belong to this session.",
                code="intake.line_of_other_session",
                next_step="Choose the line alone; its session follows from it.",
            )
        session_id = line.session_id
    if session_id is None:
        return None
    session = Session.objects.select_related("station").filter(pk=session_id).first()
    if session is None:
        raise DomainError(
            "There is no session with this number.",
            code="intake.no_such_session",
            next_step="Choose one of the sessions that were confirmed.",
        )
    if session.state == SessionState.CANCELLED:
        raise IllegalStep(
            f"The {session} was cancelled, so nothing was shot in it.",
            code="intake.session_cancelled",
            next_step="Choose the session in which the files were shot.",
        )
    return session_id


def _next_number(now: datetime) -> str:
    """Return the year and the next number in it; the audit head's lock puts openings in a row."""
    list(AuditHead.objects.select_for_update().filter(pk=1))
    year = f"{timezone.localtime(now):%Y}-"
    last = (
        Drop.objects.filter(number__startswith=year)
        .order_by("-number")
        .values_list("number", flat=True)
        .first()
    )
    return f"{year}{int(last.removeprefix(year)) + 1 if last else 1:05}"


@transaction.atomic
def close_drop(
    *, actor: User, drop_id: int, read_version: int, now: datetime | None = None
) -> Drop:
    """Say that no more files come. Files under way must first have their answer."""
    now = now or timezone.now()
    drop = lock_row(Drop, drop_id, read_version=read_version)
    demand(actor, UPLOAD, drop)
    if drop.state == Drop.State.CLOSED:
        raise IllegalStep(
            f"{drop} is closed already.", code="intake.drop_closed", next_step="Nothing is to do."
        )
    under_way = drop.arrivals.filter(state__in=UNDER_WAY).count()
    if under_way:
        raise IllegalStep(
            f"{drop} cannot be closed: {under_way} of its files have no answer yet.",
            code="intake.files_under_way",
            next_step="Wait until they have, or give up those that will not come.",
        )
    drop.state, drop.closed_at = Drop.State.CLOSED, now
    save_row(drop, fields=["state", "closed_at"])
    audit.record(
        "intake.drop_closed", actor=actor, subject=drop, after={"state": drop.state}, now=now
    )
    return drop


@transaction.atomic
def reopen_drop(
    *, actor: User, drop_id: int, read_version: int, now: datetime | None = None
) -> Drop:
    """Let further files come into a closed drop."""
    drop = lock_row(Drop, drop_id, read_version=read_version)
    demand(actor, UPLOAD, drop)
    if drop.state == Drop.State.OPEN:
        raise IllegalStep(
            f"{drop} is open already.", code="intake.drop_open", next_step="Add the files."
        )
    drop.state, drop.closed_at = Drop.State.OPEN, None
    save_row(drop, fields=["state", "closed_at"])
    audit.record(
        "intake.drop_reopened", actor=actor, subject=drop, after={"state": drop.state}, now=now
    )
    return drop


@transaction.atomic
def correct_clock(
    *,
    actor: User,
    drop_id: int,
    read_version: int,
    clock_offset_s: float | None,
    now: datetime | None = None,
) -> Drop:
    """Say how far the camera's clock was off, once per drop; its waiting frames are read anew."""
    now = now or timezone.now()
    drop = lock_row(
        Drop, drop_id, read_version=read_version, wanted={"clock_offset_s": clock_offset_s}
    )
    demand(actor, PLACE, drop)
    if clock_offset_s is not None and abs(clock_offset_s) > MOST_OFF_S:
        raise DomainError(
            "A camera's clock is not off by more than a hundred years.",
            code="intake.clock_offset_too_large",
            next_step="Give the difference in hours, minutes and seconds.",
        )
    before = drop.clock_offset_s
    drop.clock_offset_s = clock_offset_s
    save_row(drop, fields=["clock_offset_s"])
    audit.record(
        "intake.clock_corrected",
        actor=actor,
        subject=drop,
        before={"clock_offset_s": before},
        after={"clock_offset_s": clock_offset_s},
        now=now,
    )
    ask_for_layout([drop.pk])
    return drop


@transaction.atomic
def ask_again(*, actor: User, job_id: int, now: datetime | None = None) -> Job:
    """Have a job tried again that was given up, after the obstacle has been removed."""
    job = Job.objects.select_for_update().get(pk=job_id)
    demand(actor, ASK_AGAIN, job)
    jobs.ask_again(job, now=now)
    audit.record(
        "intake.work_asked_again",
        actor=actor,
        subject=job,
        before={"last_error": job.last_error},
        now=now,
    )
    return job
