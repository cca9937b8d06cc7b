"""Starting and finishing a step, taking a start back."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from django.db import transaction
from django.utils import timezone

from imaging_requests.collection.queries import facts_now
from imaging_requests.people import audit
from imaging_requests.people.actions import tell
from imaging_requests.people.clock import studio_time
from imaging_requests.people.errors import IllegalStep
from imaging_requests.people.models import Role, User
from imaging_requests.people.policies import demand
from imaging_requests.people.queries import holders
from imaging_requests.people.versions import save_row
from imaging_requests.protocols.queries import trigger_table_in_force
from imaging_requests.treatments import rules
from imaging_requests.treatments.actions.decisions import ask_cases
from imaging_requests.treatments.actions.planning import demand_fitting
from imaging_requests.treatments.actions.records import (
    Before,
    demand_alone,
    demand_second_person,
    keep_times,
    locked_step,
    page_of,
    set_times,
    settle_treatment,
)
from imaging_requests.treatments.models import EmergencyOverride, Intervention, Treatment
from imaging_requests.treatments.policies import TREAT
from imaging_requests.treatments.rules import Act, EmergencyStart, GateAnswer, NewCase

TIMES = ("state", "started_at", "finished_at")


@transaction.atomic
def start_intervention(
    *,
    actor: User,
    intervention_id: int,
    read_version: int,
    started_at: datetime,
    gate: GateAnswer,
    emergency: EmergencyStart | None = None,
    now: datetime | None = None,
) -> Intervention:
    """Record that a step has begun; its gate must be open at that instant.

    Against a shut gate it begins only as an emergency, with its reason; the witness is named, and
    the record picture shown to exist, at once or within the time the trigger table sets.
    """
    now = now or timezone.now()
    treatment, step = locked_step(
        intervention_id, read_version=read_version, wanted={"started_at": started_at}
    )
    demand(actor, TREAT, treatment)
    before, treatment_before = Before(step), Before(treatment)
    treatment.state = rules.next_treatment_state(treatment.state, Act.START)
    step.state = rules.next_intervention_state(step.state, Act.START)
    rules.demand_past(started_at, now=now, what="start of the step")
    rules.demand_gate(gate, intervention_id=step.pk, at=started_at, emergency=emergency)
    demand_fitting(step, now=now, facts=facts_now(step.object_id, now), at=started_at)
    step.started_at = started_at
    demand_alone(step)
    save_row(step, fields=["state", "started_at"])
    keep_times(step, actor=actor, now=now)
    before.record(
        "treatments.step_started",
        actor=actor,
        fields=TIMES,
        valid_at=started_at,
        now=now,
        after={"gate_open": gate.is_open},
    )
    if emergency is not None and not gate.is_open:
        _override(step, treatment, actor=actor, gate=gate, emergency=emergency, now=now)
    save_row(treatment, fields=["state", "is_emergency"])
    if treatment.state != treatment_before.of("state")["state"]:
        treatment_before.record("treatments.under_way", actor=actor, fields=("state",), now=now)
    return step


def _override(
    step: Intervention,
    treatment: Treatment,
    *,
    actor: User,
    gate: GateAnswer,
    emergency: EmergencyStart,
    now: datetime,
) -> None:
    """Keep the emergency with what it lost, and tell those who answer for the pictures."""
    if emergency.witness_id is not None:
        demand_second_person(
            emergency.witness_id, conservator=actor, next_step="Name somebody else, now or later."
        )
    treatment.is_emergency = True
    override = EmergencyOverride.objects.create(
        intervention=step,
        conservator=actor,
        witness_id=emergency.witness_id,
        witnessed_at=None if emergency.witness_id is None else now,
        reason=emergency.reason.strip(),
        record_picture=emergency.record_picture.strip(),
        lost_views=list(gate.missing),
        recorded_at=now,
    )
    audit.record(
        "treatments.emergency",
        actor=actor,
        subject=override,
        object_id=step.object_id,
        after={"lost_views": override.lost_views, "witness": emergency.witness_id},
        reason=override.reason,
        valid_at=step.started_at,
        now=now,
    )
    within_h = trigger_table_in_force(now).witness_within_h
    due = studio_time(rules.witness_due_at(now, within_h=within_h))
    wanting = "" if emergency.witness_id else f" A witness is to be named by {due:%-d %b, %H:%M}."
    if not override.record_picture:
        wanting += f" Where the record picture is kept is to be said by {due:%-d %b, %H:%M}."
    tell(
        [actor, *holders(Role.LEAD, Role.HEAD)],
        f"{actor.name} started {step} as an emergency. Not made before it: "
        f"{rules.listed(gate.missing)}.{wanting}",
        page_of(treatment),
        now=now,
    )


@transaction.atomic
def finish_intervention(
    *,
    actor: User,
    intervention_id: int,
    read_version: int,
    finished_at: datetime,
    cases: Sequence[NewCase],
    now: datetime | None = None,
) -> Intervention:
    """Record that a step has ended, and ask the questions it raises about older pictures."""
    now = now or timezone.now()
    treatment, step = locked_step(
        intervention_id, read_version=read_version, wanted={"finished_at": finished_at}
    )
    demand(actor, TREAT, treatment)
    before = Before(step)
    step.state = rules.next_intervention_state(step.state, Act.FINISH)
    treatment.state = rules.next_treatment_state(treatment.state, Act.FINISH)
    rules.demand_past(finished_at, now=now, what="end of the step")
    set_times(step, step.started_at, finished_at)
    save_row(step, fields=["state", "finished_at"])
    keep_times(step, actor=actor, now=now)
    before.record(
        "treatments.step_finished",
        actor=actor,
        fields=TIMES,
        valid_at=finished_at,
        now=now,
        after={"cases": len(cases)},
    )
    ask_cases(step, cases, assigned_to=treatment.conservator, actor=actor, now=now)
    settle_treatment(treatment)
    return step


@transaction.atomic
def take_back_start(
    *,
    actor: User,
    intervention_id: int,
    read_version: int,
    reason: str,
    now: datetime | None = None,
) -> Intervention:
    """Take back a start that never happened; the step is planned again, its questions go."""
    now = now or timezone.now()
    treatment, step = locked_step(intervention_id, read_version=read_version)
    demand(actor, TREAT, treatment)
    before = Before(step)
    step.state = rules.next_intervention_state(step.state, Act.TAKE_BACK)
    treatment.state = rules.next_treatment_state(treatment.state, Act.TAKE_BACK)
    if EmergencyOverride.objects.filter(intervention=step).exists():
        raise IllegalStep(
            "An emergency start stays on record.",
            code="treatments.emergency_stays",
            next_step="Correct its times if they are wrong.",
        )
    words = _reason(reason, now)
    was_finished = step.finished_at is not None
    step.started_at = step.finished_at = None
    save_row(step, fields=["state", "started_at", "finished_at"])
    keep_times(step, actor=actor, now=now, reason=words)
    before.record("treatments.start_taken_back", actor=actor, fields=TIMES, reason=words, now=now)
    ask_cases(step, (), assigned_to=treatment.conservator, actor=actor, now=now, is_complete=True)
    save_row(treatment, fields=["state"])
    if was_finished:
        said = f"{actor.name} took back {step}, which was on record as finished: {words}"
        tell(holders(Role.LEAD), said, page_of(treatment), now=now)
    return step


def _reason(reason: str, now: datetime) -> str:
    return rules.demand_reason(reason, at_least=trigger_table_in_force(now).min_reason_length)
