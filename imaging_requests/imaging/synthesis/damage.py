"""Damage that a condition may carry: a tear, a water stain, open joints; and a facing over it all.

All places are in front coordinates; a back mirrors them.
"""

from __future__ import annotations

import cv2
import numpy as np

from .grid import Grid, blur, generator, smooth_noise, smoothstep
from .relief import board_edges
from .spec import PaintingSpec
from .vocabulary import Map, Support


def tear_path(spec: PaintingSpec) -> list[tuple[float, float]]:
    """Course of the tear, a crooked line with one branch, mm."""
    rng = generator(spec.seed, "tear")
    x, y = 0.58 * spec.width_mm, 0.56 * spec.height_mm
    reach = min(110.0, 0.22 * min(spec.width_mm, spec.height_mm))
    path = [(x, y)]
    for i in range(6):
        x += reach / 6 * (0.8 if i < 4 else -0.2) + float(rng.normal(0, 1.5))
        y += reach / 6 * (0.35 if i < 4 else 1.1) + float(rng.normal(0, 1.5))
        path.append((x, y))
    return path


def tear(spec: PaintingSpec, grid: Grid, width_mm: float) -> Map:
    """Where the tear gapes, 0 to 1."""
    mark = np.zeros(grid.shape, np.uint8)
    path = np.array(tear_path(spec)) * grid.px_per_mm - 0.5
    points = np.round(path * 16).astype(np.int32)
    thick = max(1, round(grid.px(width_mm)))
    cv2.polylines(mark, [points], False, 255, thick, cv2.LINE_AA, 4)
    return mark.astype(np.float32) / np.float32(255)


def tide(spec: PaintingSpec, grid: Grid) -> tuple[Map, Map]:
    """A water stain that rose from the lower edge: its inside and its rim, 0 to 1."""
    rng = generator(spec.seed, "water")
    x, y = grid.axes_mm()
    sway = smooth_noise(rng, grid.shape, grid.px(140), octaves=3)
    level = (y + 0 * x) - spec.height_mm * (0.72 + 0.05 * sway)
    rim = np.exp(-((level / 3.5) ** 2)).astype(np.float32)
    return smoothstep(0.0, 6.0, level), rim


def joint_lines(spec: PaintingSpec, grid: Grid, *, is_open: bool) -> Map:
    """The joints between a panel's boards where they show through the paint, 0 to 1."""
    field = np.zeros(grid.shape, np.float32)
    if spec.support is not Support.PANEL:
        return field
    rows, columns = grid.shape
    rng = generator(spec.seed, "joints")
    for edge in board_edges(spec)[1:-1]:
        along = smooth_noise(rng, (rows, 1), (1.0, grid.px(60)), octaves=3)[:, 0]
        place = np.clip(np.round(grid.px(edge) + 0.5 * along).astype(int), 0, columns - 1)
        strength = smoothstep(-0.4, 0.8, along) if is_open else 0.35 * smoothstep(0.2, 1.4, along)
        field[np.arange(rows), place] = strength
    return np.minimum(blur(field, 0.5) * np.float32(1.3), 1)


def tissue(spec: PaintingSpec, grid: Grid) -> Map:
    """Thickness of a facing tissue laid in overlapping sheets, mean about 0.6, with fibres."""
    rng = generator(spec.seed, "facing")
    fibres = smooth_noise(rng, grid.shape, (grid.px(14), grid.px(1.2)), octaves=2)
    fibres = fibres + smooth_noise(rng, grid.shape, (grid.px(1.2), grid.px(14)), octaves=2)
    x, y = grid.axes_mm()
    seams = np.exp(-((((x % 160) - 8) / 5) ** 2)) + np.exp(-((((y % 210) - 8) / 5) ** 2))
    return np.clip(0.58 + 0.06 * fibres + 0.16 * seams, 0, 0.95).astype(np.float32)
