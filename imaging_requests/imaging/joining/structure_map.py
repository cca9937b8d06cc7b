"""What a reduced tile shows: its fine structure with light and contrast evened, and its borders."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from imaging_requests.imaging.joining.words import Grey, Turn

FINE_SIGMA, COARSE_SIGMA, CONTRAST_SIGMA = 1.0, 4.0, 10.0
CONTRAST_FLOOR = 0.3
MOST_CONTRAST = 3.0
LEAST_STRUCTURE = 1e-4
"""Strength (root mean square, share of the full range) below which there is no structure."""
MOST_BLANK = 0.2
"""A border may take this share of a side; more is a picture without structure."""
INSET_PX = 2


@dataclass(frozen=True, slots=True)
class Box:
    """A part of a picture, the last column and row included."""

    left: int
    top: int
    right: int
    bottom: int

    @property
    def width(self) -> int:
        """Columns inside."""
        return self.right - self.left + 1

    @property
    def height(self) -> int:
        """Rows inside."""
        return self.bottom - self.top + 1


@dataclass(frozen=True, slots=True)
class Shown:
    """The structure of a reduced tile.

    ``map``: fine structure, about −3 to 3, zero outside ``content``. ``content``: the part inside
    blank borders. ``strength``: root mean square of the fine structure, share of the full range.
    """

    map: Grey
    content: Box
    strength: float

    @property
    def is_empty(self) -> bool:
        """Whether nothing can be recognised on the tile."""
        return self.strength < LEAST_STRUCTURE

    def turned(self, turn: Turn) -> Shown:
        """Return the same with the tile lying as ``turn`` says."""
        if turn.is_upright:
            return self
        rows, columns = self.map.shape
        box = self.content
        corners = np.array([[box.left, box.top, 1], [box.right, box.bottom, 1]])
        moved = (turn.matrix(columns, rows) @ corners.T).T
        low, high = moved.min(0).astype(int), moved.max(0).astype(int)
        return Shown(
            turn.apply(self.map),
            Box(int(low[0]), int(low[1]), int(high[0]), int(high[1])),
            self.strength,
        )


def show_structure(reduced: Grey, *, blank_share: float) -> Shown:
    """Return what a reduced tile shows.

    Fine structure is the difference of two Gaussian means (σ 1 and 4 px), divided by its own local
    strength (σ 10 px) so that a lead marker weighs no more than brushwork, and cut at ±3. The floor
    of the division keeps flat parts flat instead of raising their noise.

    >>> flat = np.full((80, 80), 0.5, np.float32)
    >>> show_structure(flat, blank_share=0.02).is_empty
    True
    """
    box = find_content(reduced, blank_share=blank_share)
    inner = np.ascontiguousarray(
        reduced[box.top : box.bottom + 1, box.left : box.right + 1], np.float32
    )
    fine = _mean(inner, FINE_SIGMA) - _mean(inner, COARSE_SIGMA)
    strength = float(np.sqrt(np.mean(fine.astype(np.float64) ** 2)))
    if strength < LEAST_STRUCTURE:
        return Shown(np.zeros_like(reduced), box, strength)
    # half the typical strength, so that one bright marker does not set the floor for all
    typical = float(np.sqrt(np.median(_mean(fine * fine, CONTRAST_SIGMA))))
    floor = np.float32(max(CONTRAST_FLOOR * max(typical, 0.1 * strength), LEAST_STRUCTURE) ** 2)
    even = fine / np.sqrt(_mean(fine * fine, CONTRAST_SIGMA) + floor)
    whole = np.zeros_like(reduced)
    whole[box.top : box.bottom + 1, box.left : box.right + 1] = np.clip(
        even, -MOST_CONTRAST, MOST_CONTRAST
    )
    return Shown(whole, box, strength)


def find_content(reduced: Grey, *, blank_share: float) -> Box:
    """Return the part inside blank borders: rows and columns that vary by less than a share.

    The share is of the tile's own range between its 1st and 99th percentile. What is found is
    narrowed by two pixels more if a border was found on that side.
    """
    rows, columns = reduced.shape
    low, high = np.percentile(reduced, (1, 99))
    limit = blank_share * float(high - low)
    if limit <= 0:
        return Box(0, 0, columns - 1, rows - 1)
    top, bottom = _trim(reduced, limit)
    left, right = _trim(reduced.T, limit)
    return Box(left, top, right, bottom)


def _trim(rows: Grey, limit: float) -> tuple[int, int]:
    """Return the first and last row that is not of a blank border; a border is no wide part."""
    length = len(rows)
    reach = int(MOST_BLANK * length) + 1
    first, last = _blank(rows[:reach], limit), _blank(rows[: -reach - 1 : -1], limit)
    if max(first, last) == reach:
        return 0, length - 1
    return (first + INSET_PX if first else 0), length - 1 - (last + INSET_PX if last else 0)


def _mean(image: Grey, sigma: float) -> Grey:
    blurred: Grey = cv2.GaussianBlur(image, (0, 0), sigma, borderType=cv2.BORDER_REFLECT)
    return blurred


def _blank(rows: Grey, limit: float) -> int:
    """Count the rows from the first on that vary by no more than the limit."""
    varied = np.ptp(np.percentile(rows, (5, 95), axis=1), axis=0) > limit
    return int(np.argmax(varied)) if varied.any() else len(rows)
