"""State lines, anchors, surfaces and what is known when."""

from __future__ import annotations

from dataclasses import replace

import pytest

from imaging_requests.reckoning.truth.bitime import known
from imaging_requests.reckoning.truth.facts import ObjectFacts
from imaging_requests.reckoning.truth.terms import Anchor
from tests.pure.truth_story import INTAKE, Story, day


def test_events_that_ended_at_the_same_instant_open_states_in_recorded_order() -> None:
    story = Story()
    first = story.step(1, "2026-03-02 15:00", known="2026-03-06")
    second = story.step(2, "2026-03-02 15:00", known="2026-03-04")
    assert [e.key for e in story.at("2026-03-07").line.openers] == [first.key, second.key]
    story.correct(first, "2026-03-09", label="dry cleaning")
    assert [e.key for e in story.at("2026-03-10").line.openers] == [first.key, second.key]


def test_several_steps_on_one_day_are_told_apart_by_the_clock() -> None:
    story = Story()
    story.step(1, "2026-03-02 10:00")
    story.step(2, "2026-03-02 15:00")
    line = story.at("2026-03-03").line
    assert [line.state_at(day(f"2026-03-02 {hour}")) for hour in ("09:59", "10:00", "14:00")] == [
        0,
        1,
        1,
    ]
    assert line.state_at(day("2026-03-02 15:00")) == 2


def test_an_examination_opens_no_state_and_an_incident_does() -> None:
    story = Story()
    story.step(30, "2026-03-02")
    story.incident("2026-03-05")
    assert [e.row for e in story.at("2026-03-06").line.openers] == [32]


def test_a_step_is_unknown_before_it_is_recorded_and_absent_before_it_ended() -> None:
    story = Story()
    story.step(2, "2026-02-20", known="2026-03-02")
    assert story.at("2026-02-26", known="2026-02-26").line.current == 0
    assert story.at("2026-02-26", known="2026-03-02").line.current == 1
    assert story.at("2026-02-19", known="2026-03-02").line.current == 0


def test_a_corrected_time_replaces_the_earlier_record_and_a_withdrawn_event_disappears() -> None:
    story = Story()
    step = story.step(2, "2026-02-20")
    story.correct(step, "2026-03-01", ended_at=day("2026-02-18"))
    assert story.at("2026-02-19", known="2026-02-25").line.current == 0
    assert story.at("2026-02-19", known="2026-03-01").line.current == 1
    story.correct(step, "2026-03-05", withdrawn=True)
    assert story.at("2026-03-06").line.current == 0
    assert story.at("2026-03-06", known="2026-03-04").line.current == 1


def test_records_that_arrive_out_of_order_still_give_the_latest() -> None:
    old = ObjectFacts(key="f", recorded_at=day("2026-01-01"), valid_from=INTAKE, height_mm=800)
    new = replace(old, recorded_at=day("2026-02-01"), height_mm=804)
    assert [f.height_mm for f in known([new, old], day("2026-03-01"))] == [804]
    same = replace(old, height_mm=806)
    assert [f.height_mm for f in known([old, same], day("2026-03-01"))] == [806]


def treated() -> Story:
    story = Story()
    story.step(1, "2026-03-02", started="2026-03-01", treatment="T1", step=1, key="a")
    story.incident("2026-03-10")
    story.step(2, "2026-04-02", started="2026-04-01", treatment="T2", phase=1, step=1, key="b")
    story.step(6, "2026-04-12", started="2026-04-10", treatment="T2", phase=1, step=2, key="c")
    story.step(7, treatment="T2", phase=2, step=3, key="d", planned=("2026-06-01", "2026-06-02"))
    return story


@pytest.mark.parametrize(
    ("anchor", "state", "reached", "past"),
    [
        (Anchor.current(), 4, True, False),
        (Anchor.before("T1"), 0, True, True),
        (Anchor.after("T1"), 1, True, True),
        (Anchor.before("T2"), 2, True, True),
        (Anchor.during("T2", step=1), 3, True, True),
        (Anchor.during("T2", step=2), 4, True, False),
        (Anchor.after("T2", phase=1), 4, True, False),
        (Anchor.before("T2", phase=2), 4, True, False),
        (Anchor.after("T2"), 4, False, False),
        (Anchor.during("T2", step=3), 4, False, False),
        (Anchor.before("T3"), 4, True, False),
        (Anchor.at(day("2026-03-10")), 2, True, True),
        (Anchor.at(day("2027-01-01")), 4, False, False),
    ],
)
def test_each_anchor_finds_its_state(anchor: Anchor, state: int, reached: bool, past: bool) -> None:
    point = treated().at("2026-05-01").point(anchor)
    assert (point.first, point.last) == (state, state)
    assert (point.reached, point.past) == (reached, past)


def test_after_treatment_waits_for_every_planned_step_until_it_is_dropped() -> None:
    story = treated()
    step = next(e for e in story.told["events"] if e.key == "d")
    story.correct(step, "2026-05-03", dropped_at=day("2026-05-03"))
    assert not story.at("2026-05-02").point(Anchor.after("T2")).reached
    assert story.at("2026-05-04").point(Anchor.after("T2")).reached


def test_a_step_added_to_the_plan_later_does_not_undo_an_end_that_was_reached_before() -> None:
    story = treated()
    step = next(e for e in story.told["events"] if e.key == "d")
    story.correct(step, "2026-05-10", planned_at=day("2026-05-10"))
    assert story.at("2026-05-02").point(Anchor.after("T2")).reached
    assert not story.at("2026-05-11").point(Anchor.after("T2")).reached


def spans(story: Story, code: str, t: str) -> list[tuple[int, int | None]]:
    return [(v.first, v.until) for v in story.at(t).surfaces.lives[code].visible]


def test_lining_hides_the_original_back_and_taking_it_off_destroys_the_lining() -> None:
    story = Story()
    story.step(11, "2026-01-10")
    story.step(12, "2026-05-04")
    story.step(11, "2026-05-16")
    assert spans(story, "B.1", "2026-06-01") == [(0, 1), (2, 3)]
    assert spans(story, "B.2", "2026-06-01") == [(1, 2)]
    assert spans(story, "B.3", "2026-06-01") == [(3, None)]
    lives = story.at("2026-06-01").surfaces.lives
    assert (lives["B.2"].gone, lives["B.1"].gone) == (2, None)
    assert lives["B.1"].is_closed
    assert not story.at("2026-05-10").surfaces.lives["B.1"].is_closed


def test_a_backing_board_and_a_facing_hide_for_a_while_and_open_no_surface() -> None:
    story = Story()
    story.step(25, "2026-01-10", puts_on=True)
    story.step(9, "2026-01-11")
    story.step(25, "2026-01-20", puts_on=False)
    story.step(10, "2026-01-21")
    assert sorted(story.at("2026-02-01").surfaces.lives) == ["B.1", "E.1", "F.1", "T.1"]
    assert spans(story, "B.1", "2026-02-01") == [(0, 1), (3, None)]
    assert spans(story, "F.1", "2026-02-01") == [(0, 2), (4, None)]
    assert not story.at("2026-01-15").surfaces.lives["B.1"].is_closed


def test_a_board_without_a_stated_direction_goes_the_other_way_than_it_stands() -> None:
    story = Story()
    story.step(25, "2026-01-10")
    story.step(25, "2026-01-20")
    story.step(25, "2026-01-30")
    assert spans(story, "B.1", "2026-02-01") == [(0, 1), (2, 3)]


def test_a_transfer_destroys_every_surface_of_the_back() -> None:
    story = Story(layers=("F.1", "B.1", "B.2", "E.1", "T.1"))
    story.step(31, "2026-01-10")
    lives = story.at("2026-02-01").surfaces.lives
    assert {code for code, life in lives.items() if life.gone} == {"B.1", "B.2"}
    assert lives["B.3"].is_visible
    assert lives["F.1"].is_visible


def test_taking_off_a_lining_nobody_recorded_opens_the_surface_under_it() -> None:
    story = Story()
    story.step(12, "2026-05-04", opens_surface="B.0")
    lives = story.at("2026-06-01").surfaces.lives
    assert (lives["B.1"].gone, lives["B.0"].is_visible) == (1, True)


def test_a_named_surface_keeps_its_name_when_an_earlier_step_is_entered_late() -> None:
    story = Story()
    story.step(11, "2026-05-04", opens_surface="B.2")
    story.step(11, "2026-02-04", known="2026-06-01")
    lives = story.at("2026-06-02").surfaces.lives
    assert lives["B.2"].opened == 2
    assert lives["B.2"].is_visible


def test_on_a_two_sided_object_a_facing_on_the_back_hides_the_back() -> None:
    story = Story(two_sided=True)
    story.step(9, "2026-01-10", face="B")
    lives = story.at("2026-01-11").surfaces.lives
    assert (lives["B.1"].is_visible, lives["F.1"].is_visible) == (False, True)
