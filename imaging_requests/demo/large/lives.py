"""Invent what was done to an object: treatments with their steps, most of them long ended."""

from __future__ import annotations

import random
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from imaging_requests.demo.large.things import Type
from imaging_requests.demo.large.unsaved import Unsaved
from imaging_requests.treatments.models import (
    Intervention,
    InterventionState,
    Treatment,
    TreatmentState,
)

FRONT = (["VF", "F"], ["VC", "F"], ["RK", "F"], ["UV", "F"], ["IR", "F"])
WHOLE = (*FRONT, ["VF", "B"], ["RK", "B"], ["UV", "B"], ["XR", "T"])
#: How often an object was treated since the house keeps such records.
TREATMENTS = (0, 1) + (2,) * 4 + (3,) * 6 + (4,) * 6 + (5,) * 6
#: Of the last treatments, those that are still to come or under way.
AHEAD = 0.006
UNDER_WAY = 0.004


_treatment, _intervention = Unsaved(Treatment), Unsaved(Intervention)


@dataclass(frozen=True, slots=True)
class Programme:
    """A kind of treatment: rows of the trigger table in order, and what it documents."""

    title: str
    rows: tuple[int, ...]
    scope: tuple[list[str], ...]


ANY = (
    Programme("Cleaning and varnishing", (1, 2, 6, 7), WHOLE),
    Programme("Varnish taken off and renewed", (2, 7), FRONT),
    Programme("Fills and retouching", (5, 6, 7), WHOLE),
    Programme("Surface cleaning", (1, 23), WHOLE),
)
CANVAS = (
    Programme("Stretcher renewed", (16, 17), WHOLE),
    Programme("Tear repair", (14, 5, 6), WHOLE),
)
LINING = Programme("Lining", (11,), WHOLE)
UNLINING = Programme("Lining taken off", (12, 13), WHOLE)
PANEL = (
    Programme("Joints and auxiliary support", (20, 21), WHOLE),
    Programme("Cradle taken off", (19,), WHOLE),
)


@dataclass(frozen=True, slots=True)
class Course:
    """One treatment with its steps, as rows that are not stored yet."""

    treatment: Treatment
    steps: tuple[Intervention, ...]

    @property
    def start(self) -> datetime | None:
        """When the first step began, or None."""
        return self.steps[0].started_at

    @property
    def end(self) -> datetime | None:
        """When the last step ended, or None while one is still to come."""
        return self.steps[-1].finished_at


@dataclass(frozen=True, slots=True)
class Keys:
    """Where the next primary keys come from."""

    treatments: Iterator[int]
    interventions: Iterator[int]


def live(
    object_id: int,
    of: Type,
    dice: random.Random,
    *,
    keys: Keys,
    conservators: tuple[int, ...],
    since: datetime,
    now: datetime,
) -> list[Course]:
    """Invent the treatments of an object between two instants, in order of time."""
    number = dice.choice((0, 1) if of.kind == "frame" else TREATMENTS)
    if not number:
        return []
    stretch = (now - since - timedelta(days=120)) / number
    is_lined = False
    courses = []
    for index in range(number):
        programme = _programme(of, dice, is_lined)
        is_lined = (is_lined or 11 in programme.rows) and 12 not in programme.rows
        is_last = index == number - 1
        luck = dice.random() if is_last else 1.0
        start = since + stretch * index + timedelta(days=dice.randint(20, 60), hours=9)
        stands: str = TreatmentState.SIGNED_OFF
        if luck < AHEAD:
            start, stands = now + timedelta(days=dice.randint(2, 90)), TreatmentState.PLANNED
        elif luck < AHEAD + UNDER_WAY:
            start, stands = now - timedelta(days=dice.randint(3, 9)), TreatmentState.UNDER_WAY
        courses.append(
            _course(
                object_id,
                programme,
                dice,
                keys=keys,
                conservator=dice.choice(conservators),
                start=start,
                stands=stands,
                now=now,
            )
        )
    return courses


def _programme(of: Type, dice: random.Random, is_lined: bool) -> Programme:
    if is_lined and dice.random() < 0.6:
        return UNLINING
    luck = dice.random()
    if of.support == "canvas" and luck < 0.3:
        return LINING if luck < 0.1 and not is_lined else dice.choice(CANVAS)
    if of.support == "panel" and luck < 0.35:
        return dice.choice(PANEL)
    return dice.choice(ANY)


def _course(
    object_id: int,
    programme: Programme,
    dice: random.Random,
    *,
    keys: Keys,
    conservator: int,
    start: datetime,
    stands: str,
    now: datetime,
) -> Course:
    """Lay the steps one after the other; of a treatment under way the first has begun."""
    pk = next(keys.treatments)
    recorded = min(start - timedelta(days=dice.randint(20, 50)), now - timedelta(days=12))
    rows = programme.rows
    treatment = _treatment(
        id=pk,
        object_id=object_id,
        code=f"L{pk}",
        title=programme.title,
        conservator_id=conservator,
        state=stands,
        planned_from=start.date(),
        scope=[list(pair) for pair in programme.scope],
        recorded_at=recorded,
        signed_off_at=None,
    )
    steps = []
    at = start
    is_over = stands == TreatmentState.SIGNED_OFF
    for number, row in enumerate(rows, start=1):
        length = timedelta(days=dice.randint(2, 6), hours=dice.randint(0, 5))
        has_begun = is_over or (stands == TreatmentState.UNDER_WAY and number == 1)
        steps.append(
            _step(
                next(keys.interventions),
                treatment,
                number,
                row,
                began=at if has_begun else None,
                ended=at + length if is_over else None,
                planned_on=at.date(),
                recorded_at=recorded + timedelta(seconds=number),
            )
        )
        at += length + timedelta(days=dice.randint(3, 5))
    end = steps[-1].finished_at
    treatment.planned_to = max(at.date(), start.date())
    treatment.signed_off_at = None if end is None else min(end + timedelta(days=30), now)
    return Course(treatment, tuple(steps))


def _step(
    pk: int,
    treatment: Treatment,
    number: int,
    row: int,
    *,
    began: datetime | None,
    ended: datetime | None,
    planned_on: date,
    recorded_at: datetime,
) -> Intervention:
    state = InterventionState.PLANNED
    if began is not None:
        state = InterventionState.STARTED if ended is None else InterventionState.FINISHED
    return _intervention(
        id=pk,
        treatment_id=treatment.id,
        object_id=treatment.object_id,
        step=number,
        type_row=row,
        state=state,
        planned_on=planned_on,
        started_at=began,
        finished_at=ended,
        recorded_at=recorded_at,
    )
