"""The life of a picture cell by cell, who may review it, and how versions follow one another."""

from __future__ import annotations

from datetime import UTC, date, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from imaging_requests.deliverables import rules
from imaging_requests.deliverables.models import DeliverableState
from imaging_requests.deliverables.rules import Act, Earlier, Proof, Reason
from imaging_requests.people.errors import DomainError, IllegalStep, NotAllowed
from imaging_requests.reckoning.shots.settings import read_settings
from tests import factory

S = DeliverableState
AT = datetime(2026, 4, 16, tzinfo=UTC)
ALLOWED = {
    (S.BUILDING, Act.ASSEMBLE): S.BUILDING,
    (S.BUILDING, Act.HAND_IN): S.TO_REVIEW,
    (S.TO_REVIEW, Act.TAKE_BACK): S.BUILDING,
    (S.TO_REVIEW, Act.ACCEPT): S.ACCEPTED,
    (S.TO_REVIEW, Act.SEND_BACK): S.SENT_BACK,
    (S.ACCEPTED, Act.RECALL): S.RECALLED,
}


@pytest.mark.parametrize("state", S)
@pytest.mark.parametrize("act", Act)
def test_each_act_on_a_picture_in_each_state(state: S, act: Act) -> None:
    if (state, act) in ALLOWED:
        assert rules.next_state(state, act) == ALLOWED[state, act]
        return
    with pytest.raises(IllegalStep) as refusal:
        rules.next_state(state, act)
    assert refusal.value.message == (
        f"You cannot {act.value} this picture: it is {state.label.lower()}."
    )


def test_an_acceptance_is_never_undone_only_recalled() -> None:
    with pytest.raises(IllegalStep) as refusal:
        rules.next_state(S.ACCEPTED, Act.SEND_BACK)
    assert "an acceptance is never undone" in refusal.value.next_step


def test_the_shipped_settings_hold_the_numbers_of_reviews() -> None:
    numbers = rules.review_numbers(read_settings(factory._read("studio/settings-1.json")))
    assert numbers.proven_copies == 2
    assert numbers.lone_worker_share == 0.05
    assert numbers.late_after_working_days == 5
    assert numbers.reasons["filter"] == Reason("filter", "wrong filter, or none", False)
    assert numbers.reasons["join"].frames_good


@pytest.mark.parametrize(
    ("technique", "polarity", "is_refused"),
    [
        ("UV", "", False),
        ("XR", "positive", False),
        ("XR", "negative", False),
        ("XR", "unknown", True),
        ("XR", "", True),
    ],
)
def test_an_x_ray_states_its_polarity(technique: str, polarity: str, is_refused: bool) -> None:
    if not is_refused:
        rules.demand_polarity(technique, polarity)
        return
    with pytest.raises(DomainError, match="Nobody has stated the polarity of this X-ray"):
        rules.demand_polarity(technique, polarity)


FAILED = ["The master has 8 bits per channel."]


def test_a_fail_is_overridden_by_the_lead_with_a_reason_only() -> None:
    assert rules.demand_no_fail([], override_reason="x", override_not_because="no") == ""
    with pytest.raises(NotAllowed, match=r"1 check failed. The master has 8 bits") as refusal:
        rules.demand_no_fail(FAILED, override_reason="fine", override_not_because="Not you.")
    assert refusal.value.message.endswith("Not you.")
    with pytest.raises(DomainError, match="1 check failed") as refusal:
        rules.demand_no_fail(FAILED, override_reason="  ", override_not_because="")
    assert "say why it is good enough" in refusal.value.next_step
    words = rules.demand_no_fail(FAILED, override_reason=" last chance ", override_not_because="")
    assert words == "last chance"


def review(reviewer: int, *, is_alone: bool = False, lone: int = 0, total: int = 0) -> bool:
    return rules.demand_other_reviewer(
        reviewer_id=reviewer,
        photographer_id=1,
        is_alone=is_alone,
        lone=lone,
        total=total,
        share=0.05,
    )


def test_somebody_else_reviews_unless_one_works_alone() -> None:
    assert review(2) is False
    with pytest.raises(NotAllowed, match="You made this picture; somebody else reviews it"):
        review(1)
    assert review(1, is_alone=True) is True


@pytest.mark.parametrize(
    ("lone", "total", "is_refused"),
    [(0, 0, False), (1, 10, True), (1, 39, False), (2, 39, True), (4, 99, False), (5, 99, True)],
)
def test_lone_work_is_a_small_share_of_a_month(lone: int, total: int, is_refused: bool) -> None:
    if not is_refused:
        assert review(1, is_alone=True, lone=lone, total=total)
        return
    with pytest.raises(NotAllowed, match=f"{lone} of {total} reviews of this month"):
        review(1, is_alone=True, lone=lone, total=total)


KNOWN = {"focus": Reason("focus", "out of focus", False), "join": Reason("join", "joined", True)}


def test_reasons_come_from_the_list_and_at_least_one() -> None:
    assert [r.code for r in rules.chosen_reasons(["join", "focus", "join"], KNOWN)] == [
        "join",
        "focus",
    ]
    with pytest.raises(DomainError, match="Choose at least one reason"):
        rules.chosen_reasons([], KNOWN)
    with pytest.raises(DomainError, match="The list of reasons knows no “mood”"):
        rules.chosen_reasons(["mood"], KNOWN)


@pytest.mark.parametrize("state", S)
@pytest.mark.parametrize("event_between", [True, False])
def test_a_new_version_follows_a_refusal_but_not_a_treatment(state: S, event_between: bool) -> None:
    expected = state in (S.SENT_BACK, S.RECALLED) and not event_between
    assert rules.continues_chain(Earlier(state, AT), event_between=event_between) is expected
    assert rules.continues_chain(None, event_between=event_between) is False


@given(st.dates(date(2020, 1, 1), date(2030, 1, 1)), st.integers(min_value=0, max_value=60))
def test_working_days_count_mondays_to_fridays(since: date, days: int) -> None:
    until = date.fromordinal(since.toordinal() + days)
    by_hand = sum(
        date.fromordinal(n).isoweekday() <= 5
        for n in range(since.toordinal() + 1, until.toordinal() + 1)
    )
    assert rules.working_days(since, until) == by_hand


def test_what_lacks_a_copy_says_how_much() -> None:
    assert Proof(4, 4).lacking(2) == ""
    assert Proof(4, 3).lacking(2) == "1 of 4 frames has fewer than 2 proven copies."
    assert Proof(4, 0).lacking(2) == "4 of 4 frames have fewer than 2 proven copies."
    assert Proof(0, 0).lacking(2) == "0 of 0 frames have fewer than 2 proven copies."
