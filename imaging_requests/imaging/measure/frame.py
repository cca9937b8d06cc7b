"""What the rules look at: one frame as a reduced picture, with access to parts in full.

The reduced picture has mean levels, so colours and geometry can be read in it; noise, single pixels
and sharpness need parts of the frame itself, which are fetched when a rule asks for them.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from imaging_requests.imaging.measure.encoding import Encoding
from imaging_requests.imaging.measure.finding import Place
from imaging_requests.imaging.measure.transfer import RowWatch, TransferFaults

Crop = Callable[[int, int, int, int], NDArray[Any] | None]
"""Left, top, width, height in px of the frame → levels as shares of full scale, float32."""

REDUCED_PX = 1536
SAMPLE_PX = 512
RIM_PX = 64
LEVEL_STEP = 3


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
        self.shrink = max(1, -(-max(width_px, height_px) // reduced_px))
        self._size, self._bands, self._top = (width_px, height_px), bands, top
        self._ends = clip[0] * top, clip[1] * top
        self._grid = max(1, width_px // self.shrink), max(1, height_px // self.shrink)
        self._small: list[NDArray[Any]] = []
        self._low: list[NDArray[Any]] = []
        self._high: list[NDArray[Any]] = []
        self._watch = RowWatch(float(top))
        self._seen = np.zeros((bands, top + 1), bool)
        self._parts = [Part.empty(box, bands) for box in _kept_boxes(width_px, height_px)]
        self._row = 0

    def add(self, strip: NDArray[Any]) -> None:
        """Take in the next rows, uint8 or uint16, (rows, columns) or (rows, columns, 3)."""
        rows = strip.shape[0]
        self._watch.add(strip)
        for band in range(self._bands):
            plane = strip if self._bands == 1 else strip[..., band]
            self._seen[band][plane[::LEVEL_STEP, ::LEVEL_STEP].ravel()] = True
        for part in self._parts:
            part.take(strip, self._row)
        self._row += rows
        whole = rows // self.shrink
        if whole and strip.shape[1] >= self.shrink:
            used = strip[: whole * self.shrink, : self._grid[0] * self.shrink]
            size = (self._grid[0], whole)
            self._small.append(
                used if self.shrink == 1 else cv2.resize(used, size, interpolation=cv2.INTER_AREA)
            )
            low, high = end_maps(used, *self._ends, size)
            self._low.append(low)
            self._high.append(high)

    def frame(self, encoding: Encoding | None, crop: Crop) -> Frame:
        """Return the frame; ``crop`` fetches parts that were not kept."""
        parts, top = self._parts, self._top

        def fetch(left: int, upper: int, width: int, height: int) -> NDArray[Any] | None:
            for part in parts:
                kept = part.cut(left, upper, width, height)
                if kept is not None:
                    return kept.astype(np.float32) / np.float32(top)
            return crop(left, upper, width, height)

        share = np.concatenate(self._small).astype(np.float32) / np.float32(top)
        return Frame(
            share=share,
            encoding=encoding,
            width_px=self._size[0],
            height_px=self._size[1],
            crop=fetch,
            shrink=self.shrink,
            low_map=np.concatenate(self._low),
            high_map=np.concatenate(self._high),
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
    most, least = pixels, pixels
    if pixels.ndim == 3:
        parts = cv2.split(pixels)
        most = cv2.max(cv2.max(parts[0], parts[1]), parts[2])
        least = cv2.min(cv2.min(parts[0], parts[1]), parts[2])
    is_high = most >= high
    is_low = (least <= low) & ~is_high
    maps = []
    for found in (is_low, is_high):
        if found.any():
            grid = cv2.resize(found.astype(np.float32), size, interpolation=cv2.INTER_AREA)
        else:
            grid = np.zeros(size[::-1], np.float32)
        maps.append(grid)
    return maps[0], maps[1]
