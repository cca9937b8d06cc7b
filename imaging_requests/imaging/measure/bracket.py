"""Brackets: are all exposures there, in the right steps, and did nothing move between them?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from imaging_requests.imaging.measure.sampling import as_light, luminance

LEAST_LIGHT = 0.004
MOST_LIGHT = 0.92
LEAST_SHARE = 0.01
LEAST_RESPONSE = 0.03
REFINEMENTS = 12
MOST_REFINEMENT_PX = 2.5
SURE_PX = 11
"""What is this near to a place that cannot be read does not count in the fine search, px."""
LEAST_SURE = 0.02


@dataclass(frozen=True, slots=True)
class Shift:
    """How far the second picture lies from the first, px; ``response``: 0 to 1, how clear it is."""

    x_px: float
    y_px: float
    response: float

    @property
    def length_px(self) -> float:
        """Length of the shift."""
        return float(np.hypot(self.x_px, self.y_px))


def step_ev(darker: NDArray[Any], lighter: NDArray[Any]) -> float | None:
    """Difference in exposure of two frames of the same thing, in stops.

    Median of log2(lighter / darker) over pixels that are neither dark nor full in both.

    Args:
        darker, lighter: Linear light 0 to 1, same shape; not modified.

    Returns:
        EV (negative if they are the other way round), or None if too few pixels can be compared.

    >>> base = np.linspace(0.02, 0.4, 100).reshape(10, 10)
    >>> round(step_ev(base, 2 * base), 3)
    1.0
    """
    one, other = as_light(darker), as_light(lighter)
    if one is None or other is None or one.shape != other.shape:
        return None
    usable = (one > LEAST_LIGHT) & (other > LEAST_LIGHT) & (one < MOST_LIGHT) & (other < MOST_LIGHT)
    if usable.sum() < max(16, LEAST_SHARE * usable.size):
        return None
    ratio = np.log2(other[usable].astype(np.float64) / one[usable])
    return float(np.median(ratio))


def missing_exposures(
    wanted_ev: Sequence[float], found_ev: Sequence[float], *, tolerance_ev: float
) -> list[float]:
    """Exposures of a bracket that no frame fits; each frame serves once.

    >>> missing_exposures([-1, 0, 1], [-0.05, -1.02], tolerance_ev=0.15)
    [1]
    """
    left = sorted(found_ev)
    missing = []
    for ev in sorted(wanted_ev):
        near = [found for found in left if abs(found - ev) <= tolerance_ev]
        if near:
            left.remove(min(near, key=lambda found: abs(found - ev)))
        else:
            missing.append(ev)
    return missing


def shift_between(one: NDArray[Any], other: NDArray[Any]) -> Shift | None:
    """Shift between two frames of a bracket, whatever their exposure.

    Both are compared by the gradient of the logarithm of light, which a change of exposure leaves
    as it is; phase correlation gives the shift to a few hundredths of a pixel.

    Returns:
        The shift, or None if sizes differ or the pictures have nothing in common.
    """
    first, second = as_light(one), as_light(other)
    if first is None or second is None or first.shape != second.shape:
        return None
    if min(first.shape[:2]) < 32:
        return None
    grey = luminance(first), luminance(second)
    readable = np.logical_and.reduce([(one > LEAST_LIGHT) & (one < MOST_LIGHT) for one in grey])
    inner = cv2.erode(readable.astype(np.uint8), np.ones((5, 5)))
    edges = [_edges(one) for one in grey]
    seen = [strength * inner for strength in edges]
    if seen[0].std() < 1e-9 or seen[1].std() < 1e-9:
        return None
    x, y, response = _correlate(seen[0], seen[1])
    if response < LEAST_RESPONSE:
        return None
    sure = cv2.erode(readable.astype(np.uint8), np.ones((SURE_PX, SURE_PX)))
    x, y = _refined(edges[0], edges[1], sure.astype(np.float32), x, y)
    return Shift(x, y, response)


def _refined(
    one: NDArray[np.float64],
    other: NDArray[np.float64],
    weights: NDArray[np.float32],
    x: float,
    y: float,
) -> tuple[float, float]:
    """Shift by least squares from a first guess (Lucas and Kanade, 1981), to hundredths of a px.

    Phase correlation alone is some tenths off where a picture has little fine detail. Only places
    well inside what can be read in both frames count: the rim of what can be read lies still.
    """
    rim = min(one.shape) // 8
    inner = (slice(rim, -rim), slice(rim, -rim))
    weight = weights[inner].ravel()
    if weight.sum() < LEAST_SURE * weight.size:
        weight = np.ones_like(weight)
    first, second = (
        part.astype(np.float32) / max(float(part[inner].ravel()[weight > 0].std()), 1e-9)
        for part in (one, other)
    )
    across = cv2.Sobel(first, cv2.CV_32F, 1, 0, scale=1 / 8)
    down = cv2.Sobel(first, cv2.CV_32F, 0, 1, scale=1 / 8)
    slopes = np.stack([across[inner].ravel(), down[inner].ravel()])
    weighted = slopes * weight
    normal = weighted @ slopes.T
    if np.linalg.cond(normal) > 1e6:
        return x, y
    guess = np.array([x, y])
    for _ in range(REFINEMENTS):
        move = np.array([[1, 0, guess[0]], [0, 1, guess[1]]])
        flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
        back = cv2.warpAffine(second, move, first.shape[1::-1], flags=flags)
        step = np.linalg.solve(normal, weighted @ (first - back)[inner].ravel())
        guess = guess + step
        if float(np.hypot(*step)) < 0.005:
            break
    if float(np.hypot(*(guess - (x, y)))) > MOST_REFINEMENT_PX:
        return x, y
    return float(guess[0]), float(guess[1])


def _correlate(one: NDArray[np.float64], other: NDArray[np.float64]) -> tuple[float, float, float]:
    """Shift by phase correlation, and how clear it is."""
    window = cv2.createHanningWindow(one.shape[1::-1], cv2.CV_64F)
    (x, y), response = cv2.phaseCorrelate(one.copy(), other.copy(), window)
    return float(x), float(y), float(response)


def _edges(grey: NDArray[Any]) -> NDArray[np.float64]:
    """Strength of edges of log light."""
    toned = np.log2(np.clip(grey, LEAST_LIGHT, MOST_LIGHT)).astype(np.float32)
    toned = cv2.GaussianBlur(toned, (0, 0), 0.8)
    strength = np.hypot(cv2.Sobel(toned, cv2.CV_32F, 1, 0), cv2.Sobel(toned, cv2.CV_32F, 0, 1))
    return np.asarray(strength, np.float64)
