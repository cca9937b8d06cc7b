"""Writes about cameras' clocks: keep what slates say, propose, agree, decline."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime

from django.db import transaction
from django.utils import timezone

from imaging_requests.intake.actions.layout import ask_for_layout
from imaging_requests.intake.clocks import Clock
from imaging_requests.intake.models import CameraClock, Drop
from imaging_requests.intake.policies import PLACE
from imaging_requests.people import audit
from imaging_requests.people.errors import IllegalStep
from imaging_requests.people.models import User
from imaging_requests.people.policies import demand


def keep_clocks(drop: Drop, clocks: Iterable[Clock], now: datetime) -> None:
    """Keep what slates say and what is proposed; what a person decided stays as it is.

    Runs inside the transaction that stores a layout.
    """
    known = {clock.body_serial: clock for clock in CameraClock.objects.filter(drop=drop)}
    for clock in clocks:
        row = known.get(clock.body_serial)
        if row is not None and (row.decided_by_id is not None or not clock.is_sure):
            continue
        source = CameraClock.Source.SLATE if clock.is_sure else CameraClock.Source.ESTIMATE
        if row is not None and (row.source, row.offset_s) == (source, clock.offset_s):
            continue
        state = CameraClock.State.IN_FORCE if clock.is_sure else CameraClock.State.PROPOSED
        CameraClock.objects.update_or_create(
            drop=drop,
            body_serial=clock.body_serial,
            defaults={
                "offset_s": clock.offset_s,
                "source": source,
                "state": state,
                "because": clock.because,
                "found_at": now,
            },
        )
        audit.record(
            "intake.clock_read" if clock.is_sure else "intake.clock_proposed",
            actor=None,
            subject=drop,
            after={"body_serial": clock.body_serial, "clock_offset_s": clock.offset_s},
            reason=clock.because,
            now=now,
        )


@transaction.atomic
def decide_clock(
    *, actor: User, clock_id: int, agrees: bool, now: datetime | None = None
) -> CameraClock:
    """Agree to a proposed clock, or decline it; the frames that wait are then laid out anew."""
    now = now or timezone.now()
    clock = CameraClock.objects.select_for_update().select_related("drop").get(pk=clock_id)
    demand(actor, PLACE, clock.drop)
    if clock.state != CameraClock.State.PROPOSED:
        raise IllegalStep(
            f"The clock of the camera {clock.body_serial} was decided already.",
            code="intake.clock_decided",
            next_step="Correct the clock of the whole drop by hand if it is not right.",
        )
    clock.state = CameraClock.State.IN_FORCE if agrees else CameraClock.State.DECLINED
    clock.decided_by, clock.decided_at = actor, now
    clock.save(update_fields=["state", "decided_by", "decided_at"])
    audit.record(
        "intake.clock_agreed" if agrees else "intake.clock_declined",
        actor=actor,
        subject=clock.drop,
        after={"body_serial": clock.body_serial, "clock_offset_s": clock.offset_s},
        reason=clock.because,
        now=now,
    )
    if agrees:
        ask_for_layout([clock.drop_id])
    return clock
