"""When a picture speaks for a state, event by event."""

from __future__ import annotations

from dataclasses import replace

from imaging_requests.reckoning.truth.carry import carry
from imaging_requests.reckoning.truth.moment import Moment
from imaging_requests.reckoning.truth.terms import Anchor, Carry, Validity
from tests.pure.truth_story import Story, day


def verdict(moment: Moment, chain: str, anchor: Anchor | None = None) -> Carry:
    standing = next(
        s for group in moment.pictures.values() for s in group if s.picture.chain == chain
    )
    return carry(moment, standing, moment.point(anchor or Anchor.current())).verdict


def test_one_spoiling_event_outweighs_any_number_of_open_questions() -> None:
    story = Story()
    picture = story.picture("RK-F-L", "2026-01-01")
    story.step(2, "2026-02-01")
    assert verdict(story.at("2026-02-02"), picture.chain) is Carry.UNDECIDED
    story.step(18, "2026-03-01")
    assert verdict(story.at("2026-03-02"), picture.chain) is Carry.OUT


def test_every_question_on_the_way_must_be_decided_before_a_picture_speaks() -> None:
    story = Story()
    picture = story.picture("RK-F-L", "2026-01-01")
    first = story.step(2, "2026-02-01")
    second = story.step(7, "2026-03-01")
    story.decide(picture, first, Validity.VALID, "2026-03-02")
    assert verdict(story.at("2026-03-03"), picture.chain) is Carry.UNDECIDED
    story.decide(picture, second, Validity.VALID, "2026-03-04")
    assert verdict(story.at("2026-03-05"), picture.chain) is Carry.OK
    assert verdict(story.at("2026-03-03"), picture.chain) is Carry.UNDECIDED


def test_a_decision_counts_for_its_own_chain_only_and_from_its_own_day() -> None:
    story = Story()
    one, other = (story.picture("RK-F-L", "2026-01-01") for _ in range(2))
    event = story.step(2, "2026-02-01")
    story.decide(one, event, Validity.OUT_OF_DATE, "2026-02-10")
    assert verdict(story.at("2026-02-09"), one.chain) is Carry.UNDECIDED
    assert verdict(story.at("2026-02-11"), one.chain) is Carry.OUT
    assert verdict(story.at("2026-02-11"), other.chain) is Carry.UNDECIDED


def test_a_case_is_as_its_last_act_left_it_on_the_day_asked_about() -> None:
    story = Story()
    picture = story.picture("RK-F-L", "2026-01-01")
    event = story.step(2, "2026-02-01")
    story.decide(picture, event, None, "2026-02-01")
    story.decide(picture, event, Validity.VALID, "2026-02-10")
    story.decide(picture, event, None, "2026-02-20", decided_at=day("2026-02-20"))
    story.decide(picture, event, Validity.OUT_OF_DATE, "2026-03-01")
    days = ("2026-02-05", "2026-02-15", "2026-02-25", "2026-03-02")
    expected = [Carry.UNDECIDED, Carry.OK, Carry.UNDECIDED, Carry.OUT]
    assert [verdict(story.at(t), picture.chain) for t in days] == expected
    assert verdict(story.at("2026-03-02", known="2026-02-15"), picture.chain) is Carry.OK


def test_a_verdict_put_right_replaces_the_one_recorded_by_mistake() -> None:
    story = Story()
    picture = story.picture("RK-F-L", "2026-01-01")
    event = story.step(2, "2026-02-01")
    story.decide(picture, event, Validity.VALID, "2026-02-10", key="k")
    mistaken = story.told["decisions"][-1]
    right = replace(mistaken, recorded_at=day("2026-02-12"), verdict=Validity.OUT_OF_DATE)
    story.tell("decisions", right)
    assert verdict(story.at("2026-02-11", known="2026-02-11"), picture.chain) is Carry.OK
    assert verdict(story.at("2026-02-11"), picture.chain) is Carry.OUT


def test_a_decision_cannot_save_a_picture_from_a_rule() -> None:
    story = Story()
    picture = story.picture("UV-F", "2026-01-01")
    event = story.step(2, "2026-02-01")
    story.decide(picture, event, Validity.VALID, "2026-02-10")
    assert verdict(story.at("2026-02-11"), picture.chain) is Carry.OUT


def test_a_back_picture_made_after_work_on_the_front_speaks_for_the_back_before_it() -> None:
    story = Story()
    story.step(6, "2026-02-01", treatment="T1", step=1)
    picture = story.picture("VF-B", "2026-02-10")
    moment = story.at("2026-03-01")
    before = Anchor.at(day("2026-01-20"))
    for anchor in (before, Anchor.after("T1"), Anchor.current(), Anchor.before("T2")):
        assert verdict(moment, picture.chain, anchor) is Carry.OK
    front = story.picture("UV-F", "2026-02-10")
    moment = story.at("2026-03-01")
    assert verdict(moment, front.chain, before) is Carry.OUT
    assert verdict(moment, front.chain, Anchor.after("T1")) is Carry.OK


def test_what_is_captured_after_the_first_start_never_speaks_for_before_treatment() -> None:
    story = Story()
    story.step(6, "2026-02-01", started="2026-01-30 09:00", treatment="T1", step=1)
    early = story.picture("VF-B", "2026-01-30 08:59")
    late = story.picture("VF-B", "2026-01-30 09:00")
    for t in ("2026-01-31", "2026-03-01"):
        moment = story.at(t, known="2026-03-01")
        assert verdict(moment, early.chain, Anchor.before("T1")) is Carry.OK
        assert verdict(moment, late.chain, Anchor.before("T1")) is Carry.OUT
        assert verdict(moment, late.chain, Anchor.before("T2")) is Carry.OK


def test_hiding_a_surface_never_spoils_its_pictures_and_baring_it_asks() -> None:
    story = Story()
    original = story.picture("VF-B", "2026-01-01")
    story.step(11, "2026-02-01")
    assert verdict(story.at("2026-02-02"), original.chain) is Carry.OK
    lining = story.picture("VF-B", "2026-02-10", surface="B.2")
    event = story.step(12, "2026-03-01")
    moment = story.at("2026-03-02")
    assert verdict(moment, original.chain) is Carry.UNDECIDED
    assert verdict(moment, lining.chain) is Carry.OK
    story.decide(original, event, Validity.VALID, "2026-03-05")
    assert verdict(story.at("2026-03-06"), original.chain) is Carry.OK


def test_what_happens_to_a_later_surface_leaves_a_destroyed_one_alone() -> None:
    story = Story()
    story.step(11, "2026-02-01")
    lining = story.picture("VF-B", "2026-02-10", surface="B.2")
    story.step(12, "2026-03-01")
    story.step(13, "2026-03-05")
    assert verdict(story.at("2026-03-06"), lining.chain) is Carry.OK


def test_cleaning_the_back_of_a_lining_does_not_touch_the_original_under_it() -> None:
    story = Story()
    original = story.picture("VF-B", "2026-01-01")
    story.step(11, "2026-02-01")
    lining = story.picture("VF-B", "2026-02-02", surface="B.2")
    story.step(23, "2026-02-10")
    moment = story.at("2026-02-11")
    assert verdict(moment, original.chain) is Carry.OK
    assert verdict(moment, lining.chain) is Carry.OUT


def test_cleaning_the_back_touches_the_original_once_the_lining_is_off() -> None:
    story = Story()
    story.step(11, "2026-02-01")
    story.step(12, "2026-02-20")
    original = story.picture("VF-B", "2026-02-21")
    story.step(23, "2026-02-25")
    assert verdict(story.at("2026-02-26"), original.chain) is Carry.OUT


def test_flattening_reaches_a_front_hidden_by_a_facing() -> None:
    story = Story()
    picture = story.picture("RK-F-L", "2026-01-01")
    story.step(9, "2026-02-01")
    story.step(18, "2026-02-10")
    assert verdict(story.at("2026-02-11"), picture.chain) is Carry.OUT


def test_a_small_retouching_only_asks_and_the_share_follows_from_the_size_of_the_face() -> None:
    story = Story()
    picture = story.picture("UV-F", "2026-01-01")
    story.step(6, "2026-02-01", area_cm2=3.0)
    assert verdict(story.at("2026-02-02"), picture.chain) is Carry.UNDECIDED
    story = Story()
    picture = story.picture("UV-F", "2026-01-01")
    story.step(6, "2026-02-01", area_cm2=24.1)
    assert verdict(story.at("2026-02-02"), picture.chain) is Carry.OUT


def test_a_picture_made_while_a_step_was_under_way_does_not_speak_for_the_state_before() -> None:
    story = Story()
    story.step(2, "2026-02-05", started="2026-02-01", treatment="T1", step=1)
    during = story.picture("UV-F", "2026-02-03")
    back = story.picture("UV-B", "2026-02-03")
    before = story.picture("UV-F", "2026-01-31")
    for t in ("2026-02-04", "2026-02-06"):
        moment = story.at(t, known="2026-03-01")
        as_of = Anchor.at(day("2026-01-31 18:00"))
        assert verdict(moment, during.chain, as_of) is Carry.OUT
        assert verdict(moment, back.chain, as_of) is Carry.OK
        assert verdict(moment, back.chain, Anchor.before("T1")) is Carry.OUT
        assert verdict(moment, before.chain, Anchor.before("T1")) is Carry.OK
    assert verdict(story.at("2026-02-04", known="2026-03-01"), during.chain) is Carry.OK
    assert verdict(story.at("2026-02-06"), during.chain) is Carry.OUT


def test_a_window_is_met_by_any_state_while_the_surface_could_be_seen() -> None:
    story = Story(layers=("F.1", "B.1", "B.2", "E.1", "T.1"))
    story.step(12, "2026-05-04", key="unline")
    early = story.picture("VF-B", "2026-05-05", surface="B.1")
    story.step(13, "2026-05-08")
    late = story.picture("VF-B", "2026-05-10", surface="B.1")
    story.step(11, "2026-05-16")
    window = Anchor.in_window("B.1", opened_by="unline")
    moment = story.at("2026-06-01")
    assert verdict(moment, early.chain, window) is Carry.OK
    assert verdict(moment, late.chain, window) is Carry.OK
    assert moment.point(window).past


def test_a_time_put_right_changes_which_state_a_picture_shows() -> None:
    story = Story()
    step = story.step(2, "2026-02-10")
    picture = story.picture("UV-F", "2026-02-12")
    story.correct(step, "2026-03-01", ended_at=day("2026-02-14"))
    assert verdict(story.at("2026-02-20", known="2026-02-20"), picture.chain) is Carry.OK
    assert verdict(story.at("2026-02-20"), picture.chain) is Carry.OUT
