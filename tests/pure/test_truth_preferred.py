"""A view that prefers the cleaned state of a treatment and accepts the present one as second best.

The statuses are worked out by hand from the text of `docs/truth-over-time.md`.
"""

from __future__ import annotations

from zoneinfo import ZoneInfo

import pytest

from imaging_requests.protocols import words as protocol_words
from imaging_requests.protocols.tables import AS_OF
from imaging_requests.reckoning.shots.protocol import PREFERRED_STATES
from imaging_requests.reckoning.truth.changes import preview
from imaging_requests.reckoning.truth.duties import consequences
from imaging_requests.reckoning.truth.gate import GateState, gate, scope_of
from imaging_requests.reckoning.truth.grade import (
    Figure,
    figures_in_the_way,
    grade_entry,
    read_object,
)
from imaging_requests.reckoning.truth.preferred_looks import preferred_looks
from imaging_requests.reckoning.truth.preferring import Stand, cleaned_states
from imaging_requests.reckoning.truth.sentences import explain
from imaging_requests.reckoning.truth.terms import CLEANED, Grade
from imaging_requests.reckoning.truth.words import PREFERRED_WORDS, Speech
from tests.pure.truth_story import TABLES, Anchor, Status, Story, Unavailable, Validity, day

SPEECH = Speech(TABLES, ZoneInfo("Europe/London"), {})
STEPS = ((1, "2026-03-02"), (2, "2026-03-09"), (6, "2026-04-20"), (7, "2026-05-04"))
PLANS = {
    "2026-03-02": ("2026-03-01", "2026-03-02"),
    "2026-03-09": ("2026-03-05", "2026-03-09"),
    "2026-04-20": ("2026-04-13", "2026-04-20"),
    "2026-05-04": ("2026-05-01", "2026-05-04"),
}


def treated(*, until: str = "2027-01-01", preferred: str = CLEANED) -> Story:
    """Cleaned, varnish removed, retouched, varnished; what ends after `until` is only planned."""
    story = Story("AR 0091")
    story.owe("IR-F", preferred=preferred)
    for number, (row, ended) in enumerate(STEPS, start=1):
        story.step(
            row,
            ended if ended <= until else None,
            treatment="T4",
            phase=1,
            step=number,
            planned=PLANS[ended],
            known="2026-01-05" if ended > until else ended,
        )
    return story


def said(story: Story, t: str, key: str = "IR-F") -> str:
    return explain(story.status(key, t), SPEECH)


def stand(story: Story, t: str, key: str = "IR-F") -> Stand:
    better = story.status(key, t).better
    assert better is not None
    return better.stand


def test_every_layer_calls_the_preferred_state_by_one_word() -> None:
    assert PREFERRED_STATES == (CLEANED,)
    assert set(PREFERRED_WORDS) == set(PREFERRED_STATES) <= set(AS_OF)
    assert {look.as_of for row in TABLES[1].rows.values() for look in row.last_look} == set(AS_OF)
    assert protocol_words.preferred(CLEANED) == PREFERRED_WORDS[CLEANED]


def test_a_picture_of_the_cleaned_state_meets_the_view_for_good() -> None:
    story = treated()
    picture = story.picture("IR-F", "2026-03-12")
    retouching = story.told["events"][2]
    for t in ("2026-03-13", "2026-04-25", "2026-06-01"):
        assert story.status("IR-F", t).status is Status.FILED
        assert stand(story, t) is Stand.MET
    story.decide(picture, retouching, Validity.OUT_OF_DATE, "2026-05-20")
    assert story.status("IR-F", "2026-06-01").status is Status.FILED
    assert said(story, "2026-06-01") == (
        "Infrared of the front, captured on 12 Mar 2026, is filed. It shows the preferred state: "
        "the cleaned state, before retouching, after step 2 of treatment T4."
    )
    assert grade_entry([read_object(story.at("2026-06-01"))]).grade is Grade.FULL


def test_without_a_preference_the_same_picture_is_out_of_date() -> None:
    story = treated(preferred="")
    picture = story.picture("IR-F", "2026-03-12")
    story.decide(picture, story.told["events"][2], Validity.OUT_OF_DATE, "2026-05-20")
    assert story.status("IR-F", "2026-06-01").status is Status.OUT_OF_DATE
    assert story.status("IR-F", "2026-06-01").better is None


def test_a_picture_of_the_present_state_is_second_best_and_counts_as_met() -> None:
    story = treated()
    story.picture("IR-F", "2026-05-10")
    assert said(story, "2026-06-01") == (
        "Infrared of the front, captured on 10 May 2026, is filed. It counts as second best; "
        "preferred is the cleaned state, before retouching, after step 2 of treatment T4: no "
        "picture of it was accepted, and since retouching on 20 Apr 2026 a new one shows it only "
        "if a conservator decides so."
    )
    assert grade_entry([read_object(story.at("2026-06-01"))]).grade is Grade.FULL


def test_a_decision_lets_a_later_picture_show_the_cleaned_state() -> None:
    story = treated()
    picture = story.picture("IR-F", "2026-05-10")
    story.decide(picture, story.told["events"][2], Validity.VALID, "2026-05-20")
    assert stand(story, "2026-06-01") is Stand.MET


def test_the_sentence_says_until_when_the_cleaned_state_can_still_be_shot() -> None:
    story = treated(until="2026-03-10")
    story.picture("IR-F", "2025-10-06")
    retouched_before = story.status("IR-F", "2026-03-20")
    assert retouched_before.status is Status.UNDECIDED
    assert said(story, "2026-03-20") == (
        "Varnish thinned or removed on 9 Mar 2026 may have changed infrared of the front; a "
        "conservator has not decided yet. Preferred is the cleaned state, before retouching, after "
        "step 2 of treatment T4: a picture, captured on 6 Oct 2025, may show it; a conservator has "
        "not decided yet."
    )
    other = treated(until="2026-03-10")
    assert said(other, "2026-03-20") == (
        "Infrared of the front as it is now has not been made yet. Preferred is the cleaned "
        "state, before retouching, after step 2 of treatment T4: no picture of it was accepted; "
        "one can be made until “retouching”, planned for 13 Apr 2026."
    )


def test_a_state_that_is_planned_is_said_to_come_and_one_of_no_plan_is_said_so() -> None:
    story = treated(until="2026-02-01")
    story.picture("IR-F", "2025-10-06")
    assert said(story, "2026-02-10") == (
        "Infrared of the front, captured on 6 Oct 2025, is filed. It counts as second best; "
        "preferred is the cleaned state, before retouching, after step 2 of treatment T4: still "
        "to come, planned for 9 Mar 2026."
    )
    untreated = Story("AR 0092")
    untreated.owe("XR", preferred=CLEANED)
    untreated.picture("XR", "2025-10-06")
    assert said(untreated, "2026-02-10", "XR") == (
        "X-ray, captured on 6 Oct 2025, is filed. It counts as second best; preferred is the "
        "cleaned state, before retouching, which no treatment has or plans."
    )


def test_a_state_is_lost_once_a_step_with_effect_o_lies_between() -> None:
    story = treated()
    story.step(3, "2026-09-01", treatment="T9", phase=1, step=1)
    story.picture("IR-F", "2026-10-01")
    assert said(story, "2026-10-02") == (
        "Infrared of the front, captured on 1 Oct 2026, is filed. It counts as second best; "
        "preferred is the cleaned state, before retouching, after step 2 of treatment T4: no "
        "picture of it was accepted, and it is lost since overpaint removed on 1 Sep 2026."
    )


def test_of_two_cleaned_states_the_newest_is_preferred() -> None:
    story = treated()
    story.picture("IR-F", "2026-03-12")
    story.step(3, "2026-09-01", treatment="T9", phase=1, step=1)
    story.step(
        6, treatment="T9", phase=1, step=2, known="2026-09-01", planned=("2026-10-05", "2026-10-09")
    )
    assert stand(story, "2026-08-01") is Stand.MET
    assert story.status("IR-F", "2026-09-02").status is Status.OUT_OF_DATE
    assert stand(story, "2026-09-02") is Stand.POSSIBLE
    better = story.status("IR-F", "2026-09-02").better
    assert better is not None
    assert better.anchor == Anchor.during("T9", step=1)


def test_a_picture_that_waits_for_its_review_is_told_beside_the_one_that_counts() -> None:
    story = treated()
    story.picture("IR-F", "2026-03-12", handed_in="2026-03-13")
    story.picture("IR-F", "2026-05-10")
    assert story.status("IR-F", "2026-06-01").status is Status.FILED
    assert said(story, "2026-06-01").endswith(
        "after step 2 of treatment T4: a picture, captured on 12 Mar 2026, waits for a reviewer."
    )


def test_a_state_that_lasts_while_the_object_is_away_cannot_be_got_at() -> None:
    story = treated(until="2026-03-10")
    story.tell(
        "unavailable",
        Unavailable(
            key="a", recorded_at=day("2026-03-15"), kind="on loan", starts_at=day("2026-03-15")
        ),
    )
    assert stand(story, "2026-03-20") is Stand.POSSIBLE
    assert said(story, "2026-03-20").endswith("it lasts, but cannot be got at now.")


def test_the_preference_holds_while_everybody_who_asks_has_it() -> None:
    story = treated()
    picture = story.picture("IR-F", "2026-03-12")
    story.decide(picture, story.told["events"][2], Validity.OUT_OF_DATE, "2026-05-20")
    story.demand("IR-F", "2026-06-10", "2026-07-10")
    assert story.status("IR-F", "2026-06-01").status is Status.FILED
    assert story.status("IR-F", "2026-06-20").status is Status.OUT_OF_DATE
    assert story.status("IR-F", "2026-07-20").status is Status.FILED


@pytest.mark.parametrize(
    ("steps", "expected"),
    [
        ([(1, 1), (2, 1), (6, 1), (7, 1)], {("T4", 2)}),
        ([(6, 1), (7, 1)], set()),
        ([(1, 1), (2, 1), (7, 1)], set()),
        ([(2, 1), (30, 1), (6, 1)], {("T4", 1)}),
        ([(2, 1), (6, 2)], set()),
        ([(2, 1), (6, 1), (6, 1)], {("T4", 1)}),
        ([(2, 1), (6, 1), (3, 1), (6, 1)], {("T4", 1), ("T4", 3)}),
    ],
)
def test_where_cleaned_states_lie(
    steps: list[tuple[int, int]], expected: set[tuple[str, int]]
) -> None:
    story = Story("AR 0093")
    for number, (row, phase) in enumerate(steps, start=1):
        ended = f"2026-03-{number:02}"
        story.step(row, ended, treatment="T4", phase=phase, step=number)
    found = cleaned_states(story.at("2026-06-01"), "F")
    assert {(each.anchor.treatment, each.anchor.step) for each in found} == expected
    assert cleaned_states(story.at("2026-06-01"), "B") == ()
    assert len(cleaned_states(story.at("2026-06-01"), "T")) == len(expected)


def test_work_on_the_back_of_a_two_sided_object_ends_the_cleaned_state_of_the_back() -> None:
    story = Story("AR 0094", two_sided=True)
    story.step(2, "2026-03-02", treatment="T4", phase=1, step=1, face="B")
    story.step(6, "2026-03-09", treatment="T4", phase=1, step=2, face="B")
    moment = story.at("2026-06-01")
    assert cleaned_states(moment, "F") == ()
    assert [each.anchor.step for each in cleaned_states(moment, "B")] == [1]
    assert [each.anchor.step for each in cleaned_states(moment, "T")] == [1]


def test_steps_count_in_the_order_in_which_they_were_done() -> None:
    story = Story("AR 0095")
    story.step(6, "2026-03-02", treatment="T4", phase=1, step=2)
    story.step(2, "2026-03-09", treatment="T4", phase=1, step=1)
    assert cleaned_states(story.at("2026-06-01"), "F") == ()


def test_a_gate_tells_a_preferred_state_and_never_asks_for_it() -> None:
    story = treated(until="2026-03-10")
    story.owe("XR", preferred=CLEANED)
    moment = story.at("2026-03-20")
    retouching = next(event for event in moment.events if event.step == 3)
    found = gate(moment, retouching, ())
    assert found.state is GateState.OPEN
    assert {each.view.technique for each in found.preferred} == {"IR", "XR"}
    assert found.unasked == ()
    plain = treated(until="2026-03-10", preferred="").at("2026-03-20")
    assert gate(plain, retouching, ()).unasked == (("F.1", "IR"),)
    story.owe("IR-F", anchor=Anchor.during("T4", step=2), prefix="DT ")
    moment = story.at("2026-03-20")
    asked = scope_of(view for view in moment.views if view.key == "DT IR-F")
    found = gate(moment, retouching, asked)
    assert found.state is GateState.SHUT
    assert {each.view.technique for each in found.preferred} == {"XR"}
    story.picture("XR", "2026-03-21")
    assert gate(story.at("2026-03-22"), retouching, asked).preferred == ()


def test_a_preferred_state_that_lasts_is_told_with_the_step_that_ends_it() -> None:
    story = treated(until="2026-03-10")
    looks = preferred_looks(story.at("2026-03-20"))
    assert [(look.anchor, look.ending and look.ending.row) for look in looks] == [
        (Anchor.during("T4", step=2), 6)
    ]
    story.picture("IR-F", "2026-03-21")
    assert preferred_looks(story.at("2026-03-22")) == ()


def test_while_the_preferred_state_is_shown_a_step_brings_no_duty_and_no_word_of_its_lack() -> None:
    def filled(preferred: str) -> tuple[bool, int]:
        story = treated(preferred=preferred)
        picture = story.picture("IR-F", "2026-03-12")
        story.decide(picture, story.told["events"][2], Validity.OUT_OF_DATE, "2026-05-20")
        plan = story.step(
            4, treatment="T9", step=1, known="2026-06-01", planned=("2026-10-05", "2026-10-09")
        )
        unmade = preview(story.at("2026-06-02"), [plan]).unmade
        done = story.step(4, "2026-07-01", treatment="T8", step=1)
        duties = consequences(story.at("2026-07-02"), done.key).duties
        owed = any(duty.is_owed for duty in duties if duty.technique == "IR")
        return owed, sum(each.view.technique == "IR" for each in unmade)

    assert filled("") == (True, 1)
    assert filled(CLEANED) == (False, 0)


def test_a_print_figure_of_the_cleaned_state_must_still_name_its_state() -> None:
    story = treated()
    picture = story.picture("IR-F", "2026-03-12")
    story.decide(picture, story.told["events"][2], Validity.OUT_OF_DATE, "2026-05-20")
    reading = read_object(story.at("2026-06-01"))
    plain, named = (
        Figure(picture.chain, picture.version, names_state=named, is_cleared=True)
        for named in (False, True)
    )
    assert figures_in_the_way([reading], [plain, named]) == (plain,)
