"""Where all tiles lie: one least squares over every patch of every overlap.

Unknown per tile are the shift of its centre, and if the evidence asks for it a turn, and a scale.
The model is chosen by the Bayesian information criterion (G. Schwarz, 1978, from memory): a turn
is believed only if it explains more than so many numbers could by chance. Weights are robust: at
first Huber's, which have one answer from any start, so that no overlap is given up because the
rough start was a pixel off; then Tukey's biweight, so stretcher bars off the paint plane do not
pull the paint apart (both P. J. Huber, Robust Statistics, 1981, from memory).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

import numpy as np
from numpy.typing import NDArray

from imaging_requests.imaging.joining.refine import Found
from imaging_requests.imaging.joining.words import Matrix

ROUNDS = 40
HUBER_ROUNDS = 12
HUBER, TUKEY = 1.345, 4.685
TWO_NUMBERS = 1.5
"""A patch is a length of two numbers, which is about so much longer than one of them."""
LEAST_SIGMA = 1.0
DONE = 1e-7
MEDIAN_OF_TWO = 1.386
"""Median of the sum of two squares of standard normal numbers, 2 ln 2."""
MOST_SIGMA = 3.0
TURN_PRIOR_RAD, SCALE_PRIOR = 0.05, 0.01
"""Very weak: they only keep what no overlap determines from drifting."""


class Model(StrEnum):
    """What a tile may do."""

    SHIFT = "shift"
    RIGID = "shift and turn"
    SIMILARITY = "shift, turn and scale"


FREE = {Model.SHIFT: 2, Model.RIGID: 3, Model.SIMILARITY: 4}


@dataclass(frozen=True, slots=True)
class Solution:
    """Matrices from tile px to a common plane, and how each patch fits.

    ``residuals``: (patches, 2), first minus second on the common plane, px. ``weights``: 0 to 1.
    ``white``: residuals in units of their expected error.
    """

    model: Model
    matrices: dict[int, Matrix]
    residuals: NDArray[Any]
    weights: NDArray[Any]
    white: NDArray[Any]

    def rms_px(self) -> float:
        """Return the weighted root mean square of the residuals."""
        total = float(self.weights.sum())
        squares = (self.residuals**2).sum(axis=1)
        return float(np.sqrt((self.weights * squares).sum() / total)) if total > 0 else 0.0


def solve(
    found: Sequence[Found], sizes: dict[int, tuple[int, int]], *, start: dict[int, Matrix]
) -> Solution:
    """Return the solution whose model the evidence supports.

    ``sizes``: width and height by tile; the first key is the anchor that keeps its place, the mean
    of all turns and scales is kept at nothing. ``start``: rough matrices.
    """
    tried = [
        _solve(found, sizes, model, start)
        for model in Model
        if model is Model.SHIFT or len(found) * 2 > FREE[model] * (len(sizes) - 1)
    ]
    # one scale of error for all, taken from the richest model
    scale = max(
        LEAST_SIGMA**2, float(np.median((tried[-1].white ** 2).sum(axis=1))) / MEDIAN_OF_TWO
    )
    return min(tried, key=lambda one: _criterion(one, scale, len(sizes)))


def _criterion(solution: Solution, scale: float, tiles: int) -> float:
    """Return the Bayesian information criterion; each patch counts with at most three sigma."""
    squares = np.minimum((solution.white**2).sum(axis=1) / scale, 2 * MOST_SIGMA**2)
    numbers = FREE[solution.model] * (tiles - 1)
    return float(squares.sum()) + numbers * float(np.log(2 * len(squares)))


def _solve(
    found: Sequence[Found],
    sizes: dict[int, tuple[int, int]],
    model: Model,
    start: dict[int, Matrix],
) -> Solution:
    order = {tile: number for number, tile in enumerate(sizes)}
    free, count = FREE[model], len(order)
    centres = np.array([((w - 1) / 2, (h - 1) / 2) for w, h in sizes.values()])
    state = np.zeros((count, 4))
    for tile, number in order.items():
        matrix = start[tile]
        state[number, :2] = matrix[:2] @ (*centres[number], 1.0)
        if free >= 3:
            state[number, 2] = np.arctan2(matrix[1, 0], matrix[0, 0])
    first = np.array([order[item.first] for item in found])
    second = np.array([order[item.second] for item in found])
    p = np.array([item.first_xy for item in found]) - centres[first]
    q = np.array([item.second_xy for item in found]) - centres[second]
    roots = np.array([np.linalg.cholesky(item.information).T for item in found])
    weights = np.ones(len(found))
    rest = np.zeros((len(found), 2))
    for number_of_round in range(ROUNDS):
        rest, columns_first, columns_second = _linear(state, first, second, p, q, free)
        white = np.einsum("nij,nj->ni", roots, rest)
        lengths = np.sqrt((white**2).sum(axis=1))
        scale = max(LEAST_SIGMA, float(np.median(lengths)) / 1.1774)
        is_first = number_of_round < HUBER_ROUNDS
        weights = _huber(lengths / scale) if is_first else _tukey(lengths / scale)
        step = _step(
            white,
            np.einsum("nij,njk->nik", roots, columns_first),
            np.einsum("nij,njk->nik", roots, columns_second),
            weights,
            first,
            second,
            free,
            state,
        )
        state[:, :free] += step
        if not is_first and np.abs(step).max() < DONE:
            break
    rest, _, _ = _linear(state, first, second, p, q, free)
    white = np.einsum("nij,nj->ni", roots, rest)
    matrices = {tile: _matrix(state[number], centres[number]) for tile, number in order.items()}
    return Solution(model, matrices, rest, weights, white)


def _huber(sigmas: NDArray[Any]) -> NDArray[Any]:
    return np.asarray(np.minimum(1.0, HUBER * TWO_NUMBERS / np.maximum(sigmas, 1e-12)))


def _tukey(sigmas: NDArray[Any]) -> NDArray[Any]:
    return np.asarray(np.clip(1 - (sigmas / (TUKEY * TWO_NUMBERS)) ** 2, 0, None) ** 2)


def _linear(
    state: NDArray[Any],
    first: NDArray[Any],
    second: NDArray[Any],
    p: NDArray[Any],
    q: NDArray[Any],
    free: int,
) -> tuple[NDArray[Any], NDArray[Any], NDArray[Any]]:
    """Return residuals and their derivatives by the unknowns of the first and second tile."""
    placed_p, columns_p = _place(state[first], p, free)
    placed_q, columns_q = _place(state[second], q, free)
    return placed_p - placed_q, columns_p, -columns_q


def _place(
    state: NDArray[Any], points: NDArray[Any], free: int
) -> tuple[NDArray[Any], NDArray[Any]]:
    scale = np.exp(state[:, 3])
    cos, sin = scale * np.cos(state[:, 2]), scale * np.sin(state[:, 2])
    x = cos * points[:, 0] - sin * points[:, 1]
    y = sin * points[:, 0] + cos * points[:, 1]
    placed = np.stack([state[:, 0] + x, state[:, 1] + y], axis=1)
    columns = np.zeros((len(points), 2, free))
    columns[:, 0, 0] = columns[:, 1, 1] = 1
    if free >= 3:
        columns[:, 0, 2], columns[:, 1, 2] = -y, x
    if free >= 4:
        columns[:, 0, 3], columns[:, 1, 3] = x, y
    return placed, columns


def _step(
    white: NDArray[Any],
    columns_first: NDArray[Any],
    columns_second: NDArray[Any],
    weights: NDArray[Any],
    first: NDArray[Any],
    second: NDArray[Any],
    free: int,
    state: NDArray[Any],
) -> NDArray[Any]:
    count = len(state)
    size = count * free
    blocks = np.zeros((count, count, free, free))
    sides = np.zeros((count, free))
    both = ((first, columns_first), (second, columns_second))
    for tile, columns in both:
        weighed = weights[:, None, None] * columns
        np.subtract.at(sides, tile, np.einsum("nki,nk->ni", weighed, white))
        for other, others in both:
            np.add.at(blocks, (tile, other), np.einsum("nki,nkj->nij", weighed, others))
    normal = blocks.transpose(0, 2, 1, 3).reshape(size, size)
    right = sides.reshape(size)
    heavy = max(float(np.trace(normal)) / size, 1.0)
    for k in range(2):  # the anchor keeps its place
        normal[k, k] += heavy
    for k in range(2, free):
        prior = (TURN_PRIOR_RAD, SCALE_PRIOR)[k - 2]
        all_k = np.arange(count) * free + k
        normal[all_k, all_k] += 1 / prior**2
        right[all_k] -= state[:, k] / prior**2
        # the mean stays nothing
        big = float(np.max(np.diag(normal)[all_k]))
        normal[np.ix_(all_k, all_k)] += big / count
        right[all_k] -= big / count * state[:, k].sum()
    normal[np.arange(size), np.arange(size)] += 1e-9 * heavy
    return np.linalg.solve(normal, right).reshape(count, free)


def _matrix(state: NDArray[Any], centre: NDArray[Any]) -> Matrix:
    scale = np.exp(state[3])
    cos, sin = scale * np.cos(state[2]), scale * np.sin(state[2])
    turn = np.array([[cos, -sin], [sin, cos]])
    made = np.eye(3)
    made[:2, :2] = turn
    made[:2, 2] = state[:2] - turn @ centre
    return made
