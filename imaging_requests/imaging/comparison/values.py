"""From two pictures of light to the value of change at every place, and how far edges blur it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from imaging_requests.imaging.measure.delta_e import delta_e_2000, xyz_to_lab

Floats = NDArray[np.float32]
ROWS_AT_ONCE = 256


@dataclass(frozen=True, slots=True, eq=False)
class Change:
    """Change between two pictures on one raster.

    Attributes:
        size: How much, from 0: ΔE00 of colour, or percent of the light; NaN where nothing is known.
        signed: Change of L* of colour, or the percent with its sign (+ for brighter).
        at_edges: What ``size`` would be from the residual alone, in the same unit.
        unit: "ΔE00" or "%".
    """

    size: Floats
    signed: Floats
    at_edges: Floats
    unit: str


def blurred(light: NDArray[Any], sigma_px: float) -> Floats:
    """Both pictures are blurred alike, so that neither is sharper by its focus.

    >>> blurred(np.ones((9, 9), np.float32), 1.0).round(3).min().item()
    1.0
    """
    values = np.asarray(light, np.float32)
    return np.asarray(
        cv2.GaussianBlur(values, (0, 0), sigma_px, borderType=cv2.BORDER_REPLICATE), np.float32
    )


def colour_change(before: Floats, after: Floats, *, residual_px: float) -> Change:
    """ΔE00 between two pictures of XYZ (D50, Y of white 1), (rows, columns, 3).

    ``at_edges`` is the ΔE00 that a shift by ``residual_px`` along x and along y would make (root of
    the sum of squares), on the mean of both.

    >>> grey = np.full((4, 4, 3), 0.2, np.float32) * np.array([0.9642, 1, 0.8249], np.float32)
    >>> colour_change(grey, grey, residual_px=0.5).size.max().item()
    0.0
    """
    size = np.empty(before.shape[:2], np.float32)
    signed, edges = np.empty_like(size), np.empty_like(size)
    rows = before.shape[0]
    for first in range(0, rows, ROWS_AT_ONCE):
        last = min(rows, first + ROWS_AT_ONCE)
        low, high = max(0, first - 1), min(rows, last + 1)
        one, other = xyz_to_lab(before[low:high]), xyz_to_lab(after[low:high])
        inner = slice(first - low, last - low)
        size[first:last] = delta_e_2000(one[inner], other[inner])
        signed[first:last] = (other - one)[inner, :, 0]
        mean = (one + other) / 2
        edges[first:last] = np.hypot(
            *(
                delta_e_2000(mean[inner], (mean + residual_px * slope)[inner])
                for slope in _slopes(mean)
            )
        )
    return Change(size=size, signed=signed, at_edges=edges, unit="ΔE00")


def ratio_change(before: Floats, after: Floats, *, residual_px: float, dark_level: float) -> Change:
    """Percent of light gained or lost between two pictures of light, (rows, columns).

    ``size = 100·(2^|log2(after/before)| − 1)``: a doubling and a halving are equally far from no
    change. Where both are darker than ``dark_level`` nothing is known.

    >>> one, twice = np.full((3, 3), 0.2, np.float32), np.full((3, 3), 0.4, np.float32)
    >>> found = ratio_change(one, twice, residual_px=0.5, dark_level=0.01)
    >>> found.size[1, 1].item(), found.signed[1, 1].item()
    (100.0, 100.0)
    >>> ratio_change(twice, one, residual_px=0.5, dark_level=0.01).signed[1, 1].item()
    -100.0
    """
    one = np.log2(np.maximum(before, dark_level))
    other = np.log2(np.maximum(after, dark_level))
    stops = other - one
    known = np.maximum(before, after) > dark_level
    size = np.where(known, _percent(np.abs(stops)), np.nan).astype(np.float32)
    slopes = _slopes(((one + other) / 2)[..., None])
    edges = residual_px * np.hypot(*(slope[..., 0] for slope in slopes))
    return Change(
        size=size,
        signed=(np.sign(stops) * size).astype(np.float32),
        at_edges=_percent(edges).astype(np.float32),
        unit="%",
    )


def _percent(stops: NDArray[Any]) -> NDArray[Any]:
    return np.asarray(100 * (np.exp2(stops) - 1))


def _slopes(values: NDArray[Any]) -> tuple[NDArray[Any], NDArray[Any]]:
    """Change per pixel along x and along y; the last axis is kept."""
    along_x = np.zeros_like(values)
    along_y = np.zeros_like(values)
    if values.shape[1] > 1:
        along_x = np.gradient(values, axis=1)
    if values.shape[0] > 1:
        along_y = np.gradient(values, axis=0)
    return along_x, along_y
