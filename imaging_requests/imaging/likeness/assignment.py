"""The assignment problem with a margin: who belongs where, and how sure is each answer.

Rows (frames) are assigned to columns (places), each to at most one, so that the sum of what the
pairs are worth is as large as possible; a row may stay free, which is worth 0. The method is that
of shortest augmenting paths with dual prices (Kuhn 1955, Munkres 1957; written here from the
textbook description).

The **margin** of a row is how much the best sum falls if its pair is forbidden. A margin near 0
means that another answer is as good, and nothing should be done without asking. Prices stay valid
when a pair is forbidden, so that each margin costs one further path and not a new search.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Worth = NDArray[np.float64]
NOT_MATCHED = -1


@dataclass(frozen=True, slots=True)
class Assigned:
    """The column of a row, or None if it stays free; ``margin`` in the unit of the worth."""

    column: int | None
    margin: float


def assign(worth: Worth) -> list[Assigned]:
    """Assign rows to columns so that the sum of worths is largest.

    Args:
        worth: (rows, columns), any unit; ``-inf`` for pairs that cannot be. It is not changed.

    Raises:
        ValueError: The table is not two-dimensional or holds NaN or ``+inf``.

    >>> found = assign(np.array([[5.0, 4.0], [4.0, 1.0]]))
    >>> [each.column for each in found], [each.margin for each in found]
    ([1, 0], [2.0, 2.0])
    """
    if worth.ndim != 2 or np.isnan(worth).any() or np.isposinf(worth).any():
        raise ValueError("A table of worths is needed, without NaN and without +inf.")
    rows, columns = worth.shape
    if not rows:
        return []
    cost = np.zeros((rows + columns, rows + columns))
    cost[:rows, :columns] = -worth
    state = _State(cost)
    for row in range(rows + columns):
        state.add(row)
    best = state.total()
    found = []
    for row in range(rows):
        column = int(state.column_of[row])
        is_free = column >= columns
        forbidden = np.flatnonzero(np.arange(rows + columns) >= columns) if is_free else [column]
        margin = state.total_without(row, forbidden) - best
        found.append(Assigned(None if is_free else column, max(0.0, margin)))
    return found


class _State:
    """A matching under way, with prices that keep every reduced cost at or above 0.

    The table is square: beside the places every row finds a free column, and every place a free
    row, all at cost 0. So all are matched in the end, and forbidding a pair costs one path.
    """

    def __init__(self, cost: Worth) -> None:
        rows, columns = cost.shape
        self.cost = cost
        self.column_of = np.full(rows, NOT_MATCHED)
        self.row_of = np.full(columns, NOT_MATCHED)
        self.row_price = cost.min(axis=1)
        self.column_price = np.zeros(columns)

    def total(self) -> float:
        """Sum of the costs of the matched pairs."""
        return float(self.cost[np.arange(len(self.column_of)), self.column_of].sum())

    def total_without(self, row: int, forbidden: Sequence[int] | NDArray[np.int64]) -> float:
        """Return the cost of the best matching in which a row has none of these columns."""
        other = object.__new__(_State)
        other.cost = self.cost.copy()
        other.cost[row, forbidden] = np.inf
        other.column_of, other.row_of = self.column_of.copy(), self.row_of.copy()
        other.row_price, other.column_price = self.row_price.copy(), self.column_price.copy()
        column = int(other.column_of[row])
        other.column_of[row], other.row_of[column] = NOT_MATCHED, NOT_MATCHED
        return other.total() if other.add(row) else float("inf")

    def add(self, start: int) -> bool:
        """Match one more row along the cheapest path; False if there is none."""
        columns = self.cost.shape[1]
        distance = np.full(columns, np.inf)
        came_from = np.full(columns, NOT_MATCHED)
        done = np.zeros(columns, bool)
        row, spent = start, 0.0
        while True:
            step = spent + self.cost[row] - self.row_price[row] - self.column_price
            better = (step < distance) & ~done
            distance[better], came_from[better] = step[better], row
            open_distance = np.where(done, np.inf, distance)
            column = int(open_distance.argmin())
            if not np.isfinite(open_distance[column]):
                return False
            done[column], spent = True, float(distance[column])
            if self.row_of[column] == NOT_MATCHED:
                break
            row = int(self.row_of[column])
        self._price(start, distance, done, spent)
        self._turn_over(start, column, came_from)
        return True

    def _price(self, start: int, distance: Worth, done: NDArray[np.bool_], spent: float) -> None:
        for column in np.flatnonzero(done):
            change = distance[column] - spent
            if change >= 0:
                continue
            self.column_price[column] += change
            self.row_price[self.row_of[column]] -= change
        self.row_price[start] += spent

    def _turn_over(self, start: int, column: int, came_from: NDArray[np.int64]) -> None:
        while True:
            row = int(came_from[column])
            before = int(self.column_of[row])
            self.column_of[row], self.row_of[column] = column, row
            if row == start:
                return
            column = before
