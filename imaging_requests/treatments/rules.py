"""Pure decisions about treatments: life cycles, times, the gate's answer, reasons."""

from __future__ import annotations

import uuid
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from enum import StrEnum

from imaging_requests.people.clock import studio_time
from imaging_requests.people.errors import DomainError, IllegalStep
from imaging_requests.treatments.models import (
    DecisionCase,
    InterventionState,
    TreatmentState,
)

FACES = {"F": "front", "B": "back"}


class Act(StrEnum):
    """What can be done to a treatment or to one of its steps."""

    ADD = "add a step to"
    START = "start"
    FINISH = "finish"
    CORRECT = "correct the times of"
    TAKE_BACK = "take back the start of"
    DROP = "drop"
    PAUSE = "pause"
    RESUME = "resume"
    SIGN_OFF = "sign off"
    REASSIGN = "reassign"


T, S = TreatmentState, InterventionState

#: (state, act) → state of the treatment afterwards; a pair that is not here is refused.
TREATMENT_STEPS: Mapping[tuple[str, Act], str] = {
    (T.PLANNED, Act.ADD): T.PLANNED,
    (T.UNDER_WAY, Act.ADD): T.UNDER_WAY,
    (T.PAUSED, Act.ADD): T.PAUSED,
    (T.FINISHED, Act.ADD): T.UNDER_WAY,
    (T.PLANNED, Act.START): T.UNDER_WAY,
    (T.UNDER_WAY, Act.START): T.UNDER_WAY,
    (T.UNDER_WAY, Act.FINISH): T.UNDER_WAY,
    (T.UNDER_WAY, Act.CORRECT): T.UNDER_WAY,
    (T.PAUSED, Act.CORRECT): T.PAUSED,
    (T.FINISHED, Act.CORRECT): T.FINISHED,
    (T.SIGNED_OFF, Act.CORRECT): T.FINISHED,
    (T.UNDER_WAY, Act.TAKE_BACK): T.UNDER_WAY,
    (T.FINISHED, Act.TAKE_BACK): T.UNDER_WAY,
    (T.PLANNED, Act.DROP): T.DROPPED,
    (T.UNDER_WAY, Act.PAUSE): T.PAUSED,
    (T.PAUSED, Act.RESUME): T.UNDER_WAY,
    (T.FINISHED, Act.SIGN_OFF): T.SIGNED_OFF,
    (T.PLANNED, Act.REASSIGN): T.PLANNED,
    (T.UNDER_WAY, Act.REASSIGN): T.UNDER_WAY,
    (T.PAUSED, Act.REASSIGN): T.PAUSED,
    (T.FINISHED, Act.REASSIGN): T.FINISHED,
}

#: (state, act) → state of the step afterwards.
INTERVENTION_STEPS: Mapping[tuple[str, Act], str] = {
    (S.PLANNED, Act.START): S.STARTED,
    (S.STARTED, Act.FINISH): S.FINISHED,
    (S.PLANNED, Act.DROP): S.DROPPED,
    (S.STARTED, Act.CORRECT): S.STARTED,
    (S.FINISHED, Act.CORRECT): S.FINISHED,
    (S.STARTED, Act.TAKE_BACK): S.PLANNED,
    (S.FINISHED, Act.TAKE_BACK): S.PLANNED,
}


class CaseAct(StrEnum):
    """What can be done to a decision case."""

    DECIDE = "decide"
    REOPEN = "reopen"
    REASSIGN = "reassign"
    DROP = "drop"
    ASK_AGAIN = "ask again"


C = DecisionCase.State

#: (state, act) → state of the case afterwards.
CASE_STEPS: Mapping[tuple[str, CaseAct], str] = {
    (C.OPEN, CaseAct.DECIDE): C.CLOSED,
    (C.CLOSED, CaseAct.REOPEN): C.OPEN,
    (C.OPEN, CaseAct.REASSIGN): C.OPEN,
    (C.OPEN, CaseAct.DROP): C.DROPPED,
    (C.DROPPED, CaseAct.ASK_AGAIN): C.OPEN,
}

_INSTEAD: Mapping[tuple[str, Act], str] = {
    (T.PAUSED, Act.START): "Resume the treatment first.",
    (T.PAUSED, Act.FINISH): "Resume the treatment first.",
    (T.UNDER_WAY, Act.DROP): "Drop the steps that are still planned instead.",
    (T.UNDER_WAY, Act.SIGN_OFF): "Finish or drop the steps that are still open first.",
    (T.SIGNED_OFF, Act.ADD): "Plan a new treatment for further work.",
    (S.PLANNED, Act.FINISH): "Record its start first.",
    (S.STARTED, Act.DROP): "It has begun: record its end, or take back its start.",
}


def next_treatment_state(state: str, act: Act) -> str:
    """Return the state of a treatment after `act`, or refuse with the reason."""
    return _next(TREATMENT_STEPS, state, act, "treatment", TreatmentState(state).label)


def next_intervention_state(state: str, act: Act) -> str:
    """Return the state of a step after `act`, or refuse with the reason."""
    return _next(INTERVENTION_STEPS, state, act, "step", InterventionState(state).label)


def _next(table: Mapping[tuple[str, Act], str], state: str, act: Act, noun: str, label: str) -> str:
    try:
        return table[state, act]
    except KeyError:
        raise IllegalStep(
            f"You cannot {act.value} this {noun}: it is {label.lower()}.",
            code=f"treatments.no_{act.name.lower()}_when_{state}",
            next_step=_INSTEAD.get((state, act), ""),
        ) from None


def next_case_state(state: str, act: CaseAct) -> str:
    """Return the state of a decision case after `act`, or refuse with the reason."""
    try:
        return CASE_STEPS[state, act]
    except KeyError:
        raise IllegalStep(
            f"You cannot {act.value} this question: it is {C(state).label.lower()}.",
            code=f"treatments.no_{act.name.lower()}_of_case_when_{state}",
            next_step="Reopen it with a reason first." if state == C.CLOSED else "",
        ) from None


@dataclass(frozen=True, slots=True, kw_only=True)
class GateAnswer:
    """The gate's answer for one step at one instant; `missing` says each view in words."""

    intervention_id: int
    at: datetime
    is_open: bool
    missing: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class EmergencyStart:
    """A start against a shut gate: why, where the record picture is, and a witness if known."""

    reason: str
    record_picture: str = ""
    witness_id: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class NewCase:
    """A question a step or an incident raises about one picture chain."""

    chain: uuid.UUID
    technique: str
    face: str
    variant: str = ""
    proposal: str
    reason: str


def demand_gate(
    gate: GateAnswer, *, intervention_id: int, at: datetime, emergency: EmergencyStart | None
) -> None:
    """Refuse a start whose gate was not asked for this step and instant, or is shut.

    A shut gate lets an emergency start pass; an open one needs none.
    """
    demand_asked(gate, intervention_id=intervention_id, at=at)
    if gate.is_open:
        return
    if emergency is None:
        raise DomainError(
            f"The gate is shut: {listed(gate.missing)} would be lost or changed for ever.",
            code="treatments.gate_shut",
            next_step=(
                "Have the missing pictures made and accepted, or waived. If the object cannot "
                "wait, tick the emergency and say why; a witness is owed, now or later."
            ),
            data={"missing": list(gate.missing)},
        )
    if not emergency.reason.strip():
        raise DomainError(
            "An emergency start needs its reason in words.",
            code="treatments.emergency_without_reason",
            next_step="Say what could not wait.",
        )


def demand_asked(gate: GateAnswer, *, intervention_id: int, at: datetime) -> None:
    """Refuse an answer of the gate that was given about another step or another instant."""
    if gate.intervention_id != intervention_id or gate.at != at:
        raise DomainError(
            "The gate was asked about another step or another instant.",
            code="treatments.gate_of_other_step",
            next_step="Load the page again and record the start once more.",
        )


def demand_past(instant: datetime, *, now: datetime, what: str) -> None:
    """Refuse an instant that has not come yet; backdating is normal."""
    if instant > now:
        raise DomainError(
            f"The {what} lies in the future.",
            code="treatments.time_in_future",
            next_step="Give the time at which it really happened.",
        )


def demand_order(started_at: datetime, finished_at: datetime | None) -> None:
    """Refuse an end that does not come after its start."""
    if finished_at is not None and finished_at <= started_at:
        raise DomainError(
            "The end of the step does not come after its start.",
            code="treatments.end_before_start",
            next_step="Check both times, dates included.",
        )


@dataclass(frozen=True, slots=True)
class Span:
    """When a step was under way, and on which face; without an end it still is."""

    words: str
    face: str
    started_at: datetime
    finished_at: datetime | None
    is_combined: bool = False


def demand_alone(mine: Span, others: Iterable[Span]) -> None:
    """Refuse a step that overlaps another on the same face, unless one of them is combined."""
    for other in others:
        if other.face != mine.face or mine.is_combined or other.is_combined:
            continue
        if _overlap(mine, other):
            raise DomainError(
                f"On the {FACES.get(mine.face, mine.face)} of this object {other.words} "
                f"was under way at the same time, from {_said(other.started_at)} "
                f"to {_said(other.finished_at) if other.finished_at else 'now'}.",
                code="treatments.steps_overlap",
                next_step=(
                    "Correct the times, or mark the step as a combined step if both were done "
                    "together. Steps entered late are entered in the order in which they happened."
                ),
            )


def _overlap(one: Span, two: Span) -> bool:
    begins_before_end = two.finished_at is None or one.started_at < two.finished_at
    ends_after_begin = one.finished_at is None or two.started_at < one.finished_at
    return begins_before_end and ends_after_begin


def _said(instant: datetime) -> str:
    return f"{studio_time(instant):%-d %b %Y, %H:%M}"


def demand_reason(reason: str, *, at_least: int) -> str:
    """Return the reason without blanks around it, or refuse one that is too short."""
    words = reason.strip()
    if len(words) < at_least:
        raise DomainError(
            f"The reason has {len(words)} characters; at least {at_least} are needed, so that "
            "others can follow it later.",
            code="treatments.reason_too_short",
            next_step="Say what you saw and why it decides the question.",
            data={"at_least": at_least},
        )
    return words


def demand_all_closed(open_cases: int) -> None:
    """Refuse to sign off while a question of the treatment is open."""
    if open_cases:
        one = open_cases == 1
        raise IllegalStep(
            f"{open_cases} {'question' if one else 'questions'} about older pictures "
            f"{'is' if one else 'are'} still open.",
            code="treatments.open_cases",
            next_step="Decide each of them, then sign off.",
        )


def demand_complete_emergencies(incomplete: Sequence[str]) -> None:
    """Refuse to sign off while an emergency start has no witness or no record picture."""
    if incomplete:
        raise IllegalStep(
            f"The emergency start is not complete: {listed(incomplete)}.",
            code="treatments.emergency_incomplete",
            next_step="Name the witness and where the record picture is kept.",
        )


def witness_due_at(started_on_record_at: datetime, *, within_h: float) -> datetime:
    """Return until when the witness of an emergency start is to be named."""
    return started_on_record_at + timedelta(hours=within_h)


def has_all_ended(states: Iterable[str]) -> bool:
    """Tell whether a treatment with these steps is finished: one done, none still to do."""
    seen = set(states)
    return S.FINISHED in seen and not seen & {S.PLANNED, S.STARTED}


def listed(words: Sequence[str]) -> str:
    """Join words as people read them: "A, B and C"."""
    if len(words) < 2:
        return "".join(words) or "a picture"
    return f"{', '.join(words[:-1])} and {words[-1]}"
