"""What a step that is planned or begins is held against: its kind, the face, what is on it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import datetime

from imaging_requests.collection.limits import Limit, limits_at
from imaging_requests.collection.models import ObjectFacts
from imaging_requests.collection.queries import facts_now
from imaging_requests.collection.rules import layers_of
from imaging_requests.people.errors import DomainError
from imaging_requests.protocols.queries import trigger_table_in_force, trigger_tables
from imaging_requests.reckoning.truth.facts import Event
from imaging_requests.reckoning.truth.fitting import Misfit, misfit
from imaging_requests.reckoning.truth.triggers import Row
from imaging_requests.treatments import rules_steps
from imaging_requests.treatments.events import event_key, published_tables, step_event
from imaging_requests.treatments.models import Intervention, InterventionState
from imaging_requests.treatments.rules_steps import FaceSize


def demand_sound(step: Intervention, *, now: datetime, face: str | None) -> None:
    """Refuse a plan of a step that says too little, too much, or what cannot be.

    `face` is what was said of the treated face; empty leaves it to the kind of step, None says
    nothing of it, and then the front of an object with two painted faces is meant.
    """
    row = _known_row(step.type_row, now)
    facts = facts_now(step.object_id, now)
    two_sided = facts is not None and facts.painted_faces == "FB"
    said = face if face is not None or not two_sided else step.face
    step.face = rules_steps.settled_face(row, said or "", two_sided=two_sided)
    rules_steps.demand_direction(row, step.direction)
    size = _face_size(facts, limits_at(now))
    rules_steps.demand_area(step.area_cm2, step.area_percent, face=step.face, size=size)
    demand_fitting(step, now=now, facts=facts)


def _known_row(number: int, now: datetime) -> Row:
    table = trigger_table_in_force(now)
    if number not in table.rows:
        raise DomainError(
            f"The trigger table, version {table.version}, knows no step of type {number}.",
            code="treatments.unknown_type",
            next_step="Choose one of the types it lists.",
        )
    return table.rows[number]


def _face_size(facts: ObjectFacts | None, limits: Mapping[str, Limit]) -> FaceSize | None:
    height = None if facts is None else facts.height_mm
    width = None if facts is None else facts.width_mm
    if height is not None and width is not None:
        return FaceSize(height, width, is_measured=True)
    most_height = limits.get("height_mm", Limit()).at_most
    most_width = limits.get("width_mm", Limit()).at_most
    if most_height is None or most_width is None:
        return None
    return FaceSize(height or most_height, width or most_width, is_measured=False)


def demand_fitting(
    step: Intervention, *, now: datetime, facts: ObjectFacts | None, at: datetime | None = None
) -> None:
    """Refuse a step that takes off what is not on, or puts on a second of the same.

    With `at` the step begins then, after what was done by then. Without, it is planned: the steps
    of its treatment that come before count as done, and those of other treatments, whose place is
    not known yet, get the benefit of the doubt.
    """
    if not trigger_table_in_force(now).row(step.type_row).act:
        return
    others = list(
        Intervention.objects.filter(object_id=step.object_id)
        .exclude(pk=step.pk)
        .exclude(state=InterventionState.DROPPED)
        .select_related("treatment")
        .order_by("treatment_id", "step")
    )
    done = _done(others, by=at or now)
    if at is not None:
        courses = [done]
    else:
        ahead = [each for each in others if each.state == InterventionState.PLANNED]
        own = [e for e in ahead if e.treatment_id == step.treatment_id and e.step < step.step]
        strange = [each for each in ahead if each.treatment_id != step.treatment_id]
        courses = [[*done, *own], [*done, *strange, *own]]
    found = [_misfit(course, step, facts=facts) for course in courses]
    if None in found:
        return
    first = found[0]
    assert first is not None
    put_on_by = next((str(each) for each in others if event_key(each.pk) == first.since), "")
    rules_steps.demand_fit(first, put_on_by=put_on_by)


def _done(steps: Iterable[Intervention], *, by: datetime) -> list[Intervention]:
    """Return the steps that had begun by an instant, in the order in which they ended."""
    begun = [step for step in steps if step.started_at is not None and step.started_at <= by]
    return sorted(begun, key=lambda step: (step.finished_at or by, step.recorded_at, step.pk))


def _misfit(
    course: Iterable[Intervention], step: Intervention, *, facts: ObjectFacts | None
) -> Misfit | None:
    published = published_tables()
    events: list[Event] = [step_event(each, published) for each in course]
    return misfit(
        events,
        step_event(step, published),
        trigger_tables(),
        layers=layers_of(is_lined=facts is not None and facts.is_lined),
        two_sided=facts is not None and facts.painted_faces == "FB",
    )
