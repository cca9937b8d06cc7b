"""Which map do found parts support, and how wrong may it be? Fits, held-out parts, the model."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from .blocks import Matches
from .matrices import (
    Matrix,
    Model,
    Points,
    Weights,
    apply,
    centring,
    corner_errors,
    corners,
    fit,
    inverse,
    jacobian,
    normalise,
)

ROUNDS = 12
TUKEY = 4.685
FOLDS = 9
LEAST_SIGMA = 0.05
#: How many variances of the richer map are taken off the squared distance of two maps.
SHRINK = 1.5
#: Spreads from which on two maps part beyond doubt: the richer one is taken as it is.
BEYOND_DOUBT = 6.0
#: Share of the way from which on the map is called by the name of the richer model.
NEEDED_SHARE = 0.8
CLIMB_STEPS = 15
DAMPING = 1e-3
SETTLED_PX = 1e-3


def robust_fit(
    model: Model, source: Points, target: Points, start: Matrix, *, least_sigma: float
) -> tuple[Matrix, Weights]:
    """Fit a map by iteratively reweighted least squares with Tukey's biweight.

    Args:
        start: A map near the right one; departures from it give the first weights.
        least_sigma: Smallest spread that is believed, px of the target.

    Returns:
        The map, and the weight of each pair, 0 to 1.
    """
    matrix = start
    weights = np.ones(len(source))
    for turn in range(ROUNDS):
        away = np.linalg.norm(apply(matrix, source) - target, axis=1)
        # the median of a Rayleigh distribution is 1.1774 sigma
        sigma = max(float(np.median(away)) / 1.1774, least_sigma)
        if turn > 2:
            kept = away[weights > 0]
            sigma = max(float(np.median(kept)) / 1.1774, least_sigma)
        ratio = away / (TUKEY * sigma)
        weights = np.where(ratio < 1, (1 - ratio**2) ** 2, 0.0)
        if np.count_nonzero(weights) < model.least_points:
            break
        new = fit(model, source, target, weights)
        if np.allclose(new, matrix, rtol=0, atol=1e-9):
            matrix = new
            break
        matrix = new
    return matrix, weights


def folds_of(cell: NDArray[np.int64]) -> NDArray[np.int64]:
    """Deal cells out to nine folds, so that each fold covers the whole picture."""
    return np.asarray((cell[:, 0] % 3) + 3 * (cell[:, 1] % 3), np.int64)


class Climb:
    """Climbs to the map under which the parts together fit best.

    The sum of the parts' correlations is the height (Irani and Anandan 1998, "Robust multi-sensor
    image alignment"; from memory): a part without a clear best place still counts as far as it
    has an opinion, and one that sees something else cannot pull. What is sought is the map from
    the reference to the moving picture, about the middle of the parts.
    """

    def __init__(self, matches: Matches, start: Matrix) -> None:
        self._surfaces = matches.surfaces.astype(np.float64)
        self._level_px = matches.level_px
        self._at = matches.reference
        there = apply(inverse(start), self._at)
        self._to_plane, self._to_other = centring(self._at), centring(there)
        self._plane = apply(self._to_plane, self._at)
        self._back = start @ inverse(self._to_other)
        self._there = apply(self._to_other, there)

    def first(self, model: Model) -> Matrix:
        """Return the map of a model that comes nearest to the start."""
        return fit(model, self._plane, self._there)

    def offsets(self, found: Matrix) -> Points:
        """Where each part would lie, (n, 2) px of the level from the middle of its search."""
        return (apply(self._back, apply(found, self._plane)) - self._at) / self._level_px

    def heights(self, found: Matrix) -> Weights:
        """Correlation of each part at the place a map gives it; -1 outside the search."""
        return _local(self._surfaces, self.offsets(found))[0]

    def climb(self, model: Model, found: Matrix) -> Matrix:
        """Return the best map of a model on all parts, from a first one."""
        basis = _basis(model)
        best, height = found, -np.inf
        damping = DAMPING
        for _ in range(CLIMB_STEPS):
            now, normal, rise, derivative = self._pull(basis, found)
            if float(now.sum()) < height:
                damping *= 10
                now, normal, rise, derivative = self._pull(basis, best)
                found = best
            best, height = found, float(now.sum())
            step = _newton(normal.sum(axis=0), rise.sum(axis=0), damping)
            found = found + np.append(basis @ step, 0.0).reshape(3, 3)
            if float(np.abs(derivative @ step).max()) < SETTLED_PX:
                break
        return found

    def without(self, model: Model, folds: NDArray[np.int64], found: Matrix) -> list[Matrix]:
        """Return the maps that the other parts would have led to, for each fold left out.

        One Newton step from the best map of all parts (the one-step jackknife).
        """
        basis = _basis(model)
        _, normal, rise, _ = self._pull(basis, found)
        maps = []
        for fold in range(FOLDS):
            kept = folds != fold
            step = _newton(normal[kept].sum(axis=0), rise[kept].sum(axis=0), DAMPING)
            maps.append(found + np.append(basis @ step, 0.0).reshape(3, 3))
        return maps

    def _pull(
        self, basis: NDArray[np.float64], found: Matrix
    ) -> tuple[Weights, NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
        """Height of each part, its curvature and slope by the parameters, and its derivative."""
        height, slope, curve = _local(self._surfaces, self.offsets(found))
        inner = jacobian(found, self._plane).reshape(-1, 2, 8) @ basis
        outer = _derivative(self._back, apply(found, self._plane)) / self._level_px
        derivative = outer @ inner
        turned = np.swapaxes(derivative, 1, 2)
        normal = turned @ curve @ derivative
        rise = (turned @ slope[..., None])[..., 0]
        return height, normal, rise, derivative

    def matrix(self, found: Matrix) -> Matrix:
        """Return the map from moving px to reference px that a found map stands for."""
        return normalise(inverse(inverse(self._to_other) @ found @ self._to_plane))


def _newton(
    normal: NDArray[np.float64], rise: NDArray[np.float64], damping: float
) -> NDArray[np.float64]:
    """Solve for a step; damped by a share of the mean curvature."""
    eased = normal + np.eye(len(normal)) * (damping * np.trace(normal) / len(normal) + 1e-9)
    return np.asarray(np.linalg.solve(eased, rise), np.float64)


def _derivative(matrix: Matrix, points: Points) -> NDArray[np.float64]:
    """Derivatives of mapped points by the points, (n, 2, 2)."""
    mapped = apply(matrix, points)
    third = points @ matrix[2, :2] + matrix[2, 2]
    upper = matrix[None, :2, :2] - mapped[:, :, None] * matrix[None, 2:, :2]
    return np.asarray(upper / third[:, None, None], np.float64)


def _basis(model: Model) -> NDArray[np.float64]:
    """Directions in which the eight elements of a matrix may move, (8, parameters)."""
    if model is Model.SIMILARITY:
        rows = [
            [1, 0, 0, 0, 1, 0, 0, 0],
            [0, -1, 0, 1, 0, 0, 0, 0],
            [0, 0, 1, 0, 0, 0, 0, 0],
            [0, 0, 0, 0, 0, 1, 0, 0],
        ]
        return np.array(rows, np.float64).T
    return np.eye(8)[:, : model.parameters]


def _local(
    surfaces: NDArray[np.float64], offsets: Points
) -> tuple[Weights, NDArray[np.float64], NDArray[np.float64]]:
    """Height, slope and (positive) curvature of each surface at an offset from its middle.

    A quadratic is laid through the nine values around the nearest whole offset. Curvature is
    kept positive, so that a step always climbs. Outside the search a part has no opinion.
    """
    count, side = surfaces.shape[0], surfaces.shape[1]
    middle = side // 2
    near = np.rint(offsets).astype(int)
    inside = np.all(np.abs(near) <= middle - 1, axis=1)
    near = np.clip(near, 1 - middle, middle - 1)
    dx, dy = np.clip(offsets - near, -0.75, 0.75).T
    first = (near[:, 1] + middle - 1) * side + near[:, 0] + middle - 1
    nine = first[:, None] + (np.arange(3)[:, None] * side + np.arange(3)).ravel()
    flat = surfaces.reshape(count, -1)
    nw, n, ne, w, c, e, sw, s, se = np.take_along_axis(flat, nine, axis=1).T
    fx, fy = (e - w) / 2, (s - n) / 2
    fxx, fyy, fxy = e - 2 * c + w, s - 2 * c + n, (se - sw - ne + nw) / 4
    height = c + fx * dx + fy * dy + (fxx * dx * dx + fyy * dy * dy) / 2 + fxy * dx * dy
    slope = np.stack((fx + fxx * dx + fxy * dy, fy + fyy * dy + fxy * dx), axis=1)
    curve = _bent(-fxx, -fxy, -fyy)
    height[~inside] = -1.0
    slope[~inside] = 0.0
    curve[~inside] = 0.0
    return height, slope, curve


def _bent(xx: Weights, xy: Weights, yy: Weights) -> NDArray[np.float64]:
    """Symmetric 2 x 2 matrices with their eigenvalues raised to at least 1e-4, (n, 2, 2)."""
    mean, half = (xx + yy) / 2, np.hypot((xx - yy) / 2, xy)
    high, low = np.maximum(mean + half, 1e-4), np.maximum(mean - half, 1e-4)
    share = (high - low) / np.where(half > 1e-12, 2 * half, 1.0)
    lift = (high + low) / 2 - share * mean
    return np.stack(
        (
            np.stack((share * xx + lift, share * xy), axis=1),
            np.stack((share * xy, share * yy + lift), axis=1),
        ),
        axis=1,
    )


@dataclass(frozen=True, eq=False)
class Judged:
    """A map as its held-out parts judge it: distances in px of the reference.

    Attributes:
        model: What the map is called: the richest model that is clearly needed.
        matrix: The map.
        reached, climbed: The map of the richest model that has a share in it, where climbing ends,
            and that model.
        held_out_px, held_out_height: Distance and correlation of each part while held out.
        spread_px: How uncertain the worst corner is.
    """

    model: Model
    matrix: Matrix
    reached: Matrix
    climbed: Model
    held_out_px: Weights
    held_out_height: Weights
    spread_px: float


def judge(
    model: Model, matches: Matches, start: Matrix, *, size: tuple[int, int], shared: float
) -> Judged | None:
    """Fit a model on eight folds and measure on the ninth, nine times; then fit on all.

    `spread_px` is the jackknife standard error of the worst corner over the folds, widened by
    the root of `shared`, since parts that see the same px are no independent witnesses.
    """
    folds = folds_of(matches.cell)
    held = np.full(len(matches), np.inf)
    heights = np.full(len(matches), -1.0)
    try:
        climb = Climb(matches, start)
        whole = climb.climb(model, climb.first(model))
        matrix = climb.matrix(whole)
        parts = []
        for fold, part in enumerate(climb.without(model, folds, whole)):
            out = folds == fold
            parts.append(climb.matrix(part))
            heights[out] = climb.heights(part)[out]
            held[out] = (
                np.linalg.norm(climb.offsets(part) - matches.offset_px, axis=1)[out]
                * matches.level_px
            )
    except (ValueError, np.linalg.LinAlgError):
        return None
    moved = np.array([corner_errors(part, matrix, *size) for part in parts])
    spread = np.sqrt(shared * (FOLDS - 1) / FOLDS * np.sum(moved**2, axis=0))
    return Judged(model, matrix, matrix, model, held, heights, float(spread.max()))


def climb(model: Model, matches: Matches, start: Matrix) -> Matrix | None:
    """Return the best map of a model near a first one; None if the parts do not determine it."""
    try:
        climber = Climb(matches, start)
        return climber.matrix(climber.climb(model, climber.first(model)))
    except (ValueError, np.linalg.LinAlgError):
        return None


def choose(
    matches: Matches,
    start: Matrix,
    *,
    size: tuple[int, int],
    models: tuple[Model, ...],
    shared: float,
    most_spread_px: float,
) -> Judged | None:
    """Fit the models from the simplest on, and lean on a richer one as far as it can be trusted.

    A rich model is right on average and scatters, a simple one is steady and may be wrong: a
    camera that stood askew by half a percent moves a corner by more than a px, and no single part
    proves it. So none is chosen. The map moves from the simpler towards the richer one by the
    product of 1 - SHRINK s² / d² and 1 - s² / m², each at least 0, with d the distance of the two
    maps at the corners (root mean square), s the spread of the richer one and m the most that is
    borne: nothing if they part no more than chance would have it, nearly all the way if they part
    clearly and the richer one is steady, and all the way if they part beyond doubt, as where a
    wall is seen from the side. After the estimator of James and Stein (1961, in its
    positive part; from memory). What gains nothing on held-out parts has no share.

    Args:
        models: From the simplest to the richest.
        shared: How many times the same px are seen by neighbouring parts, 1 or more; widens the
            spread.
        most_spread_px: Spread from which on a richer model has no share, px of the reference.
    """
    chosen: Judged | None = None
    for model in models:
        judged = judge(model, matches, start, size=size, shared=shared)
        if judged is None:
            continue
        share = 0.0 if chosen is None else _trust(chosen, judged, size, most_spread_px)
        chosen = judged if chosen is None else _leant(chosen, judged, size, share)
    return chosen


def _trust(simple: Judged, rich: Judged, size: tuple[int, int], most_spread_px: float) -> float:
    """How far a richer map is to be trusted against a simpler one, 0 to 1."""
    apart2 = float(np.mean(corner_errors(simple.matrix, rich.matrix, *size) ** 2))
    gain = float((rich.held_out_height - simple.held_out_height).mean())
    if not np.isfinite(apart2 + rich.spread_px) or apart2 == 0 or gain <= 0:
        return 0.0
    if apart2 >= (BEYOND_DOUBT * rich.spread_px) ** 2:
        return 1.0
    by_place = 1 - SHRINK * rich.spread_px**2 / apart2
    by_spread = 1 - (rich.spread_px / most_spread_px) ** 2
    return max(0.0, by_place) * max(0.0, by_spread)


def _leant(simple: Judged, rich: Judged, size: tuple[int, int], share: float) -> Judged:
    """Move a simpler map towards a richer one by a share of the way."""
    apart2 = float(np.mean(corner_errors(simple.matrix, rich.matrix, *size) ** 2))
    if not np.isfinite(apart2 + rich.spread_px):
        return simple
    # as far as the map stays simple it may be wrong by what parts them, yet not by more than s
    spread2 = rich.spread_px**2
    kept2 = min(spread2, simple.spread_px**2 + apart2)
    spread = float(np.sqrt(share * spread2 + (1 - share) * kept2))
    if share == 0:
        return replace(simple, spread_px=spread)
    leader = rich if share >= 0.5 else simple
    return Judged(
        model=rich.model if share >= NEEDED_SHARE else simple.model,
        matrix=_between(simple.matrix, rich.matrix, share, size),
        reached=rich.matrix,
        climbed=rich.model,
        held_out_px=leader.held_out_px,
        held_out_height=leader.held_out_height,
        spread_px=spread,
    )


def _between(one: Matrix, other: Matrix, share: float, size: tuple[int, int]) -> Matrix:
    """Return the map whose corners lie between those of two maps.

    >>> from .matrices import similarity
    >>> at = _between(np.eye(3), similarity(shift=(4.0, 0.0)), 0.25, (90, 60))
    >>> float(at[0, 2].round(6))
    1.0
    """
    at = corners(*size)
    first, second = apply(one, at), apply(other, at)
    try:
        return fit(Model.HOMOGRAPHY, at, first + share * (second - first))
    except (ValueError, np.linalg.LinAlgError):
        return one
