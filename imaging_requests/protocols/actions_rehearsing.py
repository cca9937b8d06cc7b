"""Writes about rehearsals: asking for a report, keeping it, saying that one has read it."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django.db import transaction
from django.utils import timezone

from imaging_requests.people import audit
from imaging_requests.people.errors import DomainError, IllegalStep
from imaging_requests.people.models import User
from imaging_requests.people.policies import demand
from imaging_requests.people.versions import lock_row
from imaging_requests.protocols.models import (
    MODELS,
    Rehearsal,
    RehearsalReading,
    RuleVersion,
    VersionState,
)
from imaging_requests.protocols.policies import READ_REHEARSAL, REHEARSE
from imaging_requests.protocols.rehearsals import (
    REHEARSED,
    content_hash,
    made_of,
    unsigned_because,
)

State = Rehearsal.State


@transaction.atomic
def ask_rehearsal(
    *, actor: User, kind: str, pk: int, read_version: int, now: datetime | None = None
) -> Rehearsal:
    """Ask what a draft would change; a report that is being worked out is not asked twice."""
    now = now or timezone.now()
    row = lock_row(MODELS[kind], pk, read_version=read_version)
    demand(actor, REHEARSE, row)
    if kind not in REHEARSED or row.state != VersionState.DRAFT:
        raise IllegalStep(
            f"The {row} is not rehearsed: only drafts of protocols and of trigger tables are.",
            code="protocols.not_rehearsed",
        )
    content = content_hash(row.definition)
    waiting = Rehearsal.objects.filter(
        kind=kind, version_id=pk, content_sha256=content, state=State.ASKED
    ).first()
    if waiting is not None:
        return waiting
    asked = Rehearsal.objects.create(
        kind=kind, version_id=pk, content_sha256=content, asked_by=actor, asked_at=now
    )
    audit.record(
        "protocols.rehearsal_asked",
        actor=actor,
        subject=row,
        after={"rehearsal": asked.pk, "content_sha256": content},
        now=now,
    )
    return asked


@transaction.atomic
def keep_report(
    *, rehearsal_id: int, report: Mapping[str, Any], now: datetime | None = None
) -> Rehearsal:
    """Keep a report that was worked out; a report that is kept never changes."""
    rehearsal = Rehearsal.objects.select_for_update().get(pk=rehearsal_id)
    if rehearsal.state == State.MADE:
        return rehearsal
    rehearsal.state, rehearsal.report = State.MADE, dict(report)
    rehearsal.made_at, rehearsal.trouble = now or timezone.now(), ""
    rehearsal.save(update_fields=["state", "report", "made_at", "trouble"])
    return rehearsal


@transaction.atomic
def give_up_report(*, rehearsal_id: int, trouble: str) -> None:
    """Say that a report could not be worked out, and why."""
    rehearsal = Rehearsal.objects.select_for_update().get(pk=rehearsal_id)
    if rehearsal.state == State.ASKED:
        rehearsal.state, rehearsal.trouble = State.FAILED, trouble
        rehearsal.save(update_fields=["state", "trouble"])


@transaction.atomic
def read_report(
    *, actor: User, kind: str, pk: int, rehearsal_id: int, now: datetime | None = None
) -> RehearsalReading:
    """Record that somebody has opened the report about the draft as it stands."""
    now = now or timezone.now()
    row = MODELS[kind]._default_manager.select_for_update().get(pk=pk)
    demand(actor, READ_REHEARSAL, row)
    made = made_of(row)
    if made is None or made.pk != rehearsal_id:
        raise DomainError(
            "This report is not about the draft as it stands now.",
            code="protocols.report_stale",
            next_step="Read the newest report, or rehearse the draft again.",
        )
    reading, is_new = RehearsalReading.objects.get_or_create(
        rehearsal=made, by=actor, defaults={"read_at": now}
    )
    if is_new:
        audit.record(
            "protocols.report_read",
            actor=actor,
            subject=row,
            after={"rehearsal": made.pk},
            now=now,
        )
    return reading


def demand_rehearsed(row: RuleVersion, actor: User) -> None:
    """Refuse a signature by somebody who has not read what exactly this content would change."""
    reason, next_step = unsigned_because(row, actor)
    if reason:
        raise IllegalStep(reason, code="protocols.not_rehearsed_yet", next_step=next_step)
