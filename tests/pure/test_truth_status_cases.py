"""Statuses in the cases that the studio meets: what counts, what lapses, what is lost."""

from __future__ import annotations

from dataclasses import replace

import pytest

from imaging_requests.reckoning.truth.sentences import explain
from imaging_requests.reckoning.truth.status import ReasonCode, judge, statuses
from imaging_requests.reckoning.truth.terms import Why
from imaging_requests.reckoning.truth.waiting import say_wait
from tests.pure.test_truth_status import (
    NOW,
    SPEECH,
    accepted,
    filed,
    out_of_date,
    plan,
    send_away,
    sent_back,
    tell,
)
from tests.pure.truth_story import (
    Anchor,
    Status,
    Story,
    Validity,
    Verdict,
    day,
)


def test_a_picture_in_hand_made_after_the_event_comes_before_the_out_of_date_one() -> None:
    story = tell(out_of_date)
    story.picture("UV-F", "2026-03-01", handed_in="2026-03-02")
    found = story.status("UV-F", NOW)
    assert (found.status, found.why) == (Status.TO_REVIEW, Why.OUT_OF_DATE)


def test_a_picture_in_hand_from_before_the_event_is_no_candidate() -> None:
    story = tell(sent_back)
    story.step(2, "2026-03-01")
    assert story.words(NOW)["UV-F"] is Status.OPEN


def test_the_newest_candidate_decides() -> None:
    story = tell(sent_back)
    story.picture("UV-F", "2026-02-10", accepted=None, chain="c9")
    assert story.words(NOW)["UV-F"] is Status.CAPTURED
    story.picture("UV-F", "2026-02-11", recalled="2026-02-12")
    assert story.words(NOW)["UV-F"] is Status.RECALLED


def test_a_recalled_version_does_not_take_the_accepted_earlier_one_with_it() -> None:
    story = tell(filed)
    chain = story.told["pictures"][0].chain
    story.picture("UV-F", "2026-02-01", chain=chain, version=2, recalled="2026-03-01")
    assert story.words(NOW)["UV-F"] is Status.FILED


@pytest.mark.parametrize(
    ("more", "expected"),
    [
        ({"px_per_mm": 11.4}, Status.FILED),
        ({"px_per_mm": 11.39}, Status.OPEN),
        ({"coverage": 0.995}, Status.FILED),
        ({"coverage": 0.99}, Status.OPEN),
        ({"complete": False}, Status.OPEN),
    ],
)
def test_a_picture_must_be_dense_covering_and_complete(
    more: dict[str, object], expected: Status
) -> None:
    story = Story()
    story.owe("UV-F")
    story.picture("UV-F", "2026-02-01", **more)
    found = story.status("UV-F", NOW)
    assert found.status is expected
    if expected is Status.OPEN:
        assert (found.why, found.reason.code) == (Why.SPEC_RAISED, ReasonCode.SPEC_RAISED)
        assert "asked for now" in explain(found, SPEECH)


def test_a_detail_does_not_satisfy_the_whole_view_nor_the_whole_view_the_detail() -> None:
    story = Story()
    story.owe("UV-F")
    story.picture("UV-F", "2026-02-01", variant="detail: signature", px_per_mm=48.0)
    assert story.words(NOW)["UV-F"] is Status.OPEN


def test_a_raking_view_from_the_left_is_not_met_from_the_top() -> None:
    story = Story()
    story.owe("RK-F-L", "RK-F-T")
    story.picture("RK-F-L", "2026-02-01")
    assert story.words(NOW) == {"RK-F-L": Status.FILED, "RK-F-T": Status.OPEN}


def test_a_view_is_in_force_while_any_demand_for_it_lives() -> None:
    story = Story()
    story.owe("UV-F", since="2026-01-01", until="2026-02-01")
    story.demand("UV-F", "2026-01-10", "2026-03-01")
    assert [bool(story.words(t)) for t in ("2025-12-31", "2026-01-05", "2026-02-15", NOW)] == [
        False,
        True,
        True,
        False,
    ]


def test_a_waiver_lapses_on_its_day_and_can_be_ended_before() -> None:
    story = Story()
    story.owe("UV-F", "IR-F")
    story.waive("UV-F", "2026-01-01", lapses="2026-06-30")
    story.waive("IR-F", "2026-01-01", ended="2026-03-01")
    assert story.words(NOW) == {"UV-F": Status.WAIVED, "IR-F": Status.OPEN}
    assert story.words("2026-06-30 12:00")["UV-F"] is Status.OPEN
    assert story.words("2026-02-28")["IR-F"] is Status.WAIVED


def test_the_words_of_a_waiver_end_with_one_full_stop() -> None:
    story = Story()
    story.owe("UV-F", "IR-F")
    story.waive("UV-F", "2026-01-01", text="Given up after the flood.")
    story.waive("IR-F", "2026-01-01", text="The frame covers it.", lapses="2027-06-30")
    said = {found.view.key: explain(found, SPEECH) for found in statuses(story.at(NOW))}
    assert said["UV-F"].endswith("was waived: Given up after the flood.")
    assert "was waived: The frame covers it; the waiver lapses on" in said["IR-F"]


def test_a_waiver_lapses_when_an_event_puts_its_view_out_of_date() -> None:
    story = Story(layers=("F.1", "B.1", "B.2", "E.1", "T.1"))
    story.owe("XR", "UV-F")
    story.waive("XR", "2026-01-01", text="lead-white lining adhesive")
    story.waive("UV-F", "2026-01-01")
    story.step(12, "2026-03-01")
    assert story.words("2026-02-28") == {"XR": Status.WAIVED, "UV-F": Status.WAIVED}
    assert story.words(NOW) == {"XR": Status.OPEN, "UV-F": Status.WAIVED}


def test_a_waiver_of_a_view_before_treatment_outlives_the_treatment() -> None:
    story = Story()
    story.owe("UV-F", anchor=Anchor.before("T"))
    story.owe("UV-F", anchor=Anchor.after("T"), prefix="AT ")
    story.waive("UV-F", "2026-01-01")
    story.waive("AT UV-F", "2026-01-01")
    story.step(2, "2026-02-01", treatment="T", step=1)
    assert story.words(NOW) == {"UV-F": Status.WAIVED, "AT UV-F": Status.WAIVED}


def test_a_waiver_lapses_when_another_treatment_changed_the_view_before_its_own_began() -> None:
    story = Story()
    story.owe("UV-F", anchor=Anchor.before("T2"))
    story.waive("UV-F", "2026-01-01")
    story.step(2, "2026-02-01", treatment="T1", step=1)
    assert story.words(NOW)["UV-F"] is Status.OPEN


def test_a_waiver_granted_at_the_instant_an_event_ended_is_about_what_came_after() -> None:
    story = Story()
    story.owe("UV-F")
    story.step(2, "2026-02-01", treatment="T1", step=1)
    story.waive("UV-F", "2026-02-01")
    assert story.words(NOW)["UV-F"] is Status.WAIVED


def test_a_hidden_back_is_blocked_not_out_of_date() -> None:
    story = Story()
    story.owe("VF-B")
    story.picture("VF-B", "2026-01-01")
    story.step(23, "2026-02-01")
    assert story.words("2026-02-02")["VF-B"] is Status.OUT_OF_DATE
    story.step(25, "2026-02-10", puts_on=True)
    story.step(25, puts_on=False, planned=("2026-05-01", "2026-05-02"), treatment="T2", step=1)
    found = story.status("VF-B", "2026-02-11")
    assert (found.status, found.why) == (Status.BLOCKED, Why.OUT_OF_DATE)
    assert found.reason.until == day("2026-05-02")
    assert explain(found, SPEECH) == (
        "Visible light (flash) of the back cannot be made: surface B.1 is hidden since backing "
        "board fitted or removed on 10 Feb 2026 until 2 May 2026."
    )


def test_a_hidden_front_stays_filed_if_its_pictures_are_still_true() -> None:
    story = Story()
    story.owe("VF-F", "UV-F")
    story.picture("VF-F", "2026-01-01")
    story.step(9, "2026-02-01")
    assert story.words(NOW) == {"VF-F": Status.FILED, "UV-F": Status.BLOCKED}


def test_one_unavailable_surface_blocks_its_own_views_only() -> None:
    story = Story()
    story.owe("VF-B", "VF-F")
    send_away(story, ends=None, surface="B.1")
    found = {s.view.key: s for s in statuses(story.at(NOW))}
    assert found["VF-B"].status is Status.BLOCKED
    assert found["VF-F"].status is Status.OPEN
    assert explain(found["VF-B"], SPEECH).endswith("on loan, with no end known.")


def test_two_absences_block_until_the_later_return() -> None:
    story = Story()
    story.owe("VF-F")
    send_away(story, ends="2026-05-01")
    send_away(story, ends="2026-08-03")
    assert story.status("VF-F", NOW).reason.until == day("2026-08-03")


def test_nothing_is_lost_while_a_picture_in_hand_may_still_qualify() -> None:
    story = Story()
    story.owe("UV-F", anchor=Anchor.before("T"))
    picture = story.picture("UV-F", "2026-01-20", handed_in="2026-01-21")
    story.step(2, "2026-02-01", treatment="T", step=1)
    assert story.words(NOW)["UV-F"] is Status.TO_REVIEW
    story.review(picture, Verdict.SENT_BACK, "2026-02-10", frames_good=True)
    assert story.words("2026-02-11")["UV-F"] is Status.SENT_BACK
    story.review(picture, Verdict.SENT_BACK, "2026-02-12")
    assert story.words("2026-02-13")["UV-F"] is Status.LOST


def test_a_view_of_an_earlier_state_is_lost_only_by_an_event_that_changed_it() -> None:
    story = Story()
    story.owe("UV-F", "UV-B", "RK-F-L", anchor=Anchor.at(day("2026-01-10")))
    story.step(2, "2026-02-01", treatment="T", step=1)
    assert story.words(NOW) == {
        "UV-F": Status.LOST,
        "UV-B": Status.OPEN,
        "RK-F-L": Status.OPEN,
    }


def test_what_was_not_captured_before_the_first_start_is_lost_for_before_treatment() -> None:
    story = Story()
    story.owe("UV-F", "UV-B", "IR-F", "XR", anchor=Anchor.before("T"))
    story.picture("XR", "2026-01-10", accepted=None, handed_in="2026-01-11")
    assert story.words("2026-01-31")["UV-B"] is Status.OPEN
    story.step(2, "2026-02-03", started="2026-02-01", treatment="T", step=1)
    story.picture("UV-B", "2026-02-02")
    story.picture("IR-F", "2026-02-10")
    for t in ("2026-02-02 18:00", NOW):
        words = {view.view.key: view.status for view in statuses(story.at(t, known=NOW))}
        assert words == {
            "UV-F": Status.LOST,
            "UV-B": Status.LOST,
            "IR-F": Status.LOST,
            "XR": Status.TO_REVIEW,
        }, t
    found = story.status("UV-B", NOW)
    assert found.reason.code is ReasonCode.TREATMENT_BEGUN
    assert explain(found, SPEECH) == (
        "UV of the back before treatment T9 was never recorded, and the treatment began on "
        "1 Feb 2026; what is captured since does not show the state before."
    )


def test_a_view_of_a_destroyed_lining_is_lost_unless_it_was_made() -> None:
    story = Story(layers=("F.1", "B.1", "B.2", "E.1", "T.1"))
    story.owe("VF-B", "UV-B", surface="B.2")
    story.picture("VF-B", "2026-01-01", surface="B.2")
    story.step(12, "2026-02-01")
    assert story.words(NOW) == {"VF-B": Status.FILED, "UV-B": Status.LOST}
    assert story.status("UV-B", NOW).reason.code is ReasonCode.SURFACE_GONE


def test_a_lined_back_is_lost_for_an_earlier_state_until_the_lining_comes_off_again() -> None:
    story = Story()
    story.owe("UV-B", anchor=Anchor.at(day("2026-01-10")))
    story.step(11, "2026-02-01", treatment="T", step=1)
    assert story.words(NOW)["UV-B"] is Status.LOST
    event = story.step(12, "2026-05-01", treatment="T2", step=1)
    assert story.words("2026-05-02")["UV-B"] is Status.OPEN
    picture = story.picture("UV-B", "2026-05-03")
    assert story.words("2026-05-04")["UV-B"] is Status.UNDECIDED
    story.decide(picture, event, Validity.VALID, "2026-05-05")
    assert story.words("2026-05-06")["UV-B"] is Status.FILED


def test_a_view_owed_after_a_step_to_come_waits_for_its_state() -> None:
    story = Story()
    story.owe("IR-F", anchor=Anchor.during("T", step=2))
    story.picture("IR-F", "2026-01-01")
    story.step(1, "2026-02-01", treatment="T", step=1)
    story.step(2, treatment="T", step=2, planned=("2026-05-01", "2026-05-09"))
    found = story.status("IR-F", NOW)
    assert (found.status, found.reason.code) == (Status.OPEN, ReasonCode.STATE_TO_COME)
    assert explain(found, SPEECH) == (
        "Infrared of the front is owed after step 2 of treatment T9; that state is still to come, "
        "planned for 9 May 2026."
    )


def test_a_decision_that_a_picture_is_out_of_date_is_named_in_the_sentence() -> None:
    story = Story()
    story.owe("RK-F-L")
    picture = story.picture("RK-F-L", "2026-01-01")
    event = story.step(7, "2026-02-01")
    story.decide(picture, event, Validity.OUT_OF_DATE, "2026-02-10")
    found = story.status("RK-F-L", NOW)
    assert found.status is Status.OUT_OF_DATE
    assert explain(found, SPEECH) == (
        "Varnish applied on 1 Feb 2026 changed raking light from the left of the front, as a "
        "conservator decided."
    )


def test_a_planned_view_names_the_earliest_session_and_is_open_again_when_it_is_released() -> None:
    story = tell()
    plan(story, released="2026-03-25")
    assert story.words("2026-03-24")["UV-F"] is Status.PLANNED
    assert story.words(NOW)["UV-F"] is Status.OPEN
    plan(story)
    assert explain(story.status("UV-F", NOW), SPEECH) == (
        "UV of the front is planned in session Monday visit on 21 Apr 2026."
    )


def test_a_session_that_is_over_plans_nothing_any_more() -> None:
    story = tell()
    plan(story, ends="2026-04-22")
    assert story.words("2026-04-21")["UV-F"] is Status.PLANNED
    assert story.words("2026-04-22")["UV-F"] is Status.OPEN
    assert story.status("UV-F", "2026-04-22").reason.code is ReasonCode.NEVER_MADE


@pytest.mark.parametrize(("files", "said"), [(1, "1 file is awaited"), (3, "3 files are awaited")])
def test_a_view_that_was_shot_waits_for_its_files_until_they_come(files: int, said: str) -> None:
    story = tell()
    plan(story, ends="2026-04-22")
    shot = replace(
        story.told["planned"][-1],
        recorded_at=day("2026-04-21"),
        session_ends_at=None,
        shot_at=day("2026-04-21"),
        files_awaited=files,
    )
    story.tell("planned", shot)
    assert story.status("UV-F", "2026-04-20").reason.code is ReasonCode.PLANNED
    found = story.status("UV-F", "2026-05-20")
    assert found.status is Status.PLANNED
    assert explain(found, SPEECH) == f"UV of the front was shot on 21 Apr 2026; {said}."
    assert say_wait(found, SPEECH) == "Waits for its files; the photographer can move it."
    came = replace(shot, recorded_at=day("2026-04-25"), released_at=day("2026-04-25"))
    story.tell("planned", came)
    assert story.status("UV-F", "2026-05-20").status is Status.OPEN


def test_an_accepted_picture_says_whether_the_package_or_the_copies_are_missing() -> None:
    story = tell(accepted)
    found = story.status("UV-F", NOW)
    assert (found.status, found.reason.code) == (Status.ACCEPTED, ReasonCode.ACCEPTED)
    assert explain(found, SPEECH) == (
        "UV of the front, captured on 1 Feb 2026, is accepted; it is not yet in a sealed package."
    )
    assert say_wait(found, SPEECH).endswith("; the imaging lead can move it.")


def test_a_picture_whose_copies_failed_after_it_was_sealed_says_so() -> None:
    story = tell(filed)
    held = story.told["filings"][-1]
    failed = replace(held, recorded_at=day("2026-03-20"), ends_at=day("2026-03-20"))
    story.tell("filings", failed)
    assert story.words("2026-03-19")["UV-F"] is Status.FILED
    found = story.status("UV-F", NOW)
    assert (found.status, found.reason.code) == (Status.ACCEPTED, ReasonCode.COPIES_MISSING)
    assert explain(found, SPEECH) == (
        "UV of the front, captured on 1 Feb 2026, is accepted and in a sealed package; enough "
        "verified copies of its files are missing."
    )
    assert say_wait(found, SPEECH).endswith("; the system keeper can move it.")


def test_the_same_day_reads_differently_before_and_after_a_fact_was_learnt() -> None:
    story = tell(filed)
    story.step(2, "2026-03-01", known="2026-03-15")
    assert story.words("2026-03-10", known="2026-03-10")["UV-F"] is Status.FILED
    assert story.words("2026-03-10", known="2026-03-20")["UV-F"] is Status.OUT_OF_DATE


def test_a_view_that_is_not_owed_yet_can_be_judged_as_if_it_were() -> None:
    story = tell(filed)
    moment = story.at(NOW)
    denser = replace(moment.views[0], key="draft", px_per_mm=24.0)
    assert judge(moment, denser).why is Why.SPEC_RAISED
    assert judge(moment, moment.views[0]).status is Status.FILED


def test_nothing_is_lost_while_a_conservator_may_still_say_that_a_picture_holds() -> None:
    story = Story()
    story.owe("RK-F-L", anchor=Anchor.before("T"))
    picture = story.picture("RK-F-L", "2026-01-01")
    event = story.step(7, "2026-01-10", treatment="T0", step=1)
    story.step(18, "2026-02-01", treatment="T", step=1)
    assert story.words(NOW)["RK-F-L"] is Status.UNDECIDED
    story.decide(picture, event, Validity.OUT_OF_DATE, "2026-02-05")
    assert story.words(NOW)["RK-F-L"] is Status.LOST


def test_work_inside_a_window_does_not_lose_its_views_only_work_after_it_does() -> None:
    story = Story(layers=("F.1", "B.1", "B.2", "E.1", "T.1"))
    story.owe("VF-B", anchor=Anchor.in_window("B.1", opened_by="off"))
    story.step(12, "2026-01-10", key="off")
    story.step(13, "2026-01-15")
    story.step(25, "2026-01-20", puts_on=True)
    assert story.words("2026-01-21")["VF-B"] is Status.BLOCKED
    story.step(22, "2026-02-10")
    assert story.words("2026-02-11")["VF-B"] is Status.LOST


def test_a_picture_made_while_a_lining_comes_off_is_put_to_the_conservator() -> None:
    story = Story(layers=("F.1", "B.1", "B.2", "E.1", "T.1"))
    story.owe("VF-B", anchor=Anchor.at(day("2026-01-08")))
    story.step(12, started="2026-01-10", treatment="T", step=1)
    story.picture("VF-B", "2026-01-12")
    assert story.words("2026-01-13")["VF-B"] is Status.UNDECIDED
