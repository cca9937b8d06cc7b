"""Find owed views by the scenario's short codes, after bringing them up to date."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime

from imaging_requests.demo.codes import View
from imaging_requests.demo.world import World
from imaging_requests.progress.settle import settle
from imaging_requests.reckoning.truth.terms import Status
from imaging_requests.requesting.models import Anchor, OwedView


def bring_up_to_date(world: World, numbers: Iterable[str], now: datetime) -> None:
    """Derive what is owed of some objects as of an instant."""
    settle([world.objects[number] for number in numbers], now=now)


def in_force(world: World, number: str, view: View, now: datetime) -> list[OwedView]:
    """Return the duties in force for a view of an object, whatever state they are owed for."""
    object_id = world.objects[number]
    bring_up_to_date(world, [number], now)
    return list(
        OwedView.objects.filter(
            object=object_id,
            technique=view.technique,
            face=view.face,
            variant=view.variant,
            detail_mm__isnull=True,
            ended_at=None,
        ).order_by("pk")
    )


def to_make(world: World, number: str, view: View, now: datetime) -> list[OwedView]:
    """Return the duties in force that nothing meets yet and that a picture can still meet."""
    return [
        duty
        for duty in in_force(world, number, view, now)
        if not duty.derived.is_met and duty.derived.status != Status.LOST
    ]


def of_treatment(world: World, number: str, view: View, code: str, now: datetime) -> OwedView:
    """Return the duty to show a view as it was before a treatment."""
    for duty in in_force(world, number, view, now):
        if duty.treatment_id == world.treatments[code] and duty.anchor == Anchor.BT:
            return duty
    raise LookupError(f"{number}: {view.code} before {code} is not owed.")
