"""Asking for a comparison of two pictures, keeping it, and vouching for a retest."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django.db import transaction
from django.utils import timezone

from imaging_requests.deliverables.comparability import demand_one_view
from imaging_requests.deliverables.models import Comparison, Deliverable, RetestPair
from imaging_requests.deliverables.policies import COMPARE as COMPARE_ACT
from imaging_requests.deliverables.policies import VOUCH_RETEST
from imaging_requests.deliverables.retests import floor_unit, why_no_retest
from imaging_requests.intake import jobs as background
from imaging_requests.intake.policies import SEE_PICTURES
from imaging_requests.people import audit
from imaging_requests.people.errors import DomainError
from imaging_requests.people.models import User
from imaging_requests.people.policies import demand

COMPARE = "compare"


@transaction.atomic
def ask_for_comparison(
    *, actor: User, one_id: int, other_id: int, now: datetime | None = None
) -> Comparison:
    """Ask what changed between two pictures of one view; asking again computes what is new."""
    now = now or timezone.now()
    demand(actor, COMPARE_ACT)
    rows = list(Deliverable.objects.filter(pk__in={one_id, other_id}))
    for row in rows:
        demand(actor, SEE_PICTURES, row)
    if len(rows) != 2:
        raise DomainError(
            "Two pictures are needed.",
            code="deliverables.comparison_of_one",
            next_step="Choose an earlier and a later picture of one view.",
        )
    before, after = sorted(rows, key=lambda row: (row.captured_at, row.pk))
    demand_one_view(before, after)
    if (before.variant, before.detail_mm) != (after.variant, after.detail_mm):
        raise DomainError(
            "These pictures show light from two directions, or two parts of the face.",
            code="deliverables.pair_of_two_variants",
            next_step="Choose two pictures of one part under one light.",
        )
    made, is_new = Comparison.objects.get_or_create(
        before=before, after=after, defaults={"asked_by": actor, "asked_at": now}
    )
    if is_new:
        audit.record(
            "deliverables.comparison_asked",
            actor=actor,
            subject=made,
            object_id=before.object_id,
            after={"before": before.pk, "after": after.pk},
            valid_at=now,
            now=now,
        )
    background.enqueue(COMPARE, made.pk, again=True, now=now)
    return made


@transaction.atomic
def keep_comparison(*, row: Comparison, values: Mapping[str, Any], now: datetime) -> Comparison:
    """Keep what was computed in place of what was there; doing it twice does it once."""
    Comparison.objects.filter(pk=row.pk).update(**values, made_at=now)
    row.refresh_from_db()
    return row


@transaction.atomic
def vouch_retest(
    *, actor: User, comparison_id: int, note: str, now: datetime | None = None
) -> RetestPair:
    """Keep a pair between which nothing was done: what it differs by is the station's noise."""
    now = now or timezone.now()
    demand(actor, VOUCH_RETEST)
    row = Comparison.objects.select_related(
        "before__shot_line__session__station", "after__shot_line__session"
    ).get(pk=comparison_id)
    reason = why_no_retest(row)
    if reason:
        raise DomainError(
            f"This cannot be a test and retest pair: {reason}",
            code="deliverables.no_retest",
            next_step="Shoot one object twice at one station, with nothing done in between.",
        )
    words = note.strip()
    if not words:
        raise DomainError(
            "Say how you know that nothing was done in between.",
            code="deliverables.retest_without_reason",
            next_step="For example: “Shot twice on one day.”",
        )
    assert row.before.shot_line is not None, "a pair without a station was refused above"
    assert row.noise_floor is not None, "a pair without a floor was refused above"
    made = RetestPair.objects.create(
        comparison=row,
        station=row.before.shot_line.session.station,
        technique=row.before.technique,
        floor=row.noise_floor,
        unit=floor_unit(row.before.technique),
        note=words,
        by=actor,
        recorded_at=now,
    )
    audit.record(
        "deliverables.retest_kept",
        actor=actor,
        subject=made,
        object_id=row.before.object_id,
        after={"floor": made.floor, "unit": made.unit, "station": made.station.code},
        reason=words,
        valid_at=now,
        now=now,
    )
    return made
