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


@dataclass(frozen=True)
class Frame:
    """One frame to be checked.

    Attributes:
        share: Reduced picture, levels as a share of full scale, float32, (rows, columns) or
            (rows, columns, 3).
        encoding: How levels stand for light; None if the profile does not say.
        width_px, height_px: Size of the frame itself.
        crop: Fetches a part of the frame; None if it cannot be had.
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
    low_map: NDArray[Any] | None = None
    high_map: NDArray[Any] | None = None
    transfer: TransferFaults | None = None
    distinct_levels: int | None = None
    bits: int = 16

    @property
    def factor(self) -> float:
        """Size of the frame over that of the reduced picture."""
        return self.width_px / int(self.share.shape[1])

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

    def samples(self, side: int = 512) -> list[NDArray[Any]]:
        """Parts of the frame: the middle and four places between it and the corners."""
        side = min(side, self.width_px, self.height_px)
        parts = []
        for x, y in ((0.5, 0.5), (0.2, 0.2), (0.8, 0.2), (0.2, 0.8), (0.8, 0.8)):
            left = int(np.clip(x * self.width_px - side / 2, 0, self.width_px - side))
            top = int(np.clip(y * self.height_px - side / 2, 0, self.height_px - side))
            part = self.crop(left, top, side, side)
            if part is not None:
                parts.append(part)
        return parts


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
    top = np.iinfo(pixels.dtype).max
    rows, columns = pixels.shape[:2]
    scale = min(1.0, reduced_px / max(rows, columns))
    size = (max(1, round(columns * scale)), max(1, round(rows * scale)))
    small = pixels
    if scale < 1:
        small = cv2.resize(pixels, size, interpolation=cv2.INTER_AREA)
    watch = RowWatch(float(top))
    watch.add(pixels)
    low_map, high_map = end_maps(pixels, clip[0] * top, clip[1] * top, size)

    def crop(left: int, upper: int, width: int, height: int) -> NDArray[Any] | None:
        part = pixels[max(0, upper) : upper + height, max(0, left) : left + width]
        return part.astype(np.float32) / np.float32(top) if part.size else None

    distinct = max(
        int(np.count_nonzero(np.bincount(channel.ravel(), minlength=2)))
        for channel in ([pixels] if pixels.ndim == 2 else np.moveaxis(pixels, 2, 0))
    )
    return Frame(
        share=small.astype(np.float32) / np.float32(top),
        encoding=encoding,
        width_px=columns,
        height_px=rows,
        crop=crop,
        low_map=low_map,
        high_map=high_map,
        transfer=watch.faults(),
        distinct_levels=distinct,
        bits=8 * pixels.dtype.itemsize,
    )


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
