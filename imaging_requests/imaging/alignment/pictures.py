"""A picture to be aligned: grey values in halved sizes, sampled where they are needed."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from .features import Channels, Grey, describe, noise_floor
from .matrices import Matrix, apply, normalise, scaling

Stored = NDArray[Any]

SMALLEST_SIDE_PX = 32
ROWS_AT_ONCE = 512
COARSEST_SIDE_PX = 96
LEAST_SPREAD = 1e-3
#: Rows of each of the strips from which a noise floor is taken.
STRIP_ROWS, STRIPS = 32, 12


class UnfitError(ValueError):
    """The picture cannot be aligned at all; the message is a sentence for people."""


@dataclass(frozen=True, eq=False)
class Picture:
    """Grey values, (rows, columns), of any real type, in memory or on disk.

    `levels[k]` is reduced by 2 to the power k, each pixel the mean of those it covers.
    """

    levels: tuple[Stored, ...]

    @property
    def width_px(self) -> int:
        """Columns of the full size."""
        return int(self.levels[0].shape[1])

    @property
    def height_px(self) -> int:
        """Rows of the full size."""
        return int(self.levels[0].shape[0])

    @cached_property
    def floors(self) -> dict[int, float]:
        """Noise floors by level, filled as they are asked for."""
        return {}

    def level_for(self, longest_px: float) -> int:
        """Return the level whose longer side comes nearest to so many px from above."""
        longest = max(self.width_px, self.height_px)
        level = 0
        while level + 1 < len(self.levels) and longest / 2 ** (level + 1) >= longest_px * 0.999:
            level += 1
        return level

    def to_level(self, level: int) -> Matrix:
        """Return the matrix from px of the full size to px of a level."""
        rows, columns = self.levels[level].shape[:2]
        return scaling(columns / self.width_px, rows / self.height_px)

    @cached_property
    def descriptions(self) -> dict[int, Channels]:
        """Channels of whole levels, filled as they are asked for."""
        return {}

    def floor(self, level: int) -> float:
        """Return the slope below which an edge does not count at a level."""
        level = max(level, self.level_for(1500))
        if level not in self.floors:
            self.floors[level] = _floor_of(self.levels[level])
        return self.floors[level]

    def described(self, level: int) -> Channels:
        """Return the channels of a whole level, (rows, columns, 4)."""
        if level not in self.descriptions:
            values = np.asarray(self.levels[level], np.float32)
            self.descriptions[level] = describe(values, floor=self.floor(level))
        return self.descriptions[level]

    def reduced(self, longest_px: float) -> tuple[Grey, Matrix]:
        """Return the whole picture with a longer side of at most so many px, and its matrix.

        The matrix maps px of the full size to px of the reduced picture.
        """
        stored = np.asarray(self.levels[self.level_for(longest_px)], np.float32)
        factor = min(1.0, longest_px / max(stored.shape))
        size = max(1, round(stored.shape[1] * factor)), max(1, round(stored.shape[0] * factor))
        small = stored
        if size != stored.shape[::-1]:
            small = np.asarray(cv2.resize(stored, size, interpolation=cv2.INTER_AREA), np.float32)
        return small, scaling(size[0] / self.width_px, size[1] / self.height_px)

    def sample(self, to_picture: Matrix, width: int, height: int) -> Grey:
        """Return values at the places that a grid of width x height px maps to, bilinear.

        The level is that whose px come nearest to those of the grid.
        """
        grid = np.array([[0, 0], [width - 1, 0], [width - 1, height - 1], [0, height - 1]], float)
        at = apply(to_picture, grid)
        step = float(np.linalg.norm(at[1] - at[0]) / (width - 1))
        step = max(step, float(np.linalg.norm(at[3] - at[0]) / (height - 1)))
        level = self._level_of(step)
        to_level = self.to_level(level) @ to_picture
        at = apply(to_level, grid)
        rows, columns = self.levels[level].shape[:2]
        left, top = np.clip(np.floor(at.min(axis=0)).astype(int) - 2, 0, (columns - 2, rows - 2))
        right = int(np.clip(np.ceil(at[:, 0].max()) + 3, left + 2, columns))
        bottom = int(np.clip(np.ceil(at[:, 1].max()) + 3, top + 2, rows))
        part = np.asarray(self.levels[level][top:bottom, left:right], np.float32)
        shift = np.array([[1.0, 0.0, -left], [0.0, 1.0, -top], [0.0, 0.0, 1.0]])
        return _resampled(part, shift @ to_level, width, height)

    def lay(self, to_picture: Matrix, width: int, height: int) -> Grey:
        """Return the whole picture on a grid of px; outside it goes on as at its rim."""
        middle = np.array([[width / 2, height / 2], [width / 2 + 1, height / 2]])
        ends = apply(to_picture, middle)
        level = self._level_of(float(np.linalg.norm(ends[1] - ends[0])))
        values = np.asarray(self.levels[level], np.float32)
        return _resampled(values, self.to_level(level) @ to_picture, width, height)

    def _level_of(self, step: float) -> int:
        return int(np.clip(round(np.log2(max(step, 1e-6))), 0, len(self.levels) - 1))


def _resampled(values: Grey, to_values: Matrix, width: int, height: int) -> Grey:
    return np.asarray(
        cv2.warpPerspective(
            values,
            normalise(to_values),
            (width, height),
            flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
            borderMode=cv2.BORDER_REPLICATE,
        ),
        np.float32,
    )


def _floor_of(values: Stored) -> float:
    """Return the noise floor of a picture, of a tall one from strips across it."""
    rows = values.shape[0]
    if rows <= 2 * STRIP_ROWS * STRIPS:
        return noise_floor(np.asarray(values, np.float32))
    tops = np.linspace(0, rows - STRIP_ROWS, STRIPS).astype(int)
    strips = [noise_floor(np.asarray(values[top : top + STRIP_ROWS], np.float32)) for top in tops]
    return float(np.sqrt(np.mean(np.square(strips))))


def picture_of(pixels: Stored) -> Picture:
    """Make a picture of an array: (rows, columns) or (rows, columns, 1 to 4), any real type.

    Colour becomes the mean of its first three channels; an alpha channel is left out.

    Raises:
        UnfitError: The array has another shape, no spread, too few pixels or values that are no
            numbers.

    >>> picture_of(np.zeros((50, 50)))
    Traceback (most recent call last):
    ...
    imaging_requests.imaging.alignment.pictures.UnfitError: The picture has the same value \
everywhere, so nothing in it can be found again.
    """
    if pixels.ndim not in (2, 3) or (pixels.ndim == 3 and pixels.shape[2] not in (1, 2, 3, 4)):
        raise UnfitError(
            f"A picture with one, three or four channels is needed; this one has the shape "
            f"{' x '.join(map(str, pixels.shape))}."
        )
    if pixels.dtype.kind not in "uifb":
        raise UnfitError("The picture's values are no real numbers.")
    if min(pixels.shape[:2]) < SMALLEST_SIDE_PX:
        raise UnfitError(
            f"The picture is {pixels.shape[1]} x {pixels.shape[0]} px; at least "
            f"{SMALLEST_SIDE_PX} px are needed on each side."
        )
    return finished(_grey(pixels))


def _grey(pixels: Stored) -> Stored:
    if pixels.ndim == 3:
        colours = pixels[..., : {1: 1, 2: 1, 3: 3, 4: 3}[pixels.shape[2]]]
        return np.asarray(colours.mean(axis=2, dtype=np.float32), np.float32)
    if pixels.dtype.kind == "f" or pixels.dtype.itemsize > 2 or pixels.dtype.kind == "b":
        return np.asarray(pixels, np.float32)
    return pixels


def finished(full: Stored) -> Picture:
    """Build the halved sizes of grey values, and refuse what holds no structure.

    Raises:
        UnfitError: All values are the same, or some are no numbers.
    """
    levels = [full]
    while max(levels[-1].shape) > 2 * COARSEST_SIDE_PX and min(levels[-1].shape) >= 16:
        levels.append(_halved(levels[-1]))
    smallest = np.asarray(levels[-1], np.float32)
    if not np.all(np.isfinite(smallest)):
        raise UnfitError("Some of the picture's values are no numbers (NaN or infinite).")
    spread = float(np.ptp(np.asarray(levels[min(1, len(levels) - 1)], np.float32)))
    if spread <= LEAST_SPREAD * max(1e-9, float(np.abs(smallest).max())):
        raise UnfitError(
            "The picture has the same value everywhere, so nothing in it can be found again."
        )
    return Picture(tuple(levels))


def _halved(full: Stored) -> Stored:
    """Average two by two, a band of rows at a time; an odd last row or column is squeezed in."""
    rows, columns = full.shape
    size = (max(1, round(columns / 2)), max(1, round(rows / 2)))
    if rows % 2 or columns % 2 or full.size < 4_000_000:
        return np.asarray(
            cv2.resize(np.asarray(full, np.float32), size, interpolation=cv2.INTER_AREA),
            np.float32,
        )
    half = np.empty((size[1], size[0]), np.float32)
    for top in range(0, rows, ROWS_AT_ONCE):
        band = np.asarray(full[top : top + ROWS_AT_ONCE], np.float32)
        target = half[top // 2 : top // 2 + band.shape[0] // 2]
        cv2.resize(band, (size[0], target.shape[0]), dst=target, interpolation=cv2.INTER_AREA)
    return half
