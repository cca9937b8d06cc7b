"""X-ray plates: polarity from the lead marker, noise, dead lines, and the inverted derivative.

On film and in its look dense parts are bright; a raw detector shows them dark. The lead marker is
the densest thing on a plate: it must be the brightest or the darkest, and that tells which.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from imaging_requests.imaging.measure.finding import Place
from imaging_requests.imaging.measure.sampling import as_light, luminance, mad_sigma

MARKER_HEIGHT = (0.008, 0.09)
"""Height of a marker's figures as a share of the plate's shorter side."""
CORNER = 0.3
"""Markers lie within this share of the sides from a corner or a rim."""
END_SHARE = 0.04
"""How near to the end of the used range of levels a marker must be."""
MOST_MARKER_SHARE = 0.004
LEAST_FIGURE_PX = 6
LEAST_STANDING_OUT = 0.2
"""By how much of the used range of levels figures differ from what is around them."""
CLEARER = 1.5
"""How much more figures at one end of the range must stand out than those at the other."""
RING_PX = 6
BLOCK_PX = 32
LEAST_LINE_SHARE = 0.8
#: The ends of a line are looked at by themselves: this part of its length, and the share of it that
#: must stand out.
END_PARTS = 25
LEAST_END_SHARE = 0.4


class Polarity(StrEnum):
    """How a plate shows what holds the rays back."""

    DENSE_BRIGHT = "dense_bright"
    DENSE_DARK = "dense_dark"


@dataclass(frozen=True, slots=True)
class Marker:
    """A lead marker and the polarity it proves."""

    polarity: Polarity
    place: Place


def find_marker(values: NDArray[Any]) -> Marker | None:
    """Find the lead marker of a plate.

    Figures of a few millimetres near the rim that hold the very end of the range of levels, bright
    or dark, and nothing else of their size does.

    Args:
        values: Levels 0 to 1, (rows, columns); not modified.

    Returns:
        The marker, or None if there is none or both ends could be one alike.
    """
    field = as_light(values)
    if field is None or min(field.shape[:2]) < 40:
        return None
    grey = luminance(field)
    low, high = (float(value) for value in np.percentile(grey, (0.001, 99.999)))
    if high - low < 0.05:
        return None
    reach = END_SHARE * (high - low)
    found = []
    for polarity, extreme in (
        (Polarity.DENSE_BRIGHT, grey >= high - reach),
        (Polarity.DENSE_DARK, grey <= low + reach),
    ):
        place = _figures(extreme)
        if place is not None:
            steepness = _standing_out(grey, extreme, place) / (high - low)
            if steepness >= LEAST_STANDING_OUT:
                found.append((steepness, Marker(polarity, place)))
    found.sort(key=lambda each: -each[0])
    if not found or (len(found) > 1 and found[0][0] < CLEARER * found[1][0]):
        return None
    return found[0][1]


def signal_to_noise(values: NDArray[Any]) -> float | None:
    """Signal-to-noise ratio where the plate is of middling density and smooth.

    In blocks of 32 × 32 px with a mean between the 25th and 75th percentile of all blocks the noise
    is taken from second differences (Immerkær, Computer Vision and Image Understanding 64(2), 1996,
    300 to 302: a mask that does not see planes), by the median so that structure counts little; the
    median of mean over noise of the smoothest tenth of the blocks is the answer.

    Args:
        values: Levels, (rows, columns), full resolution; not modified.

    Returns:
        The ratio, or None for less than 8 blocks or a picture without noise.
    """
    field = as_light(values)
    if field is None:
        return None
    grey = luminance(field)
    rows, columns = (size // BLOCK_PX for size in grey.shape)
    if rows * columns < 8:
        return None
    cut = np.ascontiguousarray(grey[: rows * BLOCK_PX, : columns * BLOCK_PX])
    mask = np.array([[1, -2, 1], [-2, 4, -2], [1, -2, 1]], np.float32)
    rough = np.abs(cv2.filter2D(cut, cv2.CV_32F, mask))
    means = _blocks(cut, rows, columns).mean(axis=1)
    noise = np.median(_blocks(rough, rows, columns), axis=1) * 1.4826 / 6
    low, high = np.percentile(means, (25, 75))
    usable = (means >= low) & (means <= high) & (noise > 0)
    if usable.sum() < 4:
        return None
    smooth = np.sort(noise[usable])[max(0, int(usable.sum()) // 10)]
    chosen = usable & (noise <= smooth)
    return float(np.median(means[chosen] / noise[chosen]))


def dead_lines(values: NDArray[Any], *, sigmas: float = 8.0) -> tuple[int, int]:
    """How many rows and columns differ as a whole from both neighbours: lines of a broken detector.

    A line counts if it stands out of both neighbours, on the same side along most of its length,
    by more than so many standard deviations of what all lines do.

    >>> plate = np.random.default_rng(3).normal(0.5, 0.01, (80, 90)).astype(np.float32)
    >>> plate[:, 40] += 0.05
    >>> dead_lines(plate)
    (0, 1)
    """
    field = as_light(values)
    if field is None or min(field.shape[:2]) < 8:
        return 0, 0
    grey = luminance(field)
    return _lines(grey, sigmas), _lines(grey.T, sigmas)


def is_inverted(values: NDArray[Any], inverted: NDArray[Any], *, full_scale: int) -> float:
    """Share of pixels, 0 to 1, where original + inverted is exactly the full scale.

    >>> plate = np.array([[0, 10], [65535, 7]], np.uint16)
    >>> is_inverted(plate, 65535 - plate, full_scale=65535)
    1.0
    """
    if values.shape != inverted.shape or not values.size:
        return 0.0
    total = values.astype(np.int64) + inverted.astype(np.int64)
    return float((total == full_scale).mean())


def magnification(source_to_detector_mm: float, object_to_detector_mm: float) -> float:
    """Enlargement of what lies above the plate: M = SDD / (SDD − ODD).

    >>> round(magnification(1000, 20), 4)
    1.0204
    """
    return source_to_detector_mm / (source_to_detector_mm - object_to_detector_mm)


def _figures(extreme: NDArray[np.bool_]) -> Place | None:
    """The box of one group of figures at the end of the range, or None.

    Larger areas of the same level that touch the rim (air beside the object) are no figures; if the
    figures are not nearly all that is left, the level belongs to the picture and proves nothing.
    """
    rows, columns = extreme.shape
    side = min(rows, columns)
    count, labels, stats, centres = cv2.connectedComponentsWithStats(
        extreme.astype(np.uint8), connectivity=8
    )
    if count < 2:
        return None
    x, y, w, h, area = (stats[1:, i] for i in range(5))
    least = max(LEAST_FIGURE_PX, MARKER_HEIGHT[0] * side)
    tall = np.maximum(w, h)
    touches = (x <= 1) | (y <= 1) | (x + w >= columns - 1) | (y + h >= rows - 1)
    is_large = area > MOST_MARKER_SHARE * extreme.size
    if (is_large & ~touches).any():
        return None
    fits = (tall >= least) & (tall <= MARKER_HEIGHT[1] * side) & ~touches
    across = np.minimum(centres[1:, 0], columns - 1 - centres[1:, 0]) / columns
    down = np.minimum(centres[1:, 1], rows - 1 - centres[1:, 1]) / rows
    fits &= (across < CORNER) & (down < CORNER)
    chosen = np.flatnonzero(fits)
    if not len(chosen):
        return None
    rest = area[~fits & ~(is_large & touches)]
    if rest.sum() > 0.5 * area[chosen].sum() or (
        touches[is_large].sum() and _is_air(extreme, labels, chosen)
    ):
        return None
    left, top = x[chosen].min(), y[chosen].min()
    right, bottom = (x + w)[chosen].max(), (y + h)[chosen].max()
    if bottom - top > MARKER_HEIGHT[1] * side * 1.5:
        return None
    return Place(float(left), float(top), float(right - left), float(bottom - top))


def _standing_out(grey: NDArray[Any], extreme: NDArray[np.bool_], place: Place) -> float:
    """Difference of level between figures and what lies 2 to 4 px around them."""
    left, top = max(0, int(place.x) - RING_PX), max(0, int(place.y) - RING_PX)
    right, bottom = (
        int(start + size) + RING_PX + 1
        for start, size in ((place.x, place.width), (place.y, place.height))
    )
    figures = extreme[top:bottom, left:right].astype(np.uint8)
    wide, narrow = (cv2.dilate(figures, np.ones((side, side), np.uint8)) for side in (9, 3))
    part = grey[top:bottom, left:right]
    around = part[(wide > 0) & (narrow == 0)]
    if not around.size:
        return 0.0
    return abs(float(np.median(part[figures > 0])) - float(np.median(around)))


def _is_air(extreme: NDArray[np.bool_], labels: NDArray[Any], chosen: NDArray[np.int64]) -> bool:
    """Whether figures are only holes of noise in air of the same level: they hardly stand out."""
    near = cv2.dilate(np.isin(labels, chosen + 1).astype(np.uint8), np.ones((9, 9), np.uint8)) > 0
    return bool(extreme[near & ~np.isin(labels, chosen + 1)].mean() > 0.05)


def _blocks(field: NDArray[Any], rows: int, columns: int) -> NDArray[Any]:
    cut = field.reshape(rows, BLOCK_PX, columns, BLOCK_PX).swapaxes(1, 2)
    return cut.reshape(rows * columns, BLOCK_PX * BLOCK_PX)


def _lines(field: NDArray[Any], sigmas: float) -> int:
    """Groups of rows that are a ridge or a trench between their neighbours all along.

    The edge of an object is a step, not a ridge: there a row lies between its neighbours. A line
    that somebody painted ends before the plate does, a line of the detector does not; where the
    ends of the plate are clipped, they say nothing.
    """
    above, below = field[1:-1] - field[:-2], field[1:-1] - field[2:]
    ridge = np.where(
        above * below > 0, np.sign(above) * np.minimum(np.abs(above), np.abs(below)), 0
    )
    steps = ridge.mean(axis=1, dtype=np.float64)
    share = np.abs(np.sign(ridge).mean(axis=1))
    sigma = max(mad_sigma(steps), 1e-7)
    off = (np.abs(steps - np.median(steps)) > sigmas * sigma) & (share > LEAST_LINE_SHARE)
    length = max(4, field.shape[1] // END_PARTS)
    for end in (slice(None, length), slice(-length, None)):
        is_clipped = ~np.any(above[:, end], axis=1)
        off &= is_clipped | (np.sign(ridge[:, end]).mean(axis=1) * np.sign(steps) > LEAST_END_SHARE)
    starts = np.flatnonzero(off)
    return 0 if not len(starts) else 1 + int((np.diff(starts) > 2).sum())
