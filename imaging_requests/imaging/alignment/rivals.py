"""Could the picture lie elsewhere nearly as well? A brocade agrees with itself at every repeat.

Every part may agree with a map and the map still be wrong by whole repeats of a pattern. So the
moving picture, laid by the map, is correlated with the reference at every other shift. Where
another place comes near, the parts decide one by one: what is not repeated agrees at the right
place and disagrees at the wrong one, and the difference is compared with its scatter.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from .blocks import BLOCK_PX, CELLS, Matcher, Matches, Part
from .limits import Limits
from .matrices import Matrix, Weights, apply, corners, inverse, normalise, similarity
from .pictures import Picture
from .starts import Plane

#: Longer side at which all shifts are looked at: a repeat of a fiftieth of the picture is seen.
PLANE_PX = 300
#: Shifts nearer than this are the same place, px of the plane or of the level.
SAME_PX = 4
#: The parts are asked about so many other places, the best first.
MOST_RIVALS = 4
NEAR_PX = 3


@dataclass(frozen=True, eq=False)
class Rival:
    """Another place for the moving picture.

    Attributes:
        matrix: Moving px to reference px.
        away_px: How far it lies from the map in question, px of the reference.
        lead: How much better the parts lie by the map than by the rival, in standard errors;
            negative if the rival is better.
    """

    matrix: Matrix
    away_px: float
    lead: float


def strongest_rival(
    reference: Picture,
    moving: Picture,
    parts: list[Part],
    matrix: Matrix,
    wide: Matches,
    *,
    level: int,
    limits: Limits,
) -> Rival | None:
    """Return the other place that comes nearest to a map, or None if none comes near.

    Args:
        wide: The parts by this map, looked for in a wide search at `level`.
    """
    found = []
    shifts = _short_shifts(wide, limits) + _far_shifts(reference, moving, matrix, limits)
    for x_px, y_px in shifts:
        there = normalise(similarity(shift=(x_px, y_px)) @ matrix)
        lead = _lead(reference, moving, parts, (matrix, there), level)
        if lead is not None:
            found.append(Rival(there, float(np.hypot(x_px, y_px)), lead))
    return min(found, key=lambda rival: rival.lead, default=None)


def _short_shifts(wide: Matches, limits: Limits) -> list[tuple[float, float]]:
    """Other places within the wide search of the parts, px of the reference."""
    if len(wide) == 0:
        return []
    mean = wide.surfaces.mean(axis=0, dtype=np.float64)
    middle = mean.shape[0] // 2
    here = float(mean[middle - 1 : middle + 2, middle - 1 : middle + 2].max())
    places = _peaks(mean, (middle, middle), least=limits.rival_share * here)
    return [((x - middle) * wide.level_px, (y - middle) * wide.level_px) for y, x in places]


def _far_shifts(
    reference: Picture, moving: Picture, matrix: Matrix, limits: Limits
) -> list[tuple[float, float]]:
    """Other places anywhere, px of the reference."""
    to_small = reference.reduced(PLANE_PX)[1]
    small, to_small_moving = moving.reduced(PLANE_PX)
    there = to_small @ matrix @ inverse(to_small_moving)
    box = apply(there, corners(small.shape[1], small.shape[0]))
    # what lies further off than the reference is long can meet it nowhere
    low = np.maximum(np.floor(box.min(axis=0)), -PLANE_PX)
    size = (np.minimum(np.ceil(box.max(axis=0)), 2 * PLANE_PX) - low).astype(int) + 1
    if size.min() < SAME_PX:
        return []
    plane = Plane(reference, PLANE_PX, room_px=int(size.max()))
    laid = similarity(shift=(float(-low[0]), float(-low[1]))) @ there
    shape = (int(size[0]), int(size[1]))
    values = cv2.warpPerspective(small, laid, shape, borderMode=cv2.BORDER_REPLICATE)
    inside = cv2.warpPerspective(np.ones_like(small), laid, shape)
    inside = cv2.erode((inside > 0.99).astype(np.float32), np.ones((5, 5), np.uint8), borderValue=0)
    if float(inside.sum()) < 100:
        return []
    score = plane.surface(np.asarray(values, np.float32), np.asarray(inside, np.float32))
    side = plane.side
    score = np.roll(score, (side // 2, side // 2), axis=(0, 1))
    middle = (side // 2 + int(low[1]), side // 2 + int(low[0]))
    near = score[middle[0] - 1 : middle[0] + 2, middle[1] - 1 : middle[1] + 2]
    if near.size == 0:
        return []
    places = _peaks(score, middle, least=limits.rival_share * float(near.max()))
    factor = 1 / float(plane.to_small[0, 0])
    return [((x - middle[1]) * factor, (y - middle[0]) * factor) for y, x in places]


def _peaks(
    surface: NDArray[np.float64], middle: tuple[int, int], *, least: float
) -> list[tuple[int, int]]:
    """Highest places (row, column) away from the middle, each the highest around itself.

    >>> surface = np.zeros((21, 21))
    >>> surface[10, 10], surface[10, 18], surface[10, 12] = 1.0, 0.9, 0.95
    >>> _peaks(surface, (10, 10), least=0.5)
    [(10, 18)]
    """
    around = cv2.dilate(surface, np.ones((2 * SAME_PX - 1, 2 * SAME_PX - 1), np.uint8))
    is_peak = (surface >= around) & (surface >= max(least, 1e-6))
    rows, columns = np.nonzero(is_peak)
    away = np.hypot(rows - middle[0], columns - middle[1]) >= SAME_PX
    found = sorted(zip(-surface[rows, columns][away], rows[away], columns[away], strict=True))
    return [(int(row), int(column)) for _, row, column in found[:MOST_RIVALS]]


def _lead(
    reference: Picture,
    moving: Picture,
    parts: list[Part],
    maps: tuple[Matrix, Matrix],
    level: int,
) -> float | None:
    """By how many standard errors parts lie better by the first map than by the second."""
    heights: list[dict[tuple[int, int], float]] = []
    spacing = float(BLOCK_PX)
    for matrix in maps:
        matcher = Matcher(reference, moving, parts, level=level, search_px=NEAR_PX)
        matches = matcher.match(matrix)
        if len(matches) == 0:
            return None
        spacing = max(reference.width_px, reference.height_px) / matches.level_px / CELLS
        heights.append(
            dict(zip(map(_cell, matches.cell.tolist()), _heights(matches).tolist(), strict=True))
        )
    here, there = heights
    both = sorted(here.keys() & there.keys())
    gains = np.array([here[cell] - there[cell] for cell in both])
    shared = max(1.0, BLOCK_PX / spacing) ** 2
    return None if len(gains) < 2 else standard_errors(gains, shared)


def _cell(pair: list[int]) -> tuple[int, int]:
    return pair[0], pair[1]


def _heights(matches: Matches) -> Weights:
    """Correlation of each part at the small shift that suits them best together."""
    mean = matches.surfaces.mean(axis=0)
    row, column = np.unravel_index(int(np.argmax(mean)), mean.shape)
    return np.asarray(matches.surfaces[:, row, column], np.float64)


def standard_errors(values: Weights, shared: float) -> float:
    """Return a mean over its standard error; values that share px count once.

    >>> round(standard_errors(np.array([1.0, 2.0, 3.0]), 1.0), 3)
    3.464
    """
    count = max(2.0, len(values) / shared)
    scatter = float(values.std(ddof=1) / np.sqrt(count))
    return float(values.mean()) / max(scatter, 1e-9)
