"""The picture plane of one tile: shapes and maps given in mm, drawn with true edges."""

from __future__ import annotations

from collections import deque
from collections.abc import Sequence

import cv2
import numpy as np

from .grid import Grid, Region
from .vocabulary import Map, Rect

#: Maps made smaller that are remembered: an X-ray lays so many planes over each other.
RECENT = 6


class Sheet:
    """Linear light on the plane of a face within a tile, square and true."""

    def __init__(self, tile: Rect, px_per_mm: float, shape: tuple[int, int], channels: int) -> None:
        self.tile = tile
        self.px_per_mm = px_per_mm
        full = shape if channels == 1 else (*shape, channels)
        self.image: Map = np.zeros(full, np.float32)

    def x_px(self, mm: float) -> float:
        """Pixel coordinate of an x in mm."""
        return (mm - self.tile.x) * self.px_per_mm - 0.5

    def y_px(self, mm: float) -> float:
        """Pixel coordinate of a y in mm."""
        return (mm - self.tile.y) * self.px_per_mm - 0.5

    def rect(self, rect: Rect, value: Sequence[float] | float) -> None:
        """A rectangle, every pixel covered by its true share."""
        rows, columns = self.image.shape[:2]
        left, right = self.x_px(rect.x) + 0.5, self.x_px(rect.right) + 0.5
        top, bottom = self.y_px(rect.y) + 0.5, self.y_px(rect.bottom) + 0.5
        x0, x1 = max(0, int(np.floor(left))), min(columns, int(np.ceil(right)))
        y0, y1 = max(0, int(np.floor(top))), min(rows, int(np.ceil(bottom)))
        if x0 >= x1 or y0 >= y1:
            return
        cover = np.outer(_share(y0, y1, top, bottom), _share(x0, x1, left, right))
        self._blend(y0, y1, x0, x1, cover.astype(np.float32), value)

    def polygon(
        self, points_mm: Sequence[tuple[float, float]], value: Sequence[float] | float
    ) -> None:
        """A filled polygon with edges smoothed over one pixel."""
        region = self.inside(points_mm)
        if not region.is_empty:
            self._blend(region.y0, region.y1, region.x0, region.x1, region.cover, value)

    def inside(self, points_mm: Sequence[tuple[float, float]]) -> Region:
        """Pixels inside a polygon, by their share, on a raster four times as fine."""
        points = np.array([(self.x_px(x), self.y_px(y)) for x, y in points_mm])
        rows, columns = self.image.shape[:2]
        low = np.floor(points.min(0)).astype(int) - 2
        high = np.ceil(points.max(0)).astype(int) + 3
        x0, y0 = max(0, int(low[0])), max(0, int(low[1]))
        x1, y1 = min(columns, int(high[0])), min(rows, int(high[1]))
        if x0 >= x1 or y0 >= y1:
            return Region(0, 0, 0, 0, np.zeros((0, 0), np.float32))
        fine = 4
        mask = np.zeros(((y1 - y0) * fine, (x1 - x0) * fine), np.uint8)
        inner = ((points - (x0, y0) + 0.5) * fine - 0.5) * 16
        cv2.fillPoly(mask, [np.round(inner).astype(np.int32)], 255, cv2.LINE_8, 4)
        cover = cv2.resize(mask, (x1 - x0, y1 - y0), interpolation=cv2.INTER_AREA)
        return Region(y0, y1, x0, x1, cover.astype(np.float32) / 255)

    def disc(
        self, centre: tuple[float, float], radius: float, value: Sequence[float] | float
    ) -> None:
        """A filled circle."""
        angles = np.linspace(0, 2 * np.pi, 48, endpoint=False)
        self.polygon(
            [(centre[0] + radius * np.cos(a), centre[1] + radius * np.sin(a)) for a in angles],
            value,
        )

    def lay(self, field: Map, grid: Grid, outline_mm: Sequence[tuple[float, float]]) -> None:
        """A face's map, cut to its convex outline (clockwise from the top left)."""
        rows, columns = self.image.shape[:2]
        placed = self.place(field, grid)
        points = np.array([(self.x_px(x), self.y_px(y)) for x, y in outline_mm])
        # inside this box every pixel is covered; only the four strips around it need blending
        left = int(np.clip(np.ceil(max(points[0, 0], points[3, 0])) + 1, 0, columns))
        right = int(np.clip(np.floor(min(points[1, 0], points[2, 0])) - 1, left, columns))
        top = int(np.clip(np.ceil(max(points[0, 1], points[1, 1])) + 1, 0, rows))
        bottom = int(np.clip(np.floor(min(points[2, 1], points[3, 1])) - 1, top, rows))
        self.image[top:bottom, left:right] = placed[top:bottom, left:right]
        for y0, y1, x0, x1 in (
            (0, top, 0, columns),
            (bottom, rows, 0, columns),
            (top, bottom, 0, left),
            (top, bottom, right, columns),
        ):
            if y0 < y1 and x0 < x1:
                cover = _convex_cover(points, y0, y1, x0, x1)
                if self.image.ndim == 3:
                    cover = cover[..., None]
                part = self.image[y0:y1, x0:x1]
                part += (placed[y0:y1, x0:x1] - part) * cover

    def place(
        self, field: Map, grid: Grid, *, about: tuple[float, float] = (0, 0), enlarge: float = 1.0
    ) -> Map:
        """A face's map resampled onto the tile; beyond the face its border is repeated.

        Args:
            about, enlarge: Centre in mm and factor of an enlargement before it is laid down.
        """
        rows, columns = self.image.shape[:2]
        factor = self.px_per_mm / grid.px_per_mm
        ratio_x = ratio_y = 1.0
        if factor < 0.95:
            source_rows, source_columns = field.shape[:2]
            size = (max(1, round(source_columns * factor)), max(1, round(source_rows * factor)))
            field = _reduced(field, size)
            ratio_x, ratio_y = size[0] / source_columns, size[1] / source_rows
        # tile px -> mm -> before enlargement -> source px
        step = 1 / (self.px_per_mm * enlarge)
        x0 = (self.tile.x + 0.5 / self.px_per_mm - about[0]) / enlarge + about[0]
        y0 = (self.tile.y + 0.5 / self.px_per_mm - about[1]) / enlarge + about[1]
        sx, sy = grid.px_per_mm * ratio_x, grid.px_per_mm * ratio_y
        matrix = np.array([[step * sx, 0, x0 * sx - 0.5], [0, step * sy, y0 * sy - 0.5]])
        return cv2.warpAffine(
            field,
            matrix,
            (columns, rows),
            flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
            borderMode=cv2.BORDER_REPLICATE,
        )

    def _blend(
        self, y0: int, y1: int, x0: int, x1: int, cover: Map, value: Sequence[float] | float
    ) -> None:
        region = self.image[y0:y1, x0:x1]
        colour = np.asarray(value, np.float32)
        if region.ndim == 3:
            cover = cover[..., None]
        region += (colour - region) * cover


_recent: deque[tuple[Map, tuple[int, int], Map]] = deque(maxlen=RECENT)


def _reduced(field: Map, size: tuple[int, int]) -> Map:
    """A map made smaller; the last few are remembered, since tiles are parts of the same face."""
    for whole, its_size, small in _recent:
        if whole is field and its_size == size:
            return small
    small = np.asarray(cv2.resize(field, size, interpolation=cv2.INTER_AREA))
    _recent.append((field, size, small))
    return small


def _share(first: int, last: int, low: float, high: float) -> Map:
    """Share of each pixel from first to last that lies between two edges."""
    start = np.arange(first, last, dtype=np.float64)
    share: Map = np.minimum(start + 1, high) - np.maximum(start, low)
    return np.clip(share, 0, 1).astype(np.float32)


def _convex_cover(points: Map, y0: int, y1: int, x0: int, x1: int) -> Map:
    """Share of each pixel of a window inside a convex polygon: its distance to the nearest side."""
    x = np.arange(x0, x1, dtype=np.float32)[None, :]
    y = np.arange(y0, y1, dtype=np.float32)[:, None]
    inside = np.full((y1 - y0, x1 - x0), np.inf, np.float32)
    for (ax, ay), (bx, by) in zip(points, np.roll(points, -1, 0), strict=True):
        length = float(np.hypot(bx - ax, by - ay))
        away = ((bx - ax) * (y - ay) - (by - ay) * (x - ax)) / length
        np.minimum(inside, away.astype(np.float32), out=inside)
    return np.asarray(np.clip(inside + np.float32(0.5), 0, 1))
