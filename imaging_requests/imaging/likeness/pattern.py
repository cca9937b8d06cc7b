"""A picture as a coarse pattern, small enough to be kept with the frame and compared often.

The pattern is the grey small picture, its longer side 96 px. The likeness of two is the largest
correlation (Pearson's r) of the inner part of one, on a grid of 16 × 16, with a part of the other,
over 25 shifts of up to a tenth and three sizes, so that a camera that stood a little elsewhere does
no harm. Exposure and contrast fall out. Many pictures are compared with many parts in one product
of matrices.
"""

from __future__ import annotations

import base64
from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

LONGER_PX = 96
LEAST_PX = 6
MARGIN = 0.12
GRID = 16
FLAT_BELOW = 1.5
Grey = NDArray[np.uint8]
Description = NDArray[np.float32]
Views = NDArray[np.float32]


@dataclass(frozen=True, slots=True)
class Steps:
    """Shifts as shares of the part, and sizes, at which a part is looked at."""

    shifts: tuple[float, ...]
    sizes: tuple[float, ...]


#: Another day's set-up, and a camera that has not moved.
LOOSE = Steps((-0.1, -0.05, 0.0, 0.05, 0.1), (0.94, 1.0, 1.06))
STEADY = Steps((-0.04, 0.0, 0.04), (1.0,))


@dataclass(frozen=True, slots=True)
class Region:
    """A part of a picture as fractions of its width and height, 0 to 1."""

    left: float = 0.0
    top: float = 0.0
    right: float = 1.0
    bottom: float = 1.0


WHOLE = Region()


def tile_region(x: int, y: int, across: int, down: int, overlap: float) -> Region:
    """Return the part of a face that one tile shows, all tiles alike and evenly spread.

    ``overlap``: share of a tile that it has in common with its neighbour. With n tiles each takes
    1 / (1 + (n − 1)(1 − overlap)) of the length.

    >>> tile_region(1, 0, 2, 1, 0.0)
    Region(left=0.5, top=0.0, right=1.0, bottom=1.0)

    Raises:
        ValueError: The tile lies outside the grid, or tiles would not advance.
    """
    if not (0 <= x < across and 0 <= y < down and 0 <= overlap < 1):
        raise ValueError(f"There is no tile ({x}, {y}) in {across} × {down}.")
    wide = 1 / (1 + (across - 1) * (1 - overlap))
    high = 1 / (1 + (down - 1) * (1 - overlap))
    left = x * (1 - wide) / (across - 1) if across > 1 else 0.0
    top = y * (1 - high) / (down - 1) if down > 1 else 0.0
    return Region(left, top, left + wide, top + high)


def pattern_of(grey: Grey) -> Grey:
    """Return the pattern of a grey picture, (rows, columns), 0 to 255.

    Raises:
        ValueError: The picture is not two-dimensional or has no pixel.

    >>> pattern_of(np.zeros((300, 400), np.uint8)).shape
    (72, 96)
    """
    if grey.ndim != 2 or not grey.size:
        raise ValueError(f"A grey picture is needed, got shape {grey.shape}.")
    factor = LONGER_PX / max(grey.shape)
    rows, columns = (max(LEAST_PX, round(length * factor)) for length in grey.shape)
    return np.asarray(cv2.resize(grey, (columns, rows), interpolation=cv2.INTER_AREA), np.uint8)


def pattern_text(pattern: Grey) -> str:
    """Write a pattern as text: columns, rows, and the values in base 64.

    >>> read_pattern(pattern_text(np.full((6, 8), 7, np.uint8))).shape
    (6, 8)
    """
    rows, columns = pattern.shape
    values = base64.b64encode(np.ascontiguousarray(pattern).tobytes()).decode("ascii")
    return f"{columns}x{rows}:{values}"


def read_pattern(text: str) -> Grey:
    """Read what ``pattern_text`` wrote.

    Raises:
        ValueError: The text is not a pattern.
    """
    size, _, values = text.partition(":")
    columns, _, rows = size.partition("x")
    flat = np.frombuffer(base64.b64decode(values, validate=True), np.uint8)
    return flat.reshape(int(rows), int(columns))


def describe(pattern: Grey) -> Description:
    """Describe the inner part of a pattern by 16 × 16 values without mean, of length 1.

    The outer eighth, where target and ground lie, is left out. What has no pattern is all 0.

    >>> bool(describe(np.zeros((72, 96), np.uint8)).any())
    False
    """
    rows, columns = pattern.shape
    top, left = int(rows * MARGIN), int(columns * MARGIN)
    return _normed(pattern[top : rows - top, left : columns - left])


def views(reference: Grey, region: Region = WHOLE, *, steps: Steps = LOOSE) -> Views:
    """Describe a part of a reference as it may be seen: over small shifts and sizes.

    Returns (number, 256). Empty if the part is too small in the reference to be compared.
    """
    rows, columns = reference.shape
    high, wide = (region.bottom - region.top) * rows, (region.right - region.left) * columns
    middle_y, middle_x = region.top * rows + high / 2, region.left * columns + wide / 2
    found = []
    for size in steps.sizes:
        height, width = (length * (1 - 2 * MARGIN) * size for length in (high, wide))
        if min(height, width) < LEAST_PX:
            continue
        for shift_y in steps.shifts:
            top = round(middle_y + shift_y * high - height / 2)
            for shift_x in steps.shifts:
                left = round(middle_x + shift_x * wide - width / 2)
                bottom, right = top + round(height), left + round(width)
                if top >= 0 and left >= 0 and bottom <= rows and right <= columns:
                    found.append(_normed(reference[top:bottom, left:right]))
    return np.stack(found) if found else np.zeros((0, GRID * GRID), np.float32)


def likenesses(pictures: Sequence[Description], seen: Views) -> NDArray[np.float32]:
    """Return the likeness of each picture to a part of a reference, −1 to 1; NaN if it has none.

    >>> rng = np.random.default_rng(1)
    >>> rough = cv2.resize(rng.integers(0, 255, (9, 12)).astype(np.uint8), (96, 72))
    >>> bool(likenesses([describe(rough)], views(rough))[0] > 0.95)
    True
    """
    if not len(pictures):
        return np.zeros(0, np.float32)
    stacked = np.stack(pictures)
    nothing = ~stacked.any(axis=1)
    seen = seen[seen.any(axis=1)]
    if not len(seen):
        return np.full(len(stacked), np.nan, np.float32)
    found = (stacked @ seen.T).max(axis=1)
    found[nothing] = np.nan
    return np.asarray(np.clip(found, -1, 1), np.float32)


def likeness(picture: Grey, reference: Grey, region: Region = WHOLE) -> float | None:
    """Say how well one pattern fits a part of another: −1 to 1, or None if nothing is to compare.

    >>> likeness(np.zeros((72, 96), np.uint8), np.zeros((72, 96), np.uint8)) is None
    True
    """
    found = float(likenesses([describe(picture)], views(reference, region))[0])
    return None if np.isnan(found) else found


def mirrored(pattern: Grey) -> Grey:
    """Return the pattern seen from the other side: left and right exchanged."""
    return np.ascontiguousarray(pattern[:, ::-1])


def _normed(part: Grey) -> Description:
    small = cv2.resize(part, (GRID, GRID), interpolation=cv2.INTER_AREA).astype(np.float32).ravel()
    small -= small.mean()
    length = float(np.linalg.norm(small))
    if length < FLAT_BELOW * GRID:
        return np.zeros(GRID * GRID, np.float32)
    described: Description = small / np.float32(length)
    return described
