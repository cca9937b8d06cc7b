"""Correcting the times of a step takes two people: the conservator proposes, the lead decides."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from django.db import transaction
from django.utils import timezone

from imaging_requests.people import audit
from imaging_requests.people.actions import tell
from imaging_requests.people.clock import studio_time
from imaging_requests.people.errors import DomainError, IllegalStep
from imaging_requests.people.models import Role, User
from imaging_requests.people.policies import demand
from imaging_requests.people.queries import holders
from imaging_requests.people.versions import lock_row, save_row
from imaging_requests.protocols.queries import trigger_table_in_force
from imaging_requests.treatments import rules
from imaging_requests.treatments.actions.decisions import ask_cases
from imaging_requests.treatments.actions.records import (
    Before,
    keep_times,
    locked_step,
    page_of,
    set_times,
)
from imaging_requests.treatments.models import (
    EmergencyOverride,
    Intervention,
    TimesProposal,
    Treatment,
)
from imaging_requests.treatments.policies import COUNTERSIGN_TIMES, TREAT
from imaging_requests.treatments.rules import Act, GateAnswer, NewCase

TIMES = ("state", "started_at", "finished_at")
State = TimesProposal.State


@transaction.atomic
def propose_times(
    *,
    actor: User,
    intervention_id: int,
    read_version: int,
    started_at: datetime,
    finished_at: datetime | None,
    reason: str,
    changes: Sequence[str] = (),
    now: datetime | None = None,
) -> TimesProposal:
    """Propose when a step really began and ended; the step keeps its times until the lead signs.

    `changes` are the sentences about pictures that the proposer was shown. A later proposal for
    the same step takes the place of one that still waits.
    """
    now = now or timezone.now()
    wanted = {"started_at": started_at, "finished_at": finished_at}
    treatment, step = locked_step(intervention_id, read_version=read_version, wanted=wanted)
    demand(actor, TREAT, treatment)
    before = (step.started_at, step.finished_at)
    words = rules.demand_reason(reason, at_least=trigger_table_in_force(now).min_reason_length)
    _corrected(step, treatment.state, started_at, finished_at, now=now)
    assert before[0] is not None, "a step that has not begun was refused above"
    if before == (started_at, finished_at):
        raise DomainError(
            "These are the times on record already.",
            code="treatments.times_unchanged",
            next_step="Give the times at which the step really began and ended.",
        )
    for waiting in step.times_proposals.select_for_update().filter(state=State.OPEN):
        waiting.state = State.REPLACED
        save_row(waiting, fields=["state"])
    proposal = TimesProposal.objects.create(
        intervention=step,
        step_version=step.row_version,
        started_before=before[0],
        finished_before=before[1],
        started_at=started_at,
        finished_at=finished_at,
        reason=words,
        changes=list(changes),
        proposed_by=actor,
        proposed_at=now,
    )
    audit.record(
        "treatments.times_proposed",
        actor=actor,
        subject=proposal,
        object_id=step.object_id,
        before={"started_at": before[0], "finished_at": before[1]},
        after={"started_at": started_at, "finished_at": finished_at, "changes": list(changes)},
        reason=words,
        valid_at=started_at,
        now=now,
    )
    tell(
        [user for user in holders(Role.LEAD) if user.pk != actor.pk],
        f"{actor.name} proposes other times for {step}: {words} Nothing changes until you "
        "countersign.",
        page_of(treatment),
        now=now,
    )
    return proposal


@transaction.atomic
def countersign_times(
    *,
    actor: User,
    proposal_id: int,
    read_version: int,
    gate: GateAnswer | None,
    cases: Sequence[NewCase] = (),
    now: datetime | None = None,
) -> Intervention:
    """Put proposed times into force; what was recorded before stays on record.

    A start moved to a time at which the gate was shut is the truth all the same: it stands as a
    start against a shut gate, and the two who sign it are the two who answer for it. `gate` is
    the answer for the new start; None if the start stays.

    `cases` are all questions the step raises with its corrected times: new ones are asked, open
    ones that no longer arise are put away, decided ones stay decided.
    """
    now = now or timezone.now()
    treatment, step, proposal = _locked(proposal_id, read_version=read_version)
    demand(actor, COUNTERSIGN_TIMES, proposal)
    _demand_open(proposal)
    if proposal.step_version != step.row_version:
        raise IllegalStep(
            f"The record of {step} has changed since these times were proposed, so they can no "
            "longer be countersigned.",
            code="treatments.proposal_stale",
            next_step="Decline the proposal; the conservator looks at the step and proposes anew.",
        )
    if proposal.started_at != step.started_at:
        if gate is None:
            raise TypeError("A start that moves needs the gate's answer.")
        rules.demand_asked(gate, intervention_id=step.pk, at=proposal.started_at)
    before = Before(step)
    new = _corrected(step, treatment.state, proposal.started_at, proposal.finished_at, now=now)
    step.state, treatment.state = new
    save_row(step, fields=["started_at", "finished_at"])
    keep_times(step, actor=proposal.proposed_by, now=now, reason=proposal.reason)
    _decide(proposal, State.COUNTERSIGNED, actor=actor, now=now)
    before.record(
        "treatments.times_corrected",
        actor=actor,
        fields=TIMES,
        reason=proposal.reason,
        valid_at=proposal.started_at,
        now=now,
        after={"proposal": proposal.pk, "proposed_by": proposal.proposed_by_id},
    )
    if gate is not None and not gate.is_open:
        treatment.is_emergency = True
        _keep_missed(step, proposal, gate, actor=actor, now=now)
    if step.finished_at is not None:
        ask_cases(
            step, cases, assigned_to=treatment.conservator, actor=actor, now=now, is_complete=True
        )
    save_row(treatment, fields=["state", "is_emergency"])
    tell(
        [proposal.proposed_by],
        f"{actor.name} countersigned the corrected times of {step}; they are in force.",
        page_of(treatment),
        now=now,
    )
    return step


def _keep_missed(
    step: Intervention, proposal: TimesProposal, gate: GateAnswer, *, actor: User, now: datetime
) -> None:
    """Keep what was not accepted at the corrected start, and tell those who answer for it."""
    override = EmergencyOverride.objects.filter(intervention=step).first()
    known = [] if override is None else list(override.lost_views)
    missed = list(dict.fromkeys([*known, *gate.missing]))
    if override is None:
        override = EmergencyOverride.objects.create(
            intervention=step,
            conservator=proposal.proposed_by,
            witness=actor,
            witnessed_at=now,
            reason=proposal.reason,
            lost_views=missed,
            recorded_at=now,
        )
    else:
        override.lost_views = missed
        override.save(update_fields=["lost_views"])
    audit.record(
        "treatments.start_missed_views",
        actor=actor,
        subject=override,
        object_id=step.object_id,
        before={"lost_views": known},
        after={"lost_views": missed, "proposal": proposal.pk},
        reason=proposal.reason,
        valid_at=proposal.started_at,
        now=now,
    )
    tell(
        [proposal.proposed_by, *holders(Role.LEAD, Role.HEAD)],
        f"The start of {step} was corrected to {studio_time(proposal.started_at):%-d %b %Y, %H:%M}"
        f", when its gate was shut. Not accepted before it: {rules.listed(gate.missing)}.",
        page_of(step.treatment),
        now=now,
    )


@transaction.atomic
def decline_times(
    *,
    actor: User,
    proposal_id: int,
    read_version: int,
    reason: str,
    now: datetime | None = None,
) -> TimesProposal:
    """Decline proposed times with a reason; the step keeps the times on record."""
    now = now or timezone.now()
    treatment, step, proposal = _locked(proposal_id, read_version=read_version)
    demand(actor, COUNTERSIGN_TIMES, proposal)
    _demand_open(proposal)
    proposal.answer = rules.demand_reason(
        reason, at_least=trigger_table_in_force(now).min_reason_length
    )
    _decide(proposal, State.DECLINED, actor=actor, now=now)
    audit.record(
        "treatments.times_declined",
        actor=actor,
        subject=proposal,
        object_id=step.object_id,
        before={"state": State.OPEN},
        after={"state": State.DECLINED},
        reason=proposal.answer,
        now=now,
    )
    tell(
        [proposal.proposed_by],
        f"{actor.name} declined the times you proposed for {step}: {proposal.answer}",
        page_of(treatment),
        now=now,
    )
    return proposal


def _locked(
    proposal_id: int, *, read_version: int
) -> tuple[Treatment, Intervention, TimesProposal]:
    """Lock object, treatment and step in the order of every act, then the proposal."""
    found = TimesProposal.objects.select_related("intervention").get(pk=proposal_id)
    version = Intervention.objects.values_list("row_version", flat=True).get(
        pk=found.intervention_id
    )
    treatment, step = locked_step(found.intervention_id, read_version=version)
    proposal = lock_row(TimesProposal, proposal_id, read_version=read_version)
    return treatment, step, proposal


def _demand_open(proposal: TimesProposal) -> None:
    if proposal.state != State.OPEN:
        raise IllegalStep(
            f"This proposal is decided: {proposal.get_state_display().lower()}.",
            code="treatments.proposal_decided",
            next_step="Load the page again to see the times on record.",
        )


def _decide(proposal: TimesProposal, state: str, *, actor: User, now: datetime) -> None:
    proposal.state, proposal.decided_by, proposal.decided_at = state, actor, now
    save_row(proposal, fields=["state", "decided_by", "decided_at", "answer"])


def _corrected(
    step: Intervention,
    treatment_state: str,
    started_at: datetime,
    finished_at: datetime | None,
    *,
    now: datetime,
) -> tuple[str, str]:
    """Give a step its corrected times, or refuse; returns its state and its treatment's."""
    states = (
        rules.next_intervention_state(step.state, Act.CORRECT),
        rules.next_treatment_state(treatment_state, Act.CORRECT),
    )
    _demand_same_stage(step, finished_at)
    rules.demand_past(started_at, now=now, what="start of the step")
    if finished_at is not None:
        rules.demand_past(finished_at, now=now, what="end of the step")
    set_times(step, started_at, finished_at)
    return states


def _demand_same_stage(step: Intervention, finished_at: datetime | None) -> None:
    if (step.finished_at is None) != (finished_at is None):
        raise DomainError(
            "A correction keeps a running step running and a finished one finished."
            if finished_at is None
            else "The step is still under way, so it has no end to correct.",
            code="treatments.correction_changes_stage",
            next_step="Record the end of the step instead."
            if finished_at is not None
            else "Give both times, or take the start back if it never happened.",
        )
