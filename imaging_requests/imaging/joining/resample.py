"""A tile seen on the canvas, rectangle by rectangle, resampled once at most.

A whole shift copies levels. Another shift uses the cubic convolution kernel of R. G. Keys, 1981
(a = −1/2, from memory), which keeps straight slopes exactly, as two passes of four taps. Turns and
scales use the same kernel in the plane. The kernel can overshoot at a hard edge by a few percent
of the step; results are cut to the range of levels.
"""

from __future__ import annotations

from collections.abc import Callable

import cv2
import numpy as np
import pyvips

from imaging_requests.imaging.joining.canvas import Laid
from imaging_requests.imaging.joining.row_sources import Pixels, RowSource
from imaging_requests.imaging.joining.tiles import RowReader
from imaging_requests.imaging.joining.words import Grey

REACH_PX = 3


def keys_kernel(fraction: float) -> Grey:
    """Return the four taps that give the level at ``fraction`` between the second and third.

    >>> keys_kernel(0.5).tolist()
    [-0.0625, 0.5625, 0.5625, -0.0625]
    >>> float(keys_kernel(0.25) @ np.array([0.0, 1, 2, 3]))
    1.25
    """
    t = fraction
    return np.array(
        [
            -0.5 * t**3 + t**2 - 0.5 * t,
            1.5 * t**3 - 2.5 * t**2 + 1,
            -1.5 * t**3 + 2 * t**2 + 0.5 * t,
            0.5 * t**3 - 0.5 * t**2,
        ]
    )


class BrokenTileError(Exception):
    """The pixels of a tile break off; ``index`` says whose."""

    def __init__(self, index: int, error: pyvips.Error) -> None:
        super().__init__(index, error)
        self.index, self.error = index, error


class LaidReader:
    """Reads a tile from top to bottom and gives rectangles of the canvas, levels as stored.

    Belongs to the thread that uses it first. Levels become gain · level + offset, offset in levels.
    """

    def __init__(
        self, laid: Laid, opened: Callable[[], RowSource], *, gain: float, offset: float
    ) -> None:
        self._laid, self._opened = laid, opened
        self._gain, self._offset = gain, offset
        self._rows: RowReader | None = None
        self._top, self._window = 0, np.zeros((0, 0, 1), np.uint8)

    def part(self, left: int, top: int, right: int, bottom: int) -> Pixels:
        """Return the tile on a rectangle of the canvas (right, bottom not included).

        Shape (rows, columns, channels). ``top`` only grows from call to call. Beyond the tile its
        border is repeated; the weights there are nothing. Raises ``BrokenTileError``.
        """
        try:
            self._advance(top, bottom)
            if self._laid.is_shift:
                return self._shifted(left, top, right, bottom)
            return self._turned(left, top, right, bottom)
        except pyvips.Error as error:
            raise BrokenTileError(self._laid.index, error) from error

    def _advance(self, top: int, bottom: int) -> None:
        """Read what canvas rows ``top`` to ``bottom`` (not included) need."""
        if self._rows is None:
            self._rows = RowReader(self._opened())
        area, height = self._laid.area, self._laid.size[1]
        x = np.array([area.left, area.right, area.left, area.right], np.float64)
        y = np.array([top, top, bottom - 1, bottom - 1], np.float64)
        _, v = self._laid.on_tile(x, y)
        first = int(np.clip(np.floor(v.min()) - REACH_PX, 0, height - 1))
        last = int(np.clip(np.ceil(v.max()) + REACH_PX + 1, first + 1, height))
        first = max(first, self._top)
        self._window = self._rows.window(first, max(last, first))
        self._top = first

    @property
    def _is_levelled(self) -> bool:
        return self._gain != 1 or self._offset != 0

    def _shifted(self, left: int, top: int, right: int, bottom: int) -> Pixels:
        dx, dy = (float(value) for value in self._laid.matrix[:2, 2])
        x0, y0 = int(np.floor(left - dx)), int(np.floor(top - dy))
        fx, fy = left - dx - x0, top - dy - y0
        columns, rows = right - left, bottom - top
        if fx == 0 and fy == 0:
            seen = self._cut(x0, y0, columns, rows)
            if self._is_levelled:
                seen = cv2.addWeighted(seen, self._gain, seen, 0, self._offset)
            return seen.reshape(rows, columns, -1)
        source = self._cut(x0 - 1, y0 - 1, columns + 3, rows + 3)
        seen = cv2.sepFilter2D(
            source,
            -1,
            keys_kernel(fx),
            keys_kernel(fy) * self._gain,
            anchor=(1, 1),
            delta=self._offset,
        )
        return seen.reshape(*seen.shape[:2], -1)[1 : 1 + rows, 1 : 1 + columns]

    def _turned(self, left: int, top: int, right: int, bottom: int) -> Pixels:
        x = np.array([left, right - 1, left, right - 1], np.float64)
        y = np.array([top, top, bottom - 1, bottom - 1], np.float64)
        u, v = self._laid.on_tile(x, y)
        x0, y0 = int(np.floor(u.min())) - REACH_PX, int(np.floor(v.min())) - REACH_PX
        columns = int(np.ceil(u.max())) + REACH_PX + 1 - x0
        rows = int(np.ceil(v.max())) + REACH_PX + 1 - y0
        source = np.ascontiguousarray(self._cut(x0, y0, columns, rows))
        kind = "ushort" if source.dtype == np.uint16 else "uchar"
        image = pyvips.Image.new_from_memory(
            source.data, columns, rows, self._window.shape[2], kind
        )
        forward = self._laid.matrix
        shift = forward[:2, 2] + forward[:2, :2] @ (x0, y0)
        seen = image.cast("float").affine(
            forward[:2, :2].ravel().tolist(),
            odx=float(shift[0]),
            ody=float(shift[1]),
            oarea=[left, top, right - left, bottom - top],
            interpolate=pyvips.Interpolate.new("bicubic"),
            extend="copy",
        )
        if self._is_levelled:
            seen = seen.linear(self._gain, self._offset)
        found = np.asarray(seen.rint().cast(kind).numpy())
        return found.reshape(bottom - top, right - left, -1)

    def _cut(self, x0: int, y0: int, columns: int, rows: int) -> Pixels:
        """Return a rectangle of the tile; beyond what is held the border is repeated."""
        held = self._window
        low_y = y0 - self._top
        left, right = np.clip((x0, x0 + columns), 0, held.shape[1])
        top, bottom = np.clip((low_y, low_y + rows), 0, len(held))
        if right == left:
            left, right = (left - 1, right) if left else (left, right + 1)
        if bottom == top:
            top, bottom = (top - 1, bottom) if top else (top, bottom + 1)
        inner = held[top:bottom, left:right]
        if inner.shape[:2] == (rows, columns):
            return inner
        # a rectangle wholly beyond the tile repeats its nearest row or column
        above, before = max(0, top - low_y), max(0, left - x0)
        above, before = min(above, rows - 1), min(before, columns - 1)
        repeated: Pixels = cv2.copyMakeBorder(
            inner,
            above,
            rows - above - (bottom - top),
            before,
            columns - before - (right - left),
            cv2.BORDER_REPLICATE,
        )
        return repeated
