"""What carries the paint: cloth, wood, metal; and what stands behind it: stretchers, cradles."""

from __future__ import annotations

import itertools

import cv2
import numpy as np

from .grid import Grid, blur, smooth_noise, smoothstep
from .relief import BAR_WIDTH_MM, board_edges
from .spec import PaintingSpec
from .vocabulary import Map, Rect, Support

THREAD_PITCH_MM = 0.85
CROSSBAR_FROM_MM = 900.0


def weave(grid: Grid, rng: np.random.Generator, *, pitch_mm: float = THREAD_PITCH_MM) -> Map:
    """Plain weave seen from the front, mean 0, about -1 to 1.

    Threads finer than 2.4 pixels cannot be drawn; then only the slubs and the uneven density of
    the cloth remain.
    """
    rows, columns = grid.shape
    warp_slubs = smooth_noise(rng, grid.shape, (grid.px(1.2), grid.px(60)), octaves=2)
    weft_slubs = smooth_noise(rng, grid.shape, (grid.px(60), grid.px(1.2)), octaves=2)
    cloth = 0.5 * (warp_slubs + weft_slubs)
    pitch = grid.px(pitch_mm)
    if pitch >= 2.4:
        drift = grid.px(1.2) * smooth_noise(rng, grid.shape, grid.px(90))
        x = np.arange(columns, dtype=np.float32)[None, :] + drift
        y = np.arange(rows, dtype=np.float32)[:, None] + drift
        threads = np.cos(x * np.float32(2 * np.pi / pitch)) * np.cos(
            y * np.float32(2 * np.pi / pitch)
        )
        cloth = 0.6 * cloth + 0.7 * threads * smoothstep(
            2.4, 3.6, np.full((1, 1), pitch, np.float32)
        )
    return (0.55 * cloth).astype(np.float32)


def wood_grain(
    grid: Grid, edges_mm: list[float], rng: np.random.Generator, *, is_upright: bool = True
) -> Map:
    """Growth rings of the boards as light and dark streaks, mean 0, about -1 to 1.

    Every board is a slice of its own tree: rings are levels of the distance from a distant pith
    line, distorted by noise along the grain.
    """
    rows, columns = grid.shape
    if not is_upright:
        turned = Grid(grid.height_mm, grid.width_mm, grid.px_per_mm)
        return np.ascontiguousarray(wood_grain(turned, edges_mm, rng).T[:rows, :columns])
    total = np.zeros((rows, columns), np.float32)
    y = (np.arange(rows, dtype=np.float32)[:, None] + 0.5) / np.float32(grid.px_per_mm)
    for left, right in itertools.pairwise(edges_mm):
        first, last = round(grid.px(left)), min(columns, round(grid.px(right)))
        if last - first < 2:
            continue
        shape = (rows, last - first)
        x = (np.arange(last - first, dtype=np.float32)[None, :] + 0.5) / np.float32(grid.px_per_mm)
        pith = np.float32(rng.uniform(-0.3, 1.3) * (right - left))
        below = np.float32(rng.uniform(25, 90))
        wander = smooth_noise(rng, shape, (grid.px(60), grid.px(320)), octaves=3)
        bend = np.float32(rng.uniform(-0.05, 0.05)) * (y - grid.height_mm / 2)
        radius = np.sqrt((x - pith + bend + 7 * wander) ** 2 + below**2)
        ring = radius / np.float32(rng.uniform(3.2, 5.0))
        saw = ring - np.floor(ring)
        late = np.where(saw < 0.8, saw / 0.8, (1 - saw) / 0.2) ** 2
        pores = smooth_noise(rng, shape, (1.3, grid.px(26)))
        board = 1.4 * (late - 0.4) + 0.30 * pores + np.float32(rng.uniform(-0.35, 0.35))
        total[:, first:last] = board
    return blur(total, 0.5)


def stretcher_bars(spec: PaintingSpec) -> list[Rect]:
    """Bars of the stretcher as seen from the front, mm; cross bars on larger canvases."""
    w, h, b = spec.width_mm, spec.height_mm, min(BAR_WIDTH_MM, spec.width_mm / 6)
    bars = [
        Rect(x=0, y=0, width=w, height=b),
        Rect(x=0, y=h - b, width=w, height=b),
        Rect(x=0, y=0, width=b, height=h),
        Rect(x=w - b, y=0, width=b, height=h),
    ]
    for i in range(1, 1 + int(w // CROSSBAR_FROM_MM)):
        x = w * i / (1 + int(w // CROSSBAR_FROM_MM))
        bars.append(Rect(x=x - b / 2, y=0, width=b, height=h))
    for i in range(1, 1 + int(h // CROSSBAR_FROM_MM)):
        y = h * i / (1 + int(h // CROSSBAR_FROM_MM))
        bars.append(Rect(x=0, y=y - b / 2, width=w, height=b))
    return bars


def cradle_battens(spec: PaintingSpec) -> tuple[list[Rect], list[Rect]]:
    """Fixed battens along the grain and sliding ones across it, front view, mm."""
    w, h = spec.width_mm, spec.height_mm
    upright = max(3, round(w / 95))
    across = max(3, round(h / 120))
    fixed = [
        Rect(x=w * (i + 0.5) / upright - 15, y=h * 0.03, width=30, height=h * 0.94)
        for i in range(upright)
    ]
    sliding = [
        Rect(x=w * 0.02, y=h * (i + 0.5) / across - 19, width=w * 0.96, height=38)
        for i in range(across)
    ]
    return fixed, sliding


def fill_rect(field: Map, grid: Grid, rect: Rect, value: float) -> None:
    """Set a rectangle given in mm, to the nearest pixel, in place."""
    x0, x1 = max(0, round(grid.px(rect.x))), round(grid.px(rect.right))
    y0, y1 = max(0, round(grid.px(rect.y))), round(grid.px(rect.bottom))
    field[y0:y1, x0:x1] = value


def tacks_mm(spec: PaintingSpec) -> list[tuple[float, float]]:
    """Tacks along the tacking edges of a canvas, front view, mm, about 55 mm apart."""
    rng = np.random.default_rng([spec.seed, 43])
    found: list[tuple[float, float]] = []
    for length, is_row in ((spec.width_mm, True), (spec.height_mm, False)):
        count = max(3, round(length / 55))
        for side in (2.2, (spec.height_mm if is_row else spec.width_mm) - 2.2):
            for i in range(count):
                along = length * (i + 0.5) / count + rng.uniform(-6, 6)
                found.append((along, side) if is_row else (side, along))
    return found


def support_x_ray(spec: PaintingSpec, grid: Grid, rng: np.random.Generator) -> Map:
    """Attenuation of cloth with its ground, or of the wood, front view, about 0.1 to 0.5."""
    if spec.support is Support.PANEL:
        grain = wood_grain(grid, board_edges(spec), rng)
        base = np.float32(0.10 + 0.006 * min(spec.depth_mm, 32))
        return np.maximum(base * (1 + 0.30 * grain), 0.02).astype(np.float32)
    if spec.support is Support.COPPER:
        return np.full(grid.shape, 1.6, np.float32)
    cloth = weave(grid, rng)
    return (0.16 * (1 + 0.55 * cloth)).astype(np.float32)


def dots(grid: Grid, places_mm: list[tuple[float, float]], radius_mm: float) -> Map:
    """Round spots, 0 to 1, with soft edges."""
    field = np.zeros(grid.shape, np.float32)
    radius = max(1, round(grid.px(radius_mm) * 16))
    for x, y in places_mm:
        centre = (round((grid.px(x) - 0.5) * 16), round((grid.px(y) - 0.5) * 16))
        cv2.circle(field, centre, radius, 1.0, -1, cv2.LINE_8, 4)
    return blur(field, 0.6)
