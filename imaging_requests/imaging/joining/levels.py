"""Evening the exposure of tiles: one gain or one offset per tile, from all overlaps together.

Where two tiles show the same, their levels should agree. For the model "gain" the logarithms of the
ratios are solved for all tiles at once by least squares, for "offset" the differences; the model
that leaves less is taken (a detector scales, a film scan in density shifts). The mean gain is 1
and the mean offset 0, so nothing gets brighter than it was on the whole; and if a corrected tile
would be clipped, all are lowered together. Nothing within a tile is changed, so no step, spot or
slope is added or taken away.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from imaging_requests.imaging.joining.ordering import Meeting
from imaging_requests.imaging.joining.structure_map import Box
from imaging_requests.imaging.joining.words import Grey, Matrix

LEAST_SAMPLES = 50
ENDS = (0.002, 0.998)
"""Levels beyond these are taken for clipped and say nothing about the exposure."""
SIGMA_PX = 1.5
WORTH = 0.8
"""A correction is made only if it leaves less than this share of the difference."""
DARK = 0.02


@dataclass(frozen=True, slots=True)
class Seam:
    """Levels on both sides of an overlap: median step before and after, shares of the range."""

    first: int
    second: int
    samples: int
    step_before: float
    step_after: float


@dataclass(frozen=True, slots=True)
class Levels:
    """Corrected = gain · level + offset, levels from 0 to 1; ``model``: none, gain or offset."""

    model: str
    gains: dict[int, float]
    offsets: dict[int, float]
    seams: tuple[Seam, ...]
    common: float

    def worst_step(self) -> float:
        """Return the largest step that is left at a seam, share of the range."""
        return max((abs(seam.step_after) for seam in self.seams), default=0.0)


def even_levels(
    reduced: Mapping[int, Grey],
    boxes: Mapping[int, Box],
    matrices: Mapping[int, Matrix],
    meetings: Sequence[Meeting],
) -> Levels:
    """Return gains or offsets for all tiles.

    ``reduced``: grey tiles as they should lie, 0 to 1. ``boxes``: parts inside blank borders and
    ``matrices``: reduced px to a common plane.
    """
    pairs = [
        (m.first, m.second, *_samples(reduced, boxes, matrices, m.first, m.second))
        for m in meetings
        if m.first in matrices and m.second in matrices
    ]
    pairs = [pair for pair in pairs if len(pair[2]) >= LEAST_SAMPLES]
    tiles = sorted(matrices)
    choices = [
        ("none", dict.fromkeys(tiles, 1.0), dict.fromkeys(tiles, 0.0)),
        ("gain", _gains(pairs, tiles), dict.fromkeys(tiles, 0.0)),
        ("offset", dict.fromkeys(tiles, 1.0), _offsets(pairs, tiles)),
    ]
    left = [_left(pairs, gains, offsets) for _, gains, offsets in choices]
    best = int(np.argmin(left))
    if left[best] >= WORTH * left[0]:
        best = 0
    model, gains, offsets = choices[best]
    top = max(
        (gains[t] * min(float(reduced[t].max()), 1.0) + offsets[t] for t in tiles), default=1.0
    )
    common = 1 / top if top > 1 and model == "gain" else 1.0
    gains = {tile: gain * common for tile, gain in gains.items()}
    seams = tuple(
        Seam(
            a,
            b,
            len(one),
            float(np.median(one - other)),
            float(np.median(gains[a] * one + offsets[a] - gains[b] * other - offsets[b])),
        )
        for a, b, one, other in pairs
    )
    return Levels(model, gains, offsets, seams, common)


_Pair = tuple[int, int, NDArray[Any], NDArray[Any]]


def _samples(
    reduced: Mapping[int, Grey],
    boxes: Mapping[int, Box],
    matrices: Mapping[int, Matrix],
    first: int,
    second: int,
) -> tuple[NDArray[Any], NDArray[Any]]:
    """Return levels of both tiles at the same places."""
    to_second = np.linalg.inv(matrices[second]) @ matrices[first]
    box, other = boxes[first], boxes[second]
    corners = np.array(
        [[x, y, 1.0] for x in (other.left, other.right) for y in (other.top, other.bottom)]
    )
    back = corners @ np.linalg.inv(to_second).T
    left, top = (
        max(float(low), float(b))
        for low, b in zip(back[:, :2].min(0), (box.left, box.top), strict=True)
    )
    right, bottom = (
        min(float(high), float(b))
        for high, b in zip(back[:, :2].max(0), (box.right, box.bottom), strict=True)
    )
    x0, y0, x1, y1 = int(np.ceil(left)), int(np.ceil(top)), int(right), int(bottom)
    if x1 - x0 < 2 or y1 - y0 < 2:
        return np.zeros(0), np.zeros(0)
    move = to_second[:2].copy()
    move[:, 2] += to_second[:2, :2] @ (x0, y0)
    size = (x1 - x0 + 1, y1 - y0 + 1)
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    part = reduced[second][other.top : other.bottom + 1, other.left : other.right + 1]
    move[:, 2] -= (other.left, other.top)
    seen = cv2.warpAffine(_smooth(part), move, size, flags=flags)
    inside = cv2.warpAffine(np.ones_like(part), move, size, flags=flags) > 0.999
    mine = _smooth(reduced[first])[y0 : y1 + 1, x0 : x1 + 1]
    inside &= (mine > ENDS[0]) & (mine < ENDS[1]) & (seen > ENDS[0]) & (seen < ENDS[1])
    return mine[inside].astype(np.float64), seen[inside].astype(np.float64)


def _smooth(image: Grey) -> Grey:
    smooth: Grey = cv2.GaussianBlur(np.ascontiguousarray(image), (0, 0), SIGMA_PX)
    return smooth


def _gains(pairs: Sequence[_Pair], tiles: Sequence[int]) -> dict[int, float]:
    rows = []
    for a, b, one, other in pairs:
        bright = (one > DARK) & (other > DARK)
        if bright.sum() >= LEAST_SAMPLES:
            ratio = float(np.median(np.log(one[bright] / other[bright])))
            rows.append((a, b, ratio, len(one)))
    return {tile: float(np.exp(-value)) for tile, value in _even(rows, tiles).items()}


def _offsets(pairs: Sequence[_Pair], tiles: Sequence[int]) -> dict[int, float]:
    rows = [(a, b, float(np.median(one - other)), len(one)) for a, b, one, other in pairs]
    return {tile: -value for tile, value in _even(rows, tiles).items()}


def _even(rows: Sequence[tuple[int, int, float, int]], tiles: Sequence[int]) -> dict[int, float]:
    """Solve value(a) − value(b) = difference for all tiles, with mean 0.

    >>> solved = _even([(0, 1, 0.2, 100), (1, 2, 0.1, 100)], [0, 1, 2])
    >>> [round(solved[tile], 4) for tile in (0, 1, 2)]
    [0.1667, -0.0333, -0.1333]
    """
    at = {tile: number for number, tile in enumerate(tiles)}
    count = len(tiles)
    normal, right = np.ones((count, count)) + 1e-9 * np.eye(count), np.zeros(count)
    for a, b, difference, samples in rows:
        weight, i, j = float(np.sqrt(samples)), at[a], at[b]
        normal[i, i] += weight
        normal[j, j] += weight
        normal[i, j] -= weight
        normal[j, i] -= weight
        right[i] += weight * difference
        right[j] -= weight * difference
    solved = np.linalg.solve(normal, right)
    return {tile: float(solved[at[tile]]) for tile in tiles}


def _left(
    pairs: Sequence[_Pair], gains: Mapping[int, float], offsets: Mapping[int, float]
) -> float:
    """Return the median difference that is left, averaged over the overlaps."""
    rests = [
        float(np.median(np.abs(gains[a] * one + offsets[a] - gains[b] * other - offsets[b])))
        for a, b, one, other in pairs
    ]
    return float(np.mean(rests)) if rests else 0.0
