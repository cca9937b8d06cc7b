"""Sessions are cut where slates or pauses leave no doubt."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime, timedelta

from imaging_requests.intake.layout import Line, Shot, Spot
from imaging_requests.intake.segments import Mark, Stretch, cut_at_pauses, cut_at_slates

START = datetime(2026, 4, 17, 9, tzinfo=UTC)


def at(minutes: float) -> datetime:
    return START + timedelta(minutes=minutes)


def line(line_id: int, places: int = 1) -> Line:
    spots = tuple(Spot(line_id, 0, x, 0, 0.0) for x in range(places))
    return Line(line_id, spots, is_bracket=False)


def shots(minutes: Sequence[float], body: str = "A") -> list[Shot]:
    return [Shot(number, at(minute), 3.0, 8.0, 100, body) for number, minute in enumerate(minutes)]


def shape(stretches: Sequence[Stretch]) -> list[tuple[list[int], list[int]]]:
    return [
        ([s.frame_id for s in each.shots], [x.line_id for x in each.lines]) for each in stretches
    ]


LINES = [line(1), line(2), line(3), line(4)]


def test_without_slates_a_session_is_one_stretch() -> None:
    assert shape(cut_at_slates(shots([1, 2]), LINES, [])) == [([0, 1], [1, 2, 3, 4])]


def test_a_slate_opens_its_line_and_those_that_follow_without_one() -> None:
    marks = [Mark(at(10), 2), Mark(at(20), 4)]
    assert shape(cut_at_slates(shots([1, 11, 12, 21]), LINES, marks)) == [
        ([0], [1]),
        ([1, 2], [2, 3]),
        ([3], [4]),
    ]


def test_lines_shot_out_of_order_go_where_their_slates_say() -> None:
    marks = [Mark(at(0), 3), Mark(at(10), 1)]
    assert shape(cut_at_slates(shots([1, 11]), LINES, marks)) == [([1], [1, 2]), ([0], [3, 4])]


def test_a_line_that_is_opened_twice_takes_both_stretches() -> None:
    marks = [Mark(at(0), 1), Mark(at(10), 2), Mark(at(20), 1)]
    assert shape(cut_at_slates(shots([1, 11, 21]), LINES[:2], marks)) == [([0, 2], [1]), ([1], [2])]


def test_a_slate_of_another_camera_or_session_says_nothing() -> None:
    marks = [Mark(at(0), 2, "B"), Mark(at(0), 99)]
    assert shape(cut_at_slates(shots([1]), LINES, marks)) == [([0], [1]), ([], [2, 3, 4])]


def test_pauses_cut_where_the_numbers_agree() -> None:
    whole = Stretch(tuple(shots([0, 1, 30, 31, 32, 60])), (line(1, 2), line(2, 3), line(3)))
    assert shape(cut_at_pauses(whole, pause_min=8)) == [([0, 1], [1]), ([2, 3, 4], [2]), ([5], [3])]


def test_a_pause_in_the_middle_of_a_line_does_not_cut_it() -> None:
    whole = Stretch(tuple(shots([0, 30, 60])), (line(1, 2), line(2)))
    assert shape(cut_at_pauses(whole, pause_min=8)) == [([0, 1], [1]), ([2], [2])]


def test_numbers_that_do_not_agree_leave_the_rest_in_one() -> None:
    whole = Stretch(tuple(shots([0, 30, 60])), (line(1, 2), line(2, 4)))
    assert shape(cut_at_pauses(whole, pause_min=8)) == [([0, 1], [1]), ([2], [2])]
