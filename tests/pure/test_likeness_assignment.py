"""The assignment and its margins, held against trying every possibility, and against a linear
program: by the theorem of Birkhoff and von Neumann its optimum is that of the assignment. OpenCV
solves the program; it shares nothing with ours.
"""

from __future__ import annotations

import doctest
import itertools

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as arrays

from imaging_requests.imaging.likeness import assignment, evidence, pattern
from imaging_requests.imaging.likeness.assignment import Worth, assign


def test_the_examples_run() -> None:
    for module in (assignment, evidence, pattern):
        assert doctest.testmod(module).failed == 0


def best_sum(worth: Worth, forbidden: tuple[int, int | None] | None = None) -> float:
    """Try every assignment; `forbidden` is a pair, with None for staying free."""
    rows, columns = worth.shape
    best = -np.inf
    for choice in itertools.product([None, *range(columns)], repeat=rows):
        used = [column for column in choice if column is not None]
        if len(set(used)) < len(used):
            continue
        if forbidden is not None and choice[forbidden[0]] == forbidden[1]:
            continue
        total = sum(worth[row, column] for row, column in enumerate(choice) if column is not None)
        best = max(best, float(total))
    return best


tables = arrays.arrays(
    np.float64,
    st.tuples(st.integers(1, 4), st.integers(0, 4)),
    elements=st.sampled_from([-np.inf, -1.0, 0.25, 0.5, 1.0, 1.75, 2.0]),
)


@settings(max_examples=200, deadline=None)
@given(tables)
def test_sum_and_margins_agree_with_trying_everything(worth: Worth) -> None:
    found = assign(worth)
    total = sum(
        worth[row, each.column] for row, each in enumerate(found) if each.column is not None
    )
    assert total == pytest.approx(best_sum(worth))
    for row, each in enumerate(found):
        other = best_sum(worth, (row, each.column))
        if np.isfinite(other):
            assert each.margin == pytest.approx(total - other)


def test_a_larger_table_agrees_with_a_linear_program() -> None:
    whole = np.random.default_rng(7).integers(1, 1000, (12, 12)).astype(np.float64)
    size = len(whole)
    limits = np.zeros((2 * size, size * size + 1))
    for place in range(size):
        row, column = np.zeros((size, size)), np.zeros((size, size))
        row[place], column[:, place] = 1, 1
        limits[place], limits[size + place] = [*row.ravel(), 1], [*column.ravel(), 1]
    _, solution = cv2.solveLP(whole.reshape(1, -1), limits)
    found = assign(whole)
    total = sum(
        whole[row, each.column] for row, each in enumerate(found) if each.column is not None
    )
    assert total == pytest.approx(float(whole.ravel() @ solution.ravel()))


@pytest.mark.parametrize("bad", [np.zeros(3), np.array([[np.nan]]), np.array([[np.inf]])])
def test_tables_that_say_nothing_are_refused(bad: Worth) -> None:
    with pytest.raises(ValueError, match="table"):
        assign(bad)
