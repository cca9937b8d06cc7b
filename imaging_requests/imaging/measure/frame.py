"""What the rules look at: one frame as a reduced picture, with access to parts in full.

The reduced picture has mean levels, so colours and geometry can be read in it; noise, single pixels
and sharpness need parts of the frame itself, which are fetched when a rule asks for them.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from imaging_requests.imaging.measure.encoding import Encoding
from imaging_requests.imaging.measure.finding import Place
from imaging_requests.imaging.measure.transfer import RowFacts, RowWatch, TransferFaults

Crop = Callable[[int, int, int, int], NDArray[Any] | None]
"""Left, top, width, height in px of the frame → levels as shares of full scale, float32."""

REDUCED_PX = 1536
SAMPLE_PX = 512
RIM_PX = 64
LEVEL_SAMPLES = 2e6
"""Pixels whose levels are counted, at least, if there are as many."""
BLOCK_ROWS = 48


@dataclass(frozen=True)
class Frame:
    """One frame to be checked.

    Attributes:
        share: Reduced picture, levels as a share of full scale, float32, (rows, columns) or
            (rows, columns, 3).
        encoding: How levels stand for light; None if the profile does not say.
        width_px, height_px: Size of the frame itself.
        crop: Fetches a part of the frame; None if it cannot be had.
        shrink: Pixels of the frame on a side of one of the reduced picture.
        low_map, high_map: For each pixel of the reduced picture the share of the frame's pixels in
            it that lie at the lower or upper end of the scale, float32, (rows, columns).
        transfer: Marks of a broken transfer.
        distinct_levels: Levels in the richest channel; None if not counted.
    """

    share: NDArray[Any]
    encoding: Encoding | None
    width_px: int
    height_px: int
    crop: Crop
    shrink: int = 1
    low_map: NDArray[Any] | None = None
    high_map: NDArray[Any] | None = None
    transfer: TransferFaults | None = None
    distinct_levels: int | None = None
    bits: int = 16

    @property
    def factor(self) -> float:
        """Size of the frame over that of the reduced picture."""
        return float(self.shrink)

    @property
    def is_colour(self) -> bool:
        """Whether it has three channels."""
        return self.share.ndim == 3

    @cached_property
    def light(self) -> NDArray[Any] | None:
        """Linear light of the reduced picture, float32; None without an encoding that fits."""
        if self.encoding is None:
            return None
        try:
            return self.encoding.to_light_fast(self.share)
        except ValueError:
            return None

    @property
    def whole(self) -> Place:
        """The whole frame."""
        return Place(0, 0, self.width_px, self.height_px)

    def samples(self) -> list[NDArray[Any]]:
        """Parts of the frame: the middle and four places between it and the corners."""
        parts = [self.crop(*box) for box in sample_boxes(self.width_px, self.height_px)]
        return [part for part in parts if part is not None]


@dataclass(frozen=True, slots=True)
class StripFacts:
    """What is remembered of some rows: their number, what a transfer left, and the reduced maps.

    ``grids``: mean levels, share at the lower and share at the upper end of the scale on the
    reduced grid; None for rows too few to make one row of it.
    """

    height: int
    rows: RowFacts
    grids: tuple[NDArray[Any], NDArray[Any], NDArray[Any]] | None


class FrameBuilder:
    """Takes in a picture strip by strip, top to bottom, and makes a frame of it.

    The reduced picture is made by a whole number of pixels a side, so strips of a multiple of
    ``shrink`` rows fit together. Besides it keeps five sample parts and both rims, which several
    rules look at in full resolution.
    """

    def __init__(
        self,
        width_px: int,
        height_px: int,
        bands: int,
        top: int,
        *,
        clip: tuple[float, float],
        reduced_px: int = REDUCED_PX,
    ) -> None:
        wanted = -(-max(width_px, height_px) // reduced_px)
        self.shrink = max(1, min(wanted, width_px, height_px))
        self._size, self._bands, self._top = (width_px, height_px), bands, top
        self._ends = clip[0] * top, clip[1] * top
        self._grid = max(1, width_px // self.shrink), max(1, height_px // self.shrink)
        self._full_scale = float(top)
        self._watch = RowWatch(self._full_scale)
        self._step = max(1, round((width_px * height_px / LEVEL_SAMPLES) ** 0.5))
        self._seen = np.zeros((bands, top + 1), bool)
        self._parts = [Part.empty(box, bands) for box in _kept_boxes(width_px, height_px)]
        self._kept: list[StripFacts] = []
        self._row = 0

    @property
    def block_rows(self) -> int:
        """How many rows are best looked at together: few enough to stay in the fast memory."""
        return max(1, BLOCK_ROWS // self.shrink) * self.shrink

    def add(self, strip: NDArray[Any]) -> None:
        """Take in the next rows, uint8 or uint16, (rows, columns) or (rows, columns, 3)."""
        for upper in range(0, strip.shape[0], self.block_rows):
            block = strip[upper : upper + self.block_rows]
            self.keep(self.look(block, self._row))

    def look(self, block: NDArray[Any], row: int) -> StripFacts:
        """Find out about rows from ``row`` on; blocks may be looked at by several threads.

        Levels are ticked off in a table and kept parts filled row by row, so threads that do it at
        the same time write the same marks or different rows.
        """
        for band in range(self._bands):
            plane = block if self._bands == 1 else block[..., band]
            self._seen[band][plane[-row % self._step :: self._step, :: self._step].ravel()] = True
        for part in self._parts:
            part.take(block, row)
        rows = RowWatch.look(block, self._full_scale)
        whole = block.shape[0] // self.shrink
        if not whole or block.shape[1] < self.shrink:
            return StripFacts(block.shape[0], rows, None)
        used = block[: whole * self.shrink, : self._grid[0] * self.shrink]
        size = (self._grid[0], whole)
        small = used if self.shrink == 1 else cv2.resize(used, size, interpolation=cv2.INTER_AREA)
        return StripFacts(block.shape[0], rows, (small, *end_maps(used, *self._ends, size)))

    def keep(self, facts: StripFacts) -> None:
        """Take in the facts of the next rows, from top to bottom."""
        self._kept.append(facts)
        self._watch.keep(facts.rows)
        self._row += facts.height

    def frame(self, encoding: Encoding | None, crop: Crop) -> Frame:
        """Return the frame; ``crop`` fetches parts that were not kept."""
        parts, top = self._parts, self._top

        def fetch(left: int, upper: int, width: int, height: int) -> NDArray[Any] | None:
            for part in parts:
                kept = part.cut(left, upper, width, height)
                if kept is not None:
                    return kept.astype(np.float32) / np.float32(top)
            return crop(left, upper, width, height)

        grids = [each.grids for each in self._kept if each.grids is not None]
        small, low, high = (np.concatenate(maps) for maps in zip(*grids, strict=True))
        share = small.astype(np.float32) / np.float32(top)
        return Frame(
            share=share,
            encoding=encoding,
            width_px=self._size[0],
            height_px=self._size[1],
            crop=fetch,
            shrink=self.shrink,
            low_map=low,
            high_map=high,
            transfer=self._watch.faults(),
            distinct_levels=int(self._seen.sum(axis=1).max()),
            bits=8 if top == 255 else 16,
        )


@dataclass(frozen=True)
class Part:
    """A part of a frame that is kept in full resolution: left, top, and its levels."""

    left: int
    top: int
    levels: NDArray[np.uint16]

    @classmethod
    def empty(cls, box: tuple[int, int, int, int], bands: int) -> Part:
        """A part to be filled: left, top, width, height."""
        left, top, width, height = box
        shape = (height, width) if bands == 1 else (height, width, bands)
        return cls(left, top, np.zeros(shape, np.uint16))

    def take(self, strip: NDArray[Any], row: int) -> None:
        """Copy what a strip that begins at ``row`` shows of it."""
        height, width = self.levels.shape[:2]
        first, last = max(row, self.top), min(row + strip.shape[0], self.top + height)
        if first < last:
            self.levels[first - self.top : last - self.top] = strip[
                first - row : last - row, self.left : self.left + width
            ]

    def cut(self, left: int, top: int, width: int, height: int) -> NDArray[np.uint16] | None:
        """A part of it, or None if it does not hold all of that."""
        x, y = left - self.left, top - self.top
        rows, columns = self.levels.shape[:2]
        if x < 0 or y < 0 or x + width > columns or y + height > rows:
            return None
        return self.levels[y : y + height, x : x + width]


def frame_from_array(
    pixels: NDArray[Any],
    encoding: Encoding | None,
    *,
    clip: tuple[float, float],
    reduced_px: int = REDUCED_PX,
) -> Frame | str:
    """Make a frame of a picture that lies in memory.

    Args:
        pixels: Whole numbers of 8 or 16 bits, (rows, columns) or (rows, columns, 3); not modified.
        encoding: How levels stand for light.
        clip: Shares of full scale at or beyond which a pixel is clipped, low and high.
        reduced_px: Longest side of the reduced picture.

    Returns:
        The frame, or why the array is no picture.

    >>> frame_from_array(np.zeros((4, 4, 2), np.uint8), None, clip=(0.004, 0.996))
    'The picture has 2 channels; one or three can be measured.'
    """
    trouble = _trouble(pixels)
    if trouble:
        return trouble
    top = int(np.iinfo(pixels.dtype).max)
    rows, columns = pixels.shape[:2]
    bands = 1 if pixels.ndim == 2 else 3
    builder = FrameBuilder(columns, rows, bands, top, clip=clip, reduced_px=reduced_px)
    builder.add(pixels)

    def crop(left: int, upper: int, width: int, height: int) -> NDArray[Any] | None:
        part = pixels[max(0, upper) : upper + height, max(0, left) : left + width]
        return part.astype(np.float32) / np.float32(top) if part.size else None

    return builder.frame(encoding, crop)


def sample_boxes(width_px: int, height_px: int) -> list[tuple[int, int, int, int]]:
    """Left, top, width, height of five parts: the middle and four places towards the corners."""
    side = min(SAMPLE_PX, width_px, height_px)
    boxes = []
    for x, y in ((0.5, 0.5), (0.2, 0.2), (0.8, 0.2), (0.2, 0.8), (0.8, 0.8)):
        left = int(np.clip(x * width_px - side / 2, 0, width_px - side))
        top = int(np.clip(y * height_px - side / 2, 0, height_px - side))
        boxes.append((left, top, side, side))
    return boxes


def _kept_boxes(width_px: int, height_px: int) -> list[tuple[int, int, int, int]]:
    rim = min(RIM_PX, width_px)
    rims = [(0, 0, rim, height_px), (width_px - rim, 0, rim, height_px)]
    return [*sample_boxes(width_px, height_px), *rims]


def _trouble(pixels: NDArray[Any]) -> str:
    if pixels.ndim not in (2, 3) or 0 in pixels.shape:
        return "This is no picture: it has no rows and columns."
    if pixels.ndim == 3 and pixels.shape[2] != 3:
        count = pixels.shape[2]
        return f"The picture has {count} channels; one or three can be measured."
    if pixels.dtype not in (np.uint8, np.uint16):
        return f"The picture has {pixels.dtype} levels; whole numbers of 8 or 16 bits are measured."
    return ""


def end_maps(
    pixels: NDArray[Any], low: float, high: float, size: tuple[int, int]
) -> tuple[NDArray[Any], NDArray[Any]]:
    """Share of pixels at or beyond the lower and upper limit in any channel, on a smaller grid.

    ``size``: columns, rows of the grid. A pixel at both ends counts as high.
    """
    none = np.zeros(size[::-1], np.float32)
    is_beyond = pixels.max() >= high, pixels.min() <= low
    if not any(is_beyond):
        return none, none
    bands = 1 if pixels.ndim == 2 else pixels.shape[2]
    first, last = math.floor(low) + 1.0, math.ceil(high) - 1.0
    below_top = cv2.inRange(pixels, (0.0,) * bands, (last,) * bands)
    between = cv2.inRange(pixels, (first,) * bands, (last,) * bands)
    is_high = cv2.bitwise_not(below_top)
    is_low = cv2.subtract(below_top, between)
    low_map, high_map = (_shares(found, size) for found in (is_low, is_high))
    return low_map, high_map


def _shares(found: NDArray[Any], size: tuple[int, int]) -> NDArray[Any]:
    """Share of marked pixels (255) on a smaller grid."""
    if not found.any():
        return np.zeros(size[::-1], np.float32)
    marks = found.astype(np.float32)
    marks *= np.float32(1 / 255)
    return np.asarray(cv2.resize(marks, size, interpolation=cv2.INTER_AREA))
