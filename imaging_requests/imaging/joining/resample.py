"""A tile seen on the canvas, rectangle by rectangle, resampled once at most.

A whole shift copies levels. Another shift uses the cubic convolution kernel of R. G. Keys, 1981
(a = −1/2, from memory), which keeps straight slopes exactly, as two passes of four taps. Turns and
scales use the same kernel in the plane. The kernel can overshoot at a hard edge by a few percent
of the step; results are cut to the range of levels.
"""

from __future__ import annotations

import cv2
import numpy as np
import pyvips

from imaging_requests.imaging.joining.canvas import Laid
from imaging_requests.imaging.joining.tiles import Pixels, RowReader
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


class LaidReader:
    """Reads a tile from top to bottom and gives rectangles of the canvas."""

    def __init__(self, laid: Laid, image: pyvips.Image) -> None:
        self._laid, self._rows = laid, RowReader(image)
        self._top, self._window = 0, self._rows.window(0, 0)

    def advance(self, top: int, bottom: int) -> None:
        """Read what canvas rows ``top`` to ``bottom`` (not included) need."""
        area = self._laid.area
        x = np.array([area.left, area.right, area.left, area.right], np.float64)
        y = np.array([top, top, bottom - 1, bottom - 1], np.float64)
        back = self._laid.inverse()
        v = back[1, 0] * x + back[1, 1] * y + back[1, 2]
        height = self._laid.size[1]
        first = int(np.clip(np.floor(v.min()) - REACH_PX, 0, height))
        last = int(np.clip(np.ceil(v.max()) + REACH_PX + 1, first, height))
        first = max(first, self._top)
        self._window = self._rows.window(first, max(last, first))
        self._top = first

    def part(self, left: int, top: int, right: int, bottom: int) -> Pixels | Grey:
        """Return the tile's levels on a rectangle of the canvas (right, bottom not included).

        Shape (rows, columns, channels): the stored type for a whole shift, else float32. Beyond the
        tile its border is repeated; the weights there are nothing.
        """
        if self._laid.is_shift:
            return self._shifted(left, top, right, bottom)
        return self._turned(left, top, right, bottom)

    def _shifted(self, left: int, top: int, right: int, bottom: int) -> Pixels | Grey:
        dx, dy = (float(value) for value in self._laid.matrix[:2, 2])
        x0, y0 = int(np.floor(left - dx)), int(np.floor(top - dy))
        fx, fy = left - dx - x0, top - dy - y0
        columns, rows = right - left, bottom - top
        if fx == 0 and fy == 0:
            return self._cut(x0, y0, columns, rows)
        source = self._cut(x0 - 1, y0 - 1, columns + 3, rows + 3)
        kernel_x, kernel_y = keys_kernel(fx), keys_kernel(fy)
        seen = cv2.sepFilter2D(source, cv2.CV_32F, kernel_x, kernel_y, anchor=(1, 1))
        return seen.reshape(*seen.shape[:2], -1)[1 : 1 + rows, 1 : 1 + columns]

    def _turned(self, left: int, top: int, right: int, bottom: int) -> Grey:
        back = self._laid.inverse()
        x = np.array([left, right - 1, left, right - 1], np.float64)
        y = np.array([top, top, bottom - 1, bottom - 1], np.float64)
        u = back[0, 0] * x + back[0, 1] * y + back[0, 2]
        v = back[1, 0] * x + back[1, 1] * y + back[1, 2]
        x0, y0 = int(np.floor(u.min())) - REACH_PX, int(np.floor(v.min())) - REACH_PX
        columns = int(np.ceil(u.max())) + REACH_PX + 1 - x0
        rows = int(np.ceil(v.max())) + REACH_PX + 1 - y0
        source = np.ascontiguousarray(self._cut(x0, y0, columns, rows))
        kind = "ushort" if source.dtype == np.uint16 else "uchar"
        image = pyvips.Image.new_from_memory(source.data, columns, rows, source.shape[2], kind)
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
        return np.asarray(seen.numpy()).reshape(bottom - top, right - left, -1)

    def _cut(self, x0: int, y0: int, columns: int, rows: int) -> Pixels:
        """Return a rectangle of the tile; beyond what is held the border is repeated."""
        held = self._window
        low_y = y0 - self._top
        if x0 >= 0 and x0 + columns <= held.shape[1] and low_y >= 0 and low_y + rows <= len(held):
            return held[low_y : low_y + rows, x0 : x0 + columns]
        across = np.clip(np.arange(x0, x0 + columns), 0, held.shape[1] - 1)
        down = np.clip(np.arange(low_y, low_y + rows), 0, len(held) - 1)
        return held[down][:, across]
