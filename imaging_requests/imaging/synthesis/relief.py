"""The large shape of a face: bow and twist of panels, slack cloth, and light that grazes it."""

from __future__ import annotations

import itertools

import cv2
import numpy as np

from .grid import Grid, smooth_noise, smoothstep
from .spec import PaintingSpec
from .vocabulary import Map, Support

# Share of a panel's warp that appears as one bow across the grain; the rest is twist and the
# cupping of single boards, which leave the mean slope across the face unchanged.
BOW_SHARE = 0.12
TWIST_SHARE = 0.22
BOARD_CUP_MM = 1.1
BAR_WIDTH_MM = 55.0


def large_shape(
    spec: PaintingSpec, grid: Grid, rng: np.random.Generator, *, bow: float, slackness: float
) -> Map:
    """Height of the face above its mean plane as seen from the front, mm.

    Args:
        bow: 1 for the panel's warp as it is, less when flattened.
        slackness: 1 for a slack canvas, 0 for a taut one.
    """
    rows, columns = grid.shape
    u = np.linspace(-1, 1, columns, dtype=np.float32)[None, :]
    v = np.linspace(-1, 1, rows, dtype=np.float32)[:, None]
    height = np.zeros((rows, columns), np.float32)
    if spec.support is Support.PANEL:
        warp = np.float32(spec.warp_mm * bow)
        height += np.float32(BOW_SHARE) * warp * (1 - u * u)
        height += np.float32(TWIST_SHARE) * warp * u * v * np.float32(rng.choice([-1, 1]))
        edges = board_edges(spec)
        for left, right in itertools.pairwise(edges):
            x = (np.arange(columns, dtype=np.float32) + 0.5) / np.float32(grid.px_per_mm)
            t = np.clip((x - left) / (right - left), 0, 1) * 2 - 1
            inside = (x >= left) & (x < right)
            cup = np.float32(BOARD_CUP_MM * min(1.0, spec.warp_mm / 8) * (right - left) / 300)
            height += np.where(inside, cup * (1 - t * t), 0)[None, :].astype(np.float32)
    elif spec.support in (Support.CANVAS, Support.CLOTH) and slackness > 0:
        slack = np.float32(slackness * min(spec.warp_mm, 8.0))
        bulge = smooth_noise(rng, grid.shape, max(rows, columns) / 2.2)
        height += 0.10 * slack * bulge
        height += _corner_draws(grid, rng, slack)
        height += _bar_marks(grid, slack)
    return height.astype(np.float32)


def board_edges(spec: PaintingSpec) -> list[float]:
    """x of the sides of the boards a panel is made of, front view, mm, outer sides included."""
    count = max(1, round(spec.width_mm / 265))
    rng = np.random.default_rng([spec.seed, 41])
    cuts = [spec.width_mm * (i / count + rng.uniform(-0.10, 0.10) / count) for i in range(1, count)]
    return [0.0, *cuts, spec.width_mm]


def _corner_draws(grid: Grid, rng: np.random.Generator, slack: np.float32) -> Map:
    """Ripples that run from the corners into a slack canvas."""
    x, y = grid.axes_mm()
    total = np.zeros(grid.shape, np.float32)
    reach = 0.24 * min(grid.width_mm, grid.height_mm)
    for cx, cy in (
        (0.0, 0.0),
        (grid.width_mm, 0.0),
        (0.0, grid.height_mm),
        (grid.width_mm, grid.height_mm),
    ):
        dx, dy = np.abs(x - np.float32(cx)), np.abs(y - np.float32(cy))
        distance = np.sqrt(dx * dx + dy * dy)
        angle = np.arctan2(dy, dx + 1e-3)
        ripple = np.sin(angle * np.float32(rng.uniform(12, 17)) + np.float32(rng.uniform(0, 6)))
        total += ripple * np.exp(-distance / np.float32(reach)) * (distance / np.float32(reach))
    return total * np.float32(0.16) * slack


def _bar_marks(grid: Grid, slack: np.float32) -> Map:
    """Faint ridges over the inner edges of the stretcher bars."""
    x, y = grid.axes_mm()
    near_x = np.minimum(x, grid.width_mm - x) - BAR_WIDTH_MM
    near_y = np.minimum(y, grid.height_mm - y) - BAR_WIDTH_MM
    inside = np.minimum(near_x, near_y)
    return (0.05 * slack * np.exp(-((inside / 5) ** 2))).astype(np.float32)


def grazing_light(height_mm: Map, grid: Grid, *, azimuth_deg: float, elevation_deg: float) -> Map:
    """Share of light that each place receives compared with a level one, shadows included.

    The share is n . l / sin(elevation) for a distant lamp, n from the height map; a place is in
    shadow when a nearer one towards the lamp stands above the ray.

    Args:
        height_mm: Relief, mm.
        azimuth_deg: Clock angle of the lamp as the viewer of this face sees it.
        elevation_deg: Height of the lamp above the plane, 2 to 90.
    """
    azimuth, elevation = np.deg2rad(azimuth_deg), np.deg2rad(elevation_deg)
    towards = (float(np.sin(azimuth)), float(-np.cos(azimuth)))
    d = grid.px_per_mm
    slope_x = cv2.Sobel(height_mm, cv2.CV_32F, 1, 0, ksize=3) / 8 * d
    slope_y = cv2.Sobel(height_mm, cv2.CV_32F, 0, 1, ksize=3) / 8 * d
    # a surface that rises towards the lamp turns away from it
    rise = slope_x * np.float32(towards[0]) + slope_y * np.float32(towards[1])
    facing = 1 - rise / np.float32(np.tan(elevation))
    level = np.sqrt(1 + slope_x**2 + slope_y**2)
    light: Map = np.maximum(facing / level, 0)
    tangent = float(np.tan(elevation))
    light *= 1 - 0.88 * _shadow(height_mm, towards, tangent / d, (1.5, 3.0, 5.0, 8.0))
    quarter = cv2.resize(height_mm, None, fx=0.25, fy=0.25, interpolation=cv2.INTER_AREA)
    far = _shadow(quarter, towards, 4 * tangent / d, (3.0, 5.0, 8.0, 12.0, 17.0, 24.0))
    light *= 1 - 0.88 * cv2.resize(far, height_mm.shape[1::-1], interpolation=cv2.INTER_LINEAR)
    return np.clip(light, 0, 3).astype(np.float32)


def _shadow(
    height_mm: Map, towards: tuple[float, float], rise: float, distances: tuple[float, ...]
) -> Map:
    """Where something nearer to the lamp stands above the ray, 0 to 1; distances in px."""
    rows, columns = height_mm.shape
    above = np.full((rows, columns), -1e3, np.float32)
    for distance in distances:
        shift = np.array([[1, 0, towards[0] * distance], [0, 1, towards[1] * distance]], np.float32)
        nearer = cv2.warpAffine(
            height_mm,
            shift,
            (columns, rows),
            flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
            borderMode=cv2.BORDER_REPLICATE,
        )
        np.maximum(above, nearer - np.float32(distance * rise), out=above)
    return smoothstep(0.0, 0.12, above - height_mm)
