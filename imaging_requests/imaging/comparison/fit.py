"""How well a matrix really lays one picture over the other: parts are found again and counted."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

PARTS = 8
SIDES_PX = (512, 256, 128, 64, 32)
"""Sides of a part; powers of 2, whose transforms have their middle on a pixel."""
LEAST_RESPONSE = 0.12
FAR_PX = 3.0
LEAST_FITTED = 8
CEILING = 95.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Fit:
    """What the parts say.

    Attributes:
        residual_px: Error of the overlay by the parts that agree; None if none was found again.
        agreeing: Share of the parts with structure that lie within 3 px.
        parts: How many parts had structure.
    """

    residual_px: float | None
    agreeing: float
    parts: int


def fit_of(
    before: NDArray[Any], laid: NDArray[Any], inside: NDArray[np.bool_], *, parts: int = PARTS
) -> Fit:
    """Measure the residual of a picture laid over another.

    The pictures are cut into ``parts`` × ``parts``; each part with structure is found again by
    phase correlation of its gradients, so brightness and contrast do not count. A matrix that is
    wrong agrees in few parts; a matrix that is nearly right shows by how much it is off.

    Args:
        before, laid: Luminance on one raster, (rows, columns).
        inside: Where both are known.

    >>> rng = np.random.default_rng(1)
    >>> one = cv2.GaussianBlur(rng.random((256, 256), np.float32), (0, 0), 2)
    >>> found = fit_of(one, one, np.ones((256, 256), bool))
    >>> found.residual_px < 0.02, found.agreeing
    (True, 1.0)
    """
    one, other = _gradients(before), _gradients(laid)
    rows, columns = before.shape
    side = next((size for size in SIDES_PX if size * parts <= min(rows, columns)), SIDES_PX[-1])
    shifts: list[tuple[float, float]] = []
    middles: list[tuple[float, float]] = []
    asked = 0
    window = cv2.createHanningWindow((side, side), cv2.CV_32F)
    for y in _starts(rows, side, parts):
        for x in _starts(columns, side, parts):
            place = np.s_[y : y + side, x : x + side]
            if not inside[place].all():
                continue
            a, b = one[place], other[place]
            if min(float(a.std()), float(b.std())) <= 1e-6:
                continue
            asked += 1
            (dx, dy), response = cv2.phaseCorrelate(a, b, window)
            if response >= LEAST_RESPONSE and np.hypot(dx, dy) <= FAR_PX:
                shifts.append((dx, dy))
                middles.append((x + side / 2, y + side / 2))
    if not shifts:
        return Fit(residual_px=None, agreeing=0.0, parts=asked)
    return Fit(
        residual_px=_residual(np.array(shifts), np.array(middles)),
        agreeing=len(shifts) / asked,
        parts=asked,
    )


def _residual(shifts: NDArray[np.float64], middles: NDArray[np.float64]) -> float:
    """What the shifts have in common, and half of what a typical part departs from it.

    An error of the matrix moves neighbouring parts alike, so an affine field is fitted, twice, the
    second time without the parts that stray most. What is left is mostly the noise of finding a
    single part again, but a local warp hides in it as well.
    """
    if len(shifts) < LEAST_FITTED:
        return float(np.sqrt((shifts**2).sum(axis=1).mean()))
    scale = max(float(np.abs(middles - middles.mean(axis=0)).max()), 1.0)
    design = np.column_stack([(middles - middles.mean(axis=0)) / scale, np.ones(len(middles))])
    kept = np.ones(len(shifts), bool)
    for _ in range(2):
        field, *_ = np.linalg.lstsq(design[kept], shifts[kept], rcond=None)
        rest = np.hypot(*(shifts - design @ field).T)
        kept = rest <= 3 * np.median(rest) + 1e-9
    common = np.hypot(*(design @ field).T)
    return float(np.hypot(np.sqrt((common**2).mean()), 0.5 * np.median(rest)))


def _starts(extent: int, side: int, parts: int) -> list[int]:
    """Where parts begin along one axis, evenly spread; none if the picture is too small."""
    if extent < side:
        return []
    return sorted({round(start) for start in np.linspace(0, extent - side, parts)})


def _gradients(values: NDArray[Any]) -> NDArray[np.float32]:
    """Strength of edges, with the strongest held down so that one edge does not decide alone."""
    light = np.sqrt(np.maximum(np.asarray(values, np.float32), 0))
    soft = cv2.GaussianBlur(light, (0, 0), 1.0)
    strength = np.hypot(cv2.Sobel(soft, cv2.CV_32F, 1, 0), cv2.Sobel(soft, cv2.CV_32F, 0, 1))
    ceiling = float(np.percentile(strength, CEILING))
    return np.asarray(np.minimum(strength, ceiling) if ceiling > 0 else strength, np.float32)
