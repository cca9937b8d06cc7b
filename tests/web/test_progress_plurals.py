"""A number and its noun agree, whatever the number."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import pytest

from imaging_requests.progress.board import Totals
from imaging_requests.progress.ruler import _caption
from imaging_requests.progress.rules import _of_which
from imaging_requests.progress.surfaces_part import _pictures


@pytest.mark.parametrize(
    ("speaking", "pictures", "said"),
    [
        (1, 6, "1 of 6 pictures speaks for it"),
        (0, 1, "0 of 1 picture speak for it"),
        (1, 1, "1 picture speaks for it"),
        (2, 2, "2 pictures speak for it"),
    ],
)
def test_pictures_of_a_surface(speaking: int, pictures: int, said: str) -> None:
    sight: Any = SimpleNamespace(speaking=speaking, pictures=pictures, seen=())
    assert _pictures(sight) == said


def test_steps_that_are_planned() -> None:
    step: Any = object()
    speech: Any = None
    assert _caption([], [step], speech) == "State 0 as it came; 1 step planned."
    assert _caption([], [step, step], speech).endswith("; 2 steps planned.")


def test_entries_and_views_above_a_board() -> None:
    one = Totals(1, full=1, present=1, resolved=1, debt=1)
    assert one.sentence == "1 of 1 entry is fully documented"
    assert [count["unit"] for count in one.counts][:2] == [
        "present view resolved",
        "present view no longer true or undecided",
    ]
    assert Totals(40, full=10, waived=4).sentence == (
        "10 + 4 with waivers of 40 entries are fully documented"
    )


def test_views_of_treatments_among_those_that_are_not_met() -> None:
    assert _of_which(2, 1) == " (2 present, 1 treatment view)"
    assert _of_which(0, 1) == " (a treatment view)"
    assert _of_which(0, 3) == " (all treatment views)"
