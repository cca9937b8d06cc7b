"""Planning a treatment and its steps, pausing, dropping, reassigning, signing off."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date, datetime
from typing import Any

from django.db import transaction
from django.db.models import Max
from django.utils import timezone

from imaging_requests.collection.models import CollectionObject
from imaging_requests.collection.stale import mark_stale
from imaging_requests.people import audit
from imaging_requests.people.actions import tell
from imaging_requests.people.errors import DomainError, IllegalStep
from imaging_requests.people.models import Role, User
from imaging_requests.people.policies import demand
from imaging_requests.people.versions import lock_row, save_row
from imaging_requests.protocols.queries import trigger_table_in_force
from imaging_requests.treatments import rules
from imaging_requests.treatments.actions.planning import demand_sound
from imaging_requests.treatments.actions.records import (
    Before,
    keep_times,
    locked_step,
    page_of,
    settle_treatment,
    values_of,
)
from imaging_requests.treatments.models import (
    DecisionCase,
    EmergencyOverride,
    Intervention,
    InterventionState,
    Treatment,
)
from imaging_requests.treatments.policies import PLAN_TREATMENT, REASSIGN, TREAT
from imaging_requests.treatments.rules import Act

#: What can be said of a step before it starts.
STEP_FIELDS = (
    "type_row",
    "phase",
    "face",
    "direction",
    "area_cm2",
    "area_percent",
    "label",
    "combined",
    "planned_on",
    "exposure_until",
    "materials",
)


def _demand_dates(planned_from: date | None, planned_to: date | None) -> None:
    if planned_from is not None and planned_to is not None and planned_to < planned_from:
        raise DomainError(
            "The planned end lies before the planned beginning.",
            code="treatments.planned_dates",
            next_step="Check both dates.",
        )


@transaction.atomic
def plan_treatment(
    *,
    actor: User,
    object_id: int,
    title: str,
    scope: Sequence[Sequence[Any]],
    planned_from: date | None = None,
    planned_to: date | None = None,
    counts_for_catalogue: bool = True,
    code: str = "",
    now: datetime | None = None,
) -> Treatment:
    """Plan a treatment of an object; the one who plans it treats it.

    `scope` holds the views its documentation asks for: (technique, face) and, where it is said
    more narrowly, the occasions.
    """
    obj = CollectionObject.objects.select_for_update().get(pk=object_id)
    demand(actor, PLAN_TREATMENT, obj)
    now = now or timezone.now()
    _demand_dates(planned_from, planned_to)
    treatment = Treatment.objects.create(
        object=obj,
        code=code or _next_code(),
        title=title.strip(),
        conservator=actor,
        planned_from=planned_from,
        planned_to=planned_to,
        scope=[list(item) for item in scope],
        counts_for_catalogue=counts_for_catalogue,
        recorded_at=now,
    )
    audit.record(
        "treatments.planned",
        actor=actor,
        subject=treatment,
        object_id=obj.pk,
        after={"code": treatment.code, "title": treatment.title, "scope": treatment.scope},
        now=now,
    )
    mark_stale({obj.pk}, "treatments.planned")
    return treatment


def _next_code() -> str:
    """Return the code after the highest one in use.

    The newest treatment is locked first, so that two people planning at once take turns.
    """
    Treatment.objects.select_for_update().order_by("-pk").first()
    taken = Treatment.objects.filter(code__regex=r"^T[0-9]+$").values_list("code", flat=True)
    return f"T{max((int(code[1:]) for code in taken), default=0) + 1}"


@transaction.atomic
def add_intervention(
    *,
    actor: User,
    treatment_id: int,
    read_version: int,
    now: datetime | None = None,
    **values: Any,
) -> Intervention:
    """Add a planned step; its type is a row of the trigger table in force.

    Other values are those of `STEP_FIELDS`; what is not given keeps its default.
    """
    now = now or timezone.now()
    treatment = lock_row(Treatment, treatment_id, read_version=read_version)
    demand(actor, TREAT, treatment)
    treatment_before = Before(treatment)
    treatment.state = rules.next_treatment_state(treatment.state, Act.ADD)
    last = treatment.interventions.aggregate(last=Max("step"))["last"] or 0
    step = Intervention(
        treatment=treatment,
        object_id=treatment.object_id,
        step=last + 1,
        recorded_at=now,
        **_known(values),
    )
    demand_sound(step, now=now, face=values.get("face"))
    step.save(force_insert=True)
    save_row(treatment, fields=["state"])
    audit.record(
        "treatments.step_added",
        actor=actor,
        subject=step,
        object_id=step.object_id,
        before=treatment_before.of("state"),
        after={"treatment": treatment.code, "step": step.step, **values_of(step, STEP_FIELDS)},
        now=now,
    )
    mark_stale({step.object_id}, "treatments.step_added")
    return step


@transaction.atomic
def edit_intervention(
    *,
    actor: User,
    intervention_id: int,
    read_version: int,
    now: datetime | None = None,
    **values: Any,
) -> Intervention:
    """Change what is planned of a step that has not begun."""
    now = now or timezone.now()
    wanted = _known(values)
    treatment, step = locked_step(intervention_id, read_version=read_version, wanted=wanted)
    demand(actor, TREAT, treatment)
    if step.state != InterventionState.PLANNED:
        raise IllegalStep(
            f"You cannot change the plan of this step: it is {step.get_state_display().lower()}.",
            code="treatments.step_has_begun",
            next_step="Correct its times if they are wrong.",
        )
    before = values_of(step, [*wanted, "face"])
    for name, value in wanted.items():
        setattr(step, name, value)
    is_other_kind = "type_row" in wanted and "face" not in wanted
    demand_sound(step, now=now, face=None if is_other_kind else step.face)
    save_row(step, fields=[*{*wanted, "face"}])
    audit.record(
        "treatments.step_changed",
        actor=actor,
        subject=step,
        object_id=step.object_id,
        before=before,
        after=values_of(step, [*wanted, "face"]),
        now=now,
    )
    mark_stale({step.object_id}, "treatments.step_changed")
    return step


def _known(values: Mapping[str, Any]) -> dict[str, Any]:
    strange = sorted(set(values) - set(STEP_FIELDS))
    if strange:
        raise TypeError(f"A step has no {', '.join(strange)}.")
    return dict(values)


@transaction.atomic
def drop_intervention(
    *,
    actor: User,
    intervention_id: int,
    read_version: int,
    reason: str,
    now: datetime | None = None,
) -> Intervention:
    """Drop a step that will not be done; it stays in the history."""
    now = now or timezone.now()
    treatment, step = locked_step(intervention_id, read_version=read_version)
    demand(actor, TREAT, treatment)
    before = Before(step)
    step.state = rules.next_intervention_state(step.state, Act.DROP)
    save_row(step, fields=["state"])
    keep_times(step, actor=actor, now=now, reason=reason.strip())
    before.record(
        "treatments.step_dropped", actor=actor, fields=("state",), reason=reason.strip(), now=now
    )
    settle_treatment(treatment)
    return step


@transaction.atomic
def drop_treatment(
    *,
    actor: User,
    treatment_id: int,
    read_version: int,
    reason: str,
    now: datetime | None = None,
) -> Treatment:
    """Drop a treatment that never began; pictures made for it stay as they are."""
    now = now or timezone.now()
    treatment = lock_row(Treatment, treatment_id, read_version=read_version)
    demand(actor, TREAT, treatment)
    before = Before(treatment)
    treatment.state = rules.next_treatment_state(treatment.state, Act.DROP)
    for step in treatment.interventions.select_for_update().filter(state="planned"):
        step_before = Before(step)
        step.state = rules.next_intervention_state(step.state, Act.DROP)
        save_row(step, fields=["state"])
        keep_times(step, actor=actor, now=now, reason=reason.strip())
        step_before.record(
            "treatments.step_dropped", actor=actor, fields=("state",), reason=reason, now=now
        )
    save_row(treatment, fields=["state"])
    before.record(
        "treatments.dropped", actor=actor, fields=("state",), reason=reason.strip(), now=now
    )
    return treatment


@transaction.atomic
def pause_treatment(
    *,
    actor: User,
    treatment_id: int,
    read_version: int,
    reason: str,
    now: datetime | None = None,
) -> Treatment:
    """Pause a treatment between two steps."""
    treatment = lock_row(Treatment, treatment_id, read_version=read_version)
    demand(actor, TREAT, treatment)
    before = Before(treatment)
    treatment.state = rules.next_treatment_state(treatment.state, Act.PAUSE)
    if treatment.interventions.filter(state=InterventionState.STARTED).exists():
        raise IllegalStep(
            "You cannot pause this treatment: a step is under way.",
            code="treatments.pause_in_step",
            next_step="Record the end of the step first.",
        )
    save_row(treatment, fields=["state"])
    before.record(
        "treatments.paused", actor=actor, fields=("state",), reason=reason.strip(), now=now
    )
    return treatment


@transaction.atomic
def resume_treatment(
    *, actor: User, treatment_id: int, read_version: int, now: datetime | None = None
) -> Treatment:
    """Take up a paused treatment again."""
    treatment = lock_row(Treatment, treatment_id, read_version=read_version)
    demand(actor, TREAT, treatment)
    before = Before(treatment)
    treatment.state = rules.next_treatment_state(treatment.state, Act.RESUME)
    save_row(treatment, fields=["state"])
    before.record("treatments.resumed", actor=actor, fields=("state",), now=now)
    return treatment


@transaction.atomic
def reassign_treatment(
    *,
    actor: User,
    treatment_id: int,
    read_version: int,
    conservator_id: int,
    reason: str,
    now: datetime | None = None,
) -> Treatment:
    """Give a treatment with its open questions to another conservator, and say why."""
    now = now or timezone.now()
    conservator = demand_conservator(conservator_id)
    treatment = lock_row(
        Treatment, treatment_id, read_version=read_version, wanted={"conservator": conservator}
    )
    demand(actor, REASSIGN, treatment)
    rules.next_treatment_state(treatment.state, Act.REASSIGN)
    words = demand_change_of_hands(treatment.conservator, conservator, reason, now)
    before, giver = Before(treatment), treatment.conservator
    treatment.conservator = conservator
    save_row(treatment, fields=["conservator"])
    cases = DecisionCase.objects.select_for_update().filter(
        intervention__treatment=treatment, state=DecisionCase.State.OPEN
    )
    for case in cases:
        case.assigned_to = conservator
        save_row(case, fields=["assigned_to"])
    before.record(
        "treatments.reassigned", actor=actor, fields=("conservator_id",), reason=words, now=now
    )
    said = f"{actor.name} gave you treatment {treatment.code}: {words}"
    tell([conservator], said, page_of(treatment), now=now)
    said = f"{actor.name} gave treatment {treatment.code} to {conservator.name}: {words}"
    tell([giver], said, page_of(treatment), now=now)
    return treatment


def demand_change_of_hands(giver: User, taker: User, reason: str, now: datetime) -> str:
    """Return the reason for which a treatment or a question changes hands, or refuse."""
    if giver.pk == taker.pk:
        raise DomainError(
            f"{taker.name} has it already.",
            code="treatments.same_conservator",
            next_step="Choose another conservator.",
        )
    return rules.demand_reason(reason, at_least=trigger_table_in_force(now).min_reason_length)


def demand_conservator(user_id: int) -> User:
    """Return the person if she may treat, or refuse."""
    user = User.objects.get(pk=user_id)
    if not user.has_role(Role.CONSERVATOR):
        raise DomainError(
            f"{user.name} is no conservator.",
            code="treatments.no_conservator",
            next_step="Choose a conservator.",
        )
    return user


@transaction.atomic
def sign_off_treatment(
    *, actor: User, treatment_id: int, read_version: int, now: datetime | None = None
) -> Treatment:
    """Sign a finished treatment off, once every question it raised has its answer."""
    treatment = lock_row(Treatment, treatment_id, read_version=read_version)
    demand(actor, TREAT, treatment)
    now = now or timezone.now()
    before = Before(treatment)
    treatment.state = rules.next_treatment_state(treatment.state, Act.SIGN_OFF)
    rules.demand_all_closed(
        DecisionCase.objects.filter(
            intervention__treatment=treatment, state=DecisionCase.State.OPEN
        ).count()
    )
    rules.demand_complete_emergencies(_incomplete_emergencies(treatment))
    treatment.signed_off_at = now
    save_row(treatment, fields=["state", "signed_off_at"])
    before.record("treatments.signed_off", actor=actor, fields=("state",), now=now)
    return treatment


def _incomplete_emergencies(treatment: Treatment) -> list[str]:
    lacking: list[str] = []
    for override in EmergencyOverride.objects.filter(
        intervention__treatment=treatment
    ).select_related("intervention"):
        step = override.intervention.step
        if override.witness_id is None:
            lacking.append(f"step {step} has no witness")
        if not override.record_picture:
            lacking.append(f"step {step} has no record picture")
    return lacking
