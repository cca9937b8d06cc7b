"""The life cycles of treatments, steps and questions, cell by cell; times, gates and reasons."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from imaging_requests.people.errors import DomainError, IllegalStep
from imaging_requests.treatments import rules
from imaging_requests.treatments.models import DecisionCase, InterventionState, TreatmentState
from imaging_requests.treatments.rules import Act, CaseAct, EmergencyStart, GateAnswer, Span

T, S, C = TreatmentState, InterventionState, DecisionCase.State
NOON = datetime(2026, 4, 16, 12, tzinfo=UTC)

TREATMENT = {
    T.PLANNED: {
        Act.ADD: T.PLANNED,
        Act.START: T.UNDER_WAY,
        Act.DROP: T.DROPPED,
        Act.REASSIGN: T.PLANNED,
    },
    T.UNDER_WAY: {
        Act.ADD: T.UNDER_WAY,
        Act.START: T.UNDER_WAY,
        Act.FINISH: T.UNDER_WAY,
        Act.CORRECT: T.UNDER_WAY,
        Act.TAKE_BACK: T.UNDER_WAY,
        Act.PAUSE: T.PAUSED,
        Act.REASSIGN: T.UNDER_WAY,
    },
    T.PAUSED: {
        Act.ADD: T.PAUSED,
        Act.CORRECT: T.PAUSED,
        Act.RESUME: T.UNDER_WAY,
        Act.REASSIGN: T.PAUSED,
    },
    T.FINISHED: {
        Act.ADD: T.UNDER_WAY,
        Act.CORRECT: T.FINISHED,
        Act.TAKE_BACK: T.UNDER_WAY,
        Act.SIGN_OFF: T.SIGNED_OFF,
        Act.REASSIGN: T.FINISHED,
    },
    T.SIGNED_OFF: {Act.CORRECT: T.FINISHED},
    T.DROPPED: {},
}
STEP = {
    S.PLANNED: {Act.START: S.STARTED, Act.DROP: S.DROPPED},
    S.STARTED: {Act.FINISH: S.FINISHED, Act.CORRECT: S.STARTED, Act.TAKE_BACK: S.PLANNED},
    S.FINISHED: {Act.CORRECT: S.FINISHED, Act.TAKE_BACK: S.PLANNED},
    S.DROPPED: {},
}
CASE = {
    C.OPEN: {CaseAct.DECIDE: C.CLOSED, CaseAct.REASSIGN: C.OPEN, CaseAct.DROP: C.DROPPED},
    C.CLOSED: {CaseAct.REOPEN: C.OPEN},
    C.DROPPED: {CaseAct.ASK_AGAIN: C.OPEN},
}


@pytest.mark.parametrize("state", TreatmentState)
@pytest.mark.parametrize("act", Act)
def test_each_act_on_a_treatment_in_each_state(state: TreatmentState, act: Act) -> None:
    if act in TREATMENT[state]:
        assert rules.next_treatment_state(state, act) == TREATMENT[state][act]
        return
    with pytest.raises(IllegalStep) as refusal:
        rules.next_treatment_state(state, act)
    assert refusal.value.message == (
        f"You cannot {act.value} this treatment: it is {state.label.lower()}."
    )


@pytest.mark.parametrize("state", InterventionState)
@pytest.mark.parametrize("act", Act)
def test_each_act_on_a_step_in_each_state(state: InterventionState, act: Act) -> None:
    if act in STEP[state]:
        assert rules.next_intervention_state(state, act) == STEP[state][act]
        return
    with pytest.raises(IllegalStep, match=f"this step: it is {state.label.lower()}"):
        rules.next_intervention_state(state, act)


@pytest.mark.parametrize("state", DecisionCase.State)
@pytest.mark.parametrize("act", CaseAct)
def test_each_act_on_a_question_in_each_state(state: DecisionCase.State, act: CaseAct) -> None:
    if act in CASE[state]:
        assert rules.next_case_state(state, act) == CASE[state][act]
        return
    with pytest.raises(IllegalStep, match=f"this question: it is {state.label.lower()}"):
        rules.next_case_state(state, act)


OPEN = GateAnswer(intervention_id=7, at=NOON, is_open=True)
SHUT = GateAnswer(intervention_id=7, at=NOON, is_open=False, missing=("UV of the front",))


def test_an_open_gate_lets_a_step_begin_and_a_shut_one_names_what_is_missing() -> None:
    rules.demand_gate(OPEN, intervention_id=7, at=NOON, emergency=None)
    with pytest.raises(DomainError, match="The gate is shut: UV of the front would be lost"):
        rules.demand_gate(SHUT, intervention_id=7, at=NOON, emergency=None)
    rules.demand_gate(
        SHUT, intervention_id=7, at=NOON, emergency=EmergencyStart(reason="water came in")
    )
    with pytest.raises(DomainError, match="An emergency start needs its reason"):
        rules.demand_gate(SHUT, intervention_id=7, at=NOON, emergency=EmergencyStart(reason=" "))


@pytest.mark.parametrize(("intervention_id", "at"), [(8, NOON), (7, NOON + timedelta(minutes=1))])
def test_an_answer_about_another_step_or_instant_opens_nothing(
    intervention_id: int, at: datetime
) -> None:
    with pytest.raises(DomainError, match="asked about another step or another instant"):
        rules.demand_gate(OPEN, intervention_id=intervention_id, at=at, emergency=None)


def test_times_lie_in_the_past_and_in_order() -> None:
    rules.demand_past(NOON - timedelta(days=400), now=NOON, what="start of the step")
    with pytest.raises(DomainError, match="The start of the step lies in the future"):
        rules.demand_past(NOON + timedelta(seconds=1), now=NOON, what="start of the step")
    rules.demand_order(NOON, None)
    rules.demand_order(NOON, NOON + timedelta(minutes=1))
    with pytest.raises(DomainError, match="does not come after its start"):
        rules.demand_order(NOON, NOON)


def span(start: float, end: float | None, *, face: str = "F", is_combined: bool = False) -> Span:
    finished = None if end is None else NOON + timedelta(hours=end)
    return Span("step 1 of T1", face, NOON + timedelta(hours=start), finished, is_combined)


@pytest.mark.parametrize(
    ("mine", "other", "is_refused"),
    [
        (span(1, 2), span(2, 3), False),
        (span(2, 3), span(1, 2), False),
        (span(1, 3), span(2, 4), True),
        (span(1, 4), span(2, 3), True),
        (span(2, 3), span(1, 4), True),
        (span(5, None), span(1, 4), False),
        (span(3, None), span(1, 4), True),
        (span(1, 2), span(0, None), True),
        (span(1, None), span(5, None), True),
        (span(1, 3), span(2, 4, face="B"), False),
        (span(1, 3, is_combined=True), span(2, 4), False),
        (span(1, 3), span(2, 4, is_combined=True), False),
    ],
)
def test_steps_on_one_face_overlap_only_when_combined(
    mine: Span, other: Span, is_refused: bool
) -> None:
    if not is_refused:
        rules.demand_alone(mine, [other])
        return
    with pytest.raises(DomainError, match="On the front of this object step 1 of T1"):
        rules.demand_alone(mine, [other])


hours = st.integers(min_value=0, max_value=50)


@given(hours, st.one_of(st.none(), hours), hours, st.one_of(st.none(), hours))
def test_overlap_is_what_a_common_hour_says(
    a: int, a_length: int | None, b: int, b_length: int | None
) -> None:
    horizon = 200
    ends = [
        None if length is None else start + length + 1
        for start, length in ((a, a_length), (b, b_length))
    ]
    covered = [
        set(range(start, horizon if end is None else end))
        for start, end in zip((a, b), ends, strict=True)
    ]
    shares_an_hour = bool(covered[0] & covered[1])
    try:
        rules.demand_alone(span(a, ends[0]), [span(b, ends[1])])
    except DomainError:
        assert shares_an_hour
    else:
        assert not shares_an_hour


def test_a_short_reason_is_refused_with_the_number_that_is_needed() -> None:
    assert rules.demand_reason("  seen at 10× magnification ", at_least=10) == (
        "seen at 10× magnification"
    )
    with pytest.raises(DomainError, match="The reason has 9 characters; at least 10") as refusal:
        rules.demand_reason(" looks ok. ", at_least=10)
    assert refusal.value.next_step.startswith("Say what you saw")


def test_signing_off_waits_for_every_question_and_witness() -> None:
    rules.demand_all_closed(0)
    with pytest.raises(IllegalStep, match="1 question about older pictures is still open"):
        rules.demand_all_closed(1)
    with pytest.raises(IllegalStep, match="3 questions about older pictures are still open"):
        rules.demand_all_closed(3)
    rules.demand_complete_emergencies([])
    with pytest.raises(IllegalStep, match="not complete: step 1 has no witness"):
        rules.demand_complete_emergencies(["step 1 has no witness"])


@pytest.mark.parametrize(
    ("states", "has_ended"),
    [
        ([], False),
        (["planned"], False),
        (["finished"], True),
        (["finished", "dropped"], True),
        (["dropped"], False),
        (["finished", "planned"], False),
        (["finished", "started"], False),
    ],
)
def test_a_treatment_has_ended_when_no_step_is_left(states: list[str], has_ended: bool) -> None:
    assert rules.has_all_ended(states) is has_ended
