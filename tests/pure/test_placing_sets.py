"""A sample of the random studio days of `tests/benchmarks/placing.py`, with known truth."""

from __future__ import annotations

import pytest

from imaging_requests.intake.decisions import Why
from imaging_requests.intake.sorting import decide
from tests.placing_sets import Faults, make_set


@pytest.mark.parametrize("seed", [101, 102])
def test_shuffled_frames_without_names_find_their_places(seed: int) -> None:
    made = make_set(seed, frames=150)
    decisions = [each for each in decide(made.frames, made.table) if not each.is_slate]
    assert sorted(each.frame_id for each in decisions) == sorted(made.truth), "none is lost"
    placed = [each for each in decisions if each.spot is not None and not each.because]
    assert all(made.truth[each.frame_id] == each.spot for each in placed)
    assert len(placed) >= 0.9 * len(made.truth)
    assert all(each.because and each.why for each in decisions if each.spot is None)


def test_clocks_off_by_whole_hours_are_asked_about() -> None:
    made = make_set(103, frames=150, faults=Faults(spoilt_clocks=0.1))
    off = {pk for pk, kind in made.spoilt.items() if kind == "whole hours"}
    decisions = {each.frame_id: each for each in decide(made.frames, made.table)}
    assert off
    assert all(decisions[pk].because for pk in off)
    assert Why.CLOCK in {decisions[pk].why for pk in off}


def test_missing_and_repeated_frames_place_nothing_wrongly() -> None:
    made = make_set(104, frames=150, faults=Faults(missing=0.02, repeated=0.02))
    placed = [each for each in decide(made.frames, made.table) if each.spot and not each.is_slate]
    wrong = [each for each in placed if not each.because and made.truth[each.frame_id] != each.spot]
    assert not wrong
