"""What the actions of treatments share: locking in one order, keeping times, telling others."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from datetime import datetime
from typing import Any

from django.urls import reverse
from django.utils import timezone

from imaging_requests.collection.models import CollectionObject
from imaging_requests.collection.queries import facts_now
from imaging_requests.collection.stale import mark_stale
from imaging_requests.people import audit
from imaging_requests.people.errors import DomainError
from imaging_requests.people.models import User, Versioned
from imaging_requests.people.versions import lock_row, save_row
from imaging_requests.protocols.queries import trigger_tables
from imaging_requests.reckoning.truth.surfaces import worked_face
from imaging_requests.treatments import rules
from imaging_requests.treatments.models import (
    Intervention,
    InterventionRecord,
    Treatment,
    TreatmentState,
)
from imaging_requests.treatments.queries import witnesses
from imaging_requests.treatments.rules import Span


def values_of(row: Versioned, names: Iterable[str]) -> dict[str, Any]:
    """Return named values of a row for the audit trail."""
    return {name: getattr(row, name) for name in names}


def demand_second_person(witness_id: int, *, conservator: User, next_step: str) -> None:
    """Refuse a witness who began the step, or who does not work in the house."""
    if witness_id == conservator.pk:
        raise DomainError(
            "The witness of an emergency is a second person.",
            code="treatments.witness_is_conservator",
            next_step=next_step,
        )
    if not witnesses(conservator).filter(pk=witness_id).exists():
        raise DomainError(
            "The witness of an emergency is somebody of the house with an open account.",
            code="treatments.witness_from_outside",
            next_step=next_step,
        )


class Before:
    """The values of a row before a change, and the event that says what changed."""

    def __init__(self, row: Treatment | Intervention) -> None:
        self.row = row
        self._values = {f.attname: getattr(row, f.attname) for f in row._meta.concrete_fields}

    def of(self, *names: str) -> dict[str, Any]:
        """Return the old values of some fields."""
        return {name: self._values[name] for name in names}

    def record(
        self,
        code: str,
        *,
        actor: User,
        fields: tuple[str, ...],
        reason: str = "",
        valid_at: datetime | None = None,
        now: datetime | None = None,
        after: Mapping[str, Any] | None = None,
    ) -> None:
        """Append the event and mark the object stale."""
        audit.record(
            code,
            actor=actor,
            subject=self.row,
            object_id=self.row.object_id,
            before=self.of(*fields),
            after={**values_of(self.row, fields), **(after or {})},
            reason=reason,
            valid_at=valid_at,
            now=now,
        )
        mark_stale({self.row.object_id}, code)


def locked_step(
    intervention_id: int, *, read_version: int, wanted: Mapping[str, Any] | None = None
) -> tuple[Treatment, Intervention]:
    """Lock object, treatment and step, in this order everywhere, and check the step's version.

    The object's row is the one that keeps two steps of one object apart.
    """
    ids = Intervention.objects.values_list("object_id", "treatment_id").get(pk=intervention_id)
    object_id, treatment_id = ids
    CollectionObject.objects.select_for_update().get(pk=object_id)
    treatment = Treatment.objects.select_for_update().get(pk=treatment_id)
    step = lock_row(Intervention, intervention_id, read_version=read_version, wanted=wanted)
    return treatment, step


def keep_times(step: Intervention, *, actor: User, now: datetime, reason: str = "") -> None:
    """Add the step's times as they are now known to its history."""
    InterventionRecord.objects.create(
        intervention=step,
        recorded_at=now,
        recorded_by=actor,
        state=step.state,
        started_at=step.started_at,
        finished_at=step.finished_at,
        reason=reason,
    )


def demand_alone(step: Intervention) -> None:
    """Refuse a step that overlaps another of the same object on the same face."""
    if step.started_at is None:
        return
    others = (
        Intervention.objects.filter(object_id=step.object_id, started_at__isnull=False)
        .exclude(pk=step.pk)
        .select_related("treatment")
    )
    face_of = _faces(step)
    spans = [span for each in others if (span := _span(each, face_of(each))) is not None]
    mine = _span(step, face_of(step))
    if mine is not None:
        rules.demand_alone(mine, spans)


def set_times(
    step: Intervention, started_at: datetime | None, finished_at: datetime | None
) -> None:
    """Give a begun step its times after checking their order and its neighbours."""
    if started_at is None:
        raise DomainError("A step that has begun has a start.", code="treatments.no_start")
    rules.demand_order(started_at, finished_at)
    step.started_at, step.finished_at = started_at, finished_at
    demand_alone(step)


def _faces(step: Intervention) -> Callable[[Intervention], str]:
    """Return how to tell the face that a step of this object is really done to."""
    facts = facts_now(step.object_id, timezone.now())
    two_sided = facts is not None and facts.painted_faces == "FB"
    rows = {
        number: row for table in trigger_tables().values() for number, row in table.rows.items()
    }

    def face_of(each: Intervention) -> str:
        row = rows.get(each.type_row)
        return each.face if row is None else worked_face(row, each.face, two_sided=two_sided)

    return face_of


def _span(step: Intervention, face: str) -> Span | None:
    if step.started_at is None:
        return None
    return Span(str(step), face, step.started_at, step.finished_at, step.combined)


def page_of(treatment: Treatment) -> str:
    """Return where a treatment is shown."""
    return reverse("progress:treatment", args=[treatment.pk])


def settle_treatment(treatment: Treatment) -> None:
    """Let a treatment be finished when none of its steps is left to do, or under way again."""
    states = list(treatment.interventions.values_list("state", flat=True))
    state = treatment.state
    if state == TreatmentState.UNDER_WAY and rules.has_all_ended(states):
        state = TreatmentState.FINISHED
    if state != treatment.state:
        treatment.state = state
    save_row(treatment, fields=["state"])
