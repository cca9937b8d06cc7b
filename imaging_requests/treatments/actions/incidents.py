"""Recording incidents, and completing an emergency start with its witness."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from django.db import transaction
from django.utils import timezone

from imaging_requests.collection.models import CollectionObject
from imaging_requests.collection.stale import mark_stale
from imaging_requests.people import audit
from imaging_requests.people.clock import studio_time
from imaging_requests.people.errors import DomainError, NotAllowed, StaleWrite
from imaging_requests.people.models import Role, User
from imaging_requests.people.policies import demand
from imaging_requests.protocols.queries import trigger_table_in_force
from imaging_requests.treatments import rules
from imaging_requests.treatments.actions.decisions import ask_cases
from imaging_requests.treatments.actions.plans import demand_conservator
from imaging_requests.treatments.actions.records import demand_second_person
from imaging_requests.treatments.models import EmergencyOverride, Incident
from imaging_requests.treatments.policies import COMPLETE_EMERGENCY, RECORD_INCIDENT
from imaging_requests.treatments.rules import NewCase


@transaction.atomic
def record_incident(
    *,
    actor: User,
    object_id: int,
    kind: str,
    occurred_at: datetime,
    assigned_to_id: int,
    note: str = "",
    cases: Sequence[NewCase] = (),
    now: datetime | None = None,
) -> Incident:
    """Record something that happened to an object, and ask what it did to older pictures."""
    obj = CollectionObject.objects.select_for_update().get(pk=object_id)
    demand(actor, RECORD_INCIDENT, obj)
    now = now or timezone.now()
    if kind not in Incident.Kind.values:
        raise DomainError(
            "This kind of incident is not known.",
            code="treatments.unknown_incident",
            next_step="Choose one from the list.",
        )
    rules.demand_past(occurred_at, now=now, what="incident")
    conservator = demand_conservator(assigned_to_id)
    incident = Incident.objects.create(
        object=obj,
        kind=kind,
        occurred_at=occurred_at,
        recorded_at=now,
        recorded_by=actor,
        note=note.strip(),
    )
    audit.record(
        "treatments.incident",
        actor=actor,
        subject=incident,
        object_id=obj.pk,
        after={"kind": kind, "note": incident.note},
        valid_at=occurred_at,
        now=now,
    )
    ask_cases(incident, cases, assigned_to=conservator, actor=actor, now=now)
    mark_stale({obj.pk}, "treatments.incident")
    return incident


@transaction.atomic
def complete_emergency(
    *,
    actor: User,
    override_id: int,
    witness_id: int | None = None,
    record_picture: str = "",
    now: datetime | None = None,
) -> EmergencyOverride:
    """Name the witness of an emergency start, or say where its record picture is kept.

    What has been said once is neither overwritten nor dropped in silence: who says something else
    is shown both. After the time the trigger table sets, only the department head names the
    witness, and the instant shows that it was late.
    """
    now = now or timezone.now()
    override = EmergencyOverride.objects.select_for_update().get(pk=override_id)
    demand(actor, COMPLETE_EMERGENCY, override)
    kept_at = record_picture.strip()
    _demand_unsaid(override, witness_id, kept_at)
    if witness_id is not None and override.witness_id is None:
        _demand_witness(override, witness_id, actor=actor, now=now)
        override.witness_id = witness_id
        override.witnessed_at = now
    override.record_picture = override.record_picture or kept_at
    override.save(update_fields=["witness", "witnessed_at", "record_picture"])
    step = override.intervention
    audit.record(
        "treatments.emergency_completed",
        actor=actor,
        subject=override,
        object_id=step.object_id,
        after={"witness": override.witness_id, "record_picture": override.record_picture},
        now=now,
    )
    mark_stale({step.object_id}, "treatments.emergency_completed")
    return override


def _demand_unsaid(override: EmergencyOverride, witness_id: int | None, kept_at: str) -> None:
    """Refuse what was said otherwise meanwhile, with what stands and what was meant."""
    differences = []
    if witness_id is not None and override.witness_id not in (None, witness_id):
        wanted = User.objects.filter(pk=witness_id).first()
        differences.append(("Witness", str(override.witness), str(wanted or "nobody known")))
    if kept_at and override.record_picture not in ("", kept_at):
        differences.append(("Record picture", override.record_picture, kept_at))
    if differences:
        raise StaleWrite(
            "What this emergency start owed has been said meanwhile, and otherwise.",
            differences=differences,
            next_step="It is not overwritten. If it is wrong, tell the department head.",
        )


def _demand_witness(
    override: EmergencyOverride, witness_id: int, *, actor: User, now: datetime
) -> None:
    demand_second_person(
        witness_id, conservator=override.conservator, next_step="Name somebody else."
    )
    within_h = trigger_table_in_force(now).witness_within_h
    due = rules.witness_due_at(override.recorded_at, within_h=within_h)
    if now > due and not actor.has_role(Role.HEAD):
        raise NotAllowed(
            f"The {within_h:g} hours for naming the witness ended on "
            f"{studio_time(due):%-d %b %Y, %H:%M}.",
            code="treatments.witness_late",
            next_step="The department head can still name one; the record shows that it was late.",
        )
