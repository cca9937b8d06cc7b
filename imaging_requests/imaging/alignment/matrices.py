"""Maps of the plane as 3 x 3 matrices: apply, compose, fit, compare.

Points are (n, 2) arrays of (x, y) in px, x to the right, y down, (0, 0) the centre of the top left
pixel. A matrix maps (x, y, 1); the result is divided by its third component.

>>> import numpy as np
>>> turn = similarity(scale=2.0, rotation_deg=90.0, shift=(1.0, 0.0))
>>> apply(turn, np.array([[3.0, 0.0]])).round(6).tolist()
[[1.0, 6.0]]
"""

from __future__ import annotations

from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

Matrix = NDArray[np.float64]
Points = NDArray[np.float64]
Weights = NDArray[np.float64]

GAUSS_NEWTON_STEPS = 4


class Model(StrEnum):
    """How one picture may differ from the other, from the simplest to the richest."""

    SIMILARITY = "similarity"
    AFFINE = "affine"
    HOMOGRAPHY = "homography"

    @property
    def parameters(self) -> int:
        """How many numbers the model has."""
        return {"similarity": 4, "affine": 6, "homography": 8}[self.value]

    @property
    def least_points(self) -> int:
        """How many pairs of points determine it."""
        return self.parameters // 2


def similarity(
    *, scale: float = 1.0, rotation_deg: float = 0.0, shift: tuple[float, float] = (0.0, 0.0)
) -> Matrix:
    """Return the matrix that enlarges, turns (positive: x towards y) and then shifts by px."""
    angle = np.deg2rad(rotation_deg)
    cos, sin = scale * np.cos(angle), scale * np.sin(angle)
    return np.array([[cos, -sin, shift[0]], [sin, cos, shift[1]], [0.0, 0.0, 1.0]])


def scaling(factor_x: float, factor_y: float | None = None) -> Matrix:
    """Return the matrix from px of a picture to px of the same picture resized by the factors.

    The corners of the picture's area keep to each other, not the centres of the first pixels:
    x' = (x + 0.5) f - 0.5.

    >>> apply(scaling(0.5), np.array([[0.5, 0.5]])).tolist()
    [[0.0, 0.0]]
    """
    fx, fy = factor_x, factor_x if factor_y is None else factor_y
    return np.array([[fx, 0.0, 0.5 * fx - 0.5], [0.0, fy, 0.5 * fy - 0.5], [0.0, 0.0, 1.0]])


def apply(matrix: Matrix, points: Points) -> Points:
    """Map points, (n, 2) px."""
    mapped = points @ matrix[:, :2].T + matrix[:, 2]
    third = mapped[:, 2:]
    near = np.abs(third) < 1e-12
    return np.asarray(mapped[:, :2] / np.where(near, 1e-12, third), np.float64)


def corners(width_px: float, height_px: float) -> Points:
    """Return the centres of the four corner pixels: top left, top right, bottom right and left."""
    right, bottom = width_px - 1.0, height_px - 1.0
    return np.array([[0.0, 0.0], [right, 0.0], [right, bottom], [0.0, bottom]])


def corner_errors(one: Matrix, other: Matrix, width_px: float, height_px: float) -> Weights:
    """Return how far the two maps carry each corner of a picture apart, px of the target."""
    at = corners(width_px, height_px)
    return np.asarray(np.linalg.norm(apply(one, at) - apply(other, at), axis=1), np.float64)


def inverse(matrix: Matrix) -> Matrix:
    """Return the map back; raises `numpy.linalg.LinAlgError` if there is none."""
    return np.asarray(np.linalg.inv(matrix), np.float64)


def normalise(matrix: Matrix) -> Matrix:
    """Scale a matrix so that its last element is 1."""
    return np.asarray(matrix / matrix[2, 2], np.float64)


def fit(model: Model, source: Points, target: Points, weights: Weights | None = None) -> Matrix:
    """Fit the map from source to target points by weighted least squares.

    Similarity and affine maps are linear; the homography starts from the direct linear transform
    with normalised points (Hartley 1997) and is refined by Gauss-Newton steps on the distances
    in the target.

    Args:
        source, target: (n, 2) px, row by row the same point.
        weights: (n,) not negative; None for equal weights.

    Raises:
        ValueError: Too few points, or points that do not determine the map.
    """
    used = np.ones(len(source)) if weights is None else np.asarray(weights, np.float64)
    if int(np.count_nonzero(used)) < model.least_points:
        raise ValueError(f"A {model} map needs at least {model.least_points} pairs of points.")
    to_source, to_target = centring(source, used), centring(target, used)
    a, b = apply(to_source, source), apply(to_target, target)
    root = np.sqrt(used)
    if model is Model.SIMILARITY:
        inner = _fit_similarity(a, b, root)
    elif model is Model.AFFINE:
        inner = _fit_affine(a, b, root)
    else:
        inner = _fit_homography(a, b, root)
    fitted = inverse(to_target) @ inner @ to_source
    if not np.all(np.isfinite(fitted)) or abs(fitted[2, 2]) < 1e-12:
        raise ValueError("These points do not determine the map.")
    return normalise(fitted)


def centring(points: Points, weights: Weights | None = None) -> Matrix:
    """Return the map that brings points to mean 0 and mean distance root of two."""
    centre = np.average(points, axis=0, weights=weights)
    spread = float(np.average(np.linalg.norm(points - centre, axis=1), weights=weights))
    factor = np.sqrt(2.0) / max(spread, 1e-9)
    return np.array(
        [[factor, 0.0, -factor * centre[0]], [0.0, factor, -factor * centre[1]], [0.0, 0.0, 1.0]]
    )


def _solve(left: NDArray[np.float64], right: NDArray[np.float64]) -> NDArray[np.float64]:
    solution, _, rank, _ = np.linalg.lstsq(left, right, rcond=1e-10)
    if rank < left.shape[1]:
        raise ValueError("These points do not determine the map.")
    return np.asarray(solution, np.float64)


def _fit_similarity(a: Points, b: Points, root: Weights) -> Matrix:
    ones, zeros = np.ones(len(a)), np.zeros(len(a))
    rows = np.stack(
        (
            np.stack((a[:, 0], -a[:, 1], ones, zeros), axis=1),
            np.stack((a[:, 1], a[:, 0], zeros, ones), axis=1),
        ),
        axis=1,
    ).reshape(-1, 4)
    twice = np.repeat(root, 2)
    c, s, x, y = _solve(rows * twice[:, None], b.ravel() * twice)
    return np.array([[c, -s, x], [s, c, y], [0.0, 0.0, 1.0]])


def _fit_affine(a: Points, b: Points, root: Weights) -> Matrix:
    rows = np.column_stack((a, np.ones(len(a)))) * root[:, None]
    solution = _solve(rows, b * root[:, None])
    return np.vstack((solution.T, [0.0, 0.0, 1.0]))


def jacobian(matrix: Matrix, points: Points) -> NDArray[np.float64]:
    """Derivatives of mapped points by the first eight elements of a matrix, (2 n, 8)."""
    x, y = points[:, 0], points[:, 1]
    third = matrix[2, 0] * x + matrix[2, 1] * y + matrix[2, 2]
    mapped = apply(matrix, points)
    ones, zeros = np.ones(len(points)), np.zeros(len(points))
    rows_x = (x, y, ones, zeros, zeros, zeros, -mapped[:, 0] * x, -mapped[:, 0] * y)
    rows_y = (zeros, zeros, zeros, x, y, ones, -mapped[:, 1] * x, -mapped[:, 1] * y)
    both = np.stack((np.stack(rows_x, axis=1), np.stack(rows_y, axis=1)), axis=1)
    return np.asarray((both / third[:, None, None]).reshape(-1, 8), np.float64)


def _fit_homography(a: Points, b: Points, root: Weights) -> Matrix:
    x, y = a[:, 0], a[:, 1]
    ones, zeros = np.ones(len(a)), np.zeros(len(a))
    rows_x = (x, y, ones, zeros, zeros, zeros, -b[:, 0] * x, -b[:, 0] * y)
    rows_y = (zeros, zeros, zeros, x, y, ones, -b[:, 1] * x, -b[:, 1] * y)
    rows = np.stack((np.stack(rows_x, axis=1), np.stack(rows_y, axis=1)), axis=1).reshape(-1, 8)
    twice = np.repeat(root, 2)
    solution = _solve(rows * twice[:, None], b.ravel() * twice)
    found = np.append(solution, 1.0).reshape(3, 3)
    for _ in range(GAUSS_NEWTON_STEPS):
        step = _solve(jacobian(found, a) * twice[:, None], (b - apply(found, a)).ravel() * twice)
        found = found + np.append(step, 0.0).reshape(3, 3)
    return found
