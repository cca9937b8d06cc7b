"""Age cracks: nets of islands, edges that curl up, and the places where paint has fallen away."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from .grid import Grid, blur, smooth_noise, smoothstep
from .vocabulary import Map, Support


@dataclass(frozen=True)
class Cracks:
    """Cracks of one paint layer.

    Attributes:
        depth: Where it is cracked, 0 to 1.
        lifting_mm: Height of curled edges, mm, to be pressed down by flake laying.
    """

    depth: Map
    lifting_mm: Map


def crack(grid: Grid, support: Support, rng: np.random.Generator) -> Cracks:
    """Craquelure as the support makes it: along the grain on panel, a net on canvas, fine on metal.

    Islands are the cells nearest to scattered points (a Voronoi diagram from a labelled distance
    transform), stretched along the grain and distorted by noise; a second, finer net fills the
    coarse one in patches.
    """
    island_mm = {Support.PANEL: 13.0, Support.CANVAS: 17.0, Support.COPPER: 22.0}.get(support, 20.0)
    island = max(grid.px(island_mm), 9.0)
    stretch = (0.62, 1.7) if support is Support.PANEL else (1.0, 1.0)
    coarse, far = _net(grid, island, stretch, rng)
    fine, _ = _net(grid, island * 0.42, stretch, rng)
    cell = max(grid.shape) / 5
    patches = smoothstep(0.0, 1.2, smooth_noise(rng, grid.shape, cell, octaves=2))
    presence = 0.25 + 0.75 * smoothstep(
        -1.0, 1.2, smooth_noise(rng, grid.shape, cell * 0.8, octaves=2)
    )
    strength = 0.35 if support is Support.COPPER else 1.0
    depth = np.maximum(coarse * presence, 0.6 * fine * patches * presence) * np.float32(strength)
    cupped = smoothstep(0.5, 1.9, smooth_noise(rng, grid.shape, cell * 0.7, octaves=2))
    curl = np.exp(-far / np.float32(max(1.2, island * 0.16)))
    lifting = cupped * curl * np.float32(0.42 * strength)
    return Cracks(depth=depth, lifting_mm=lifting.astype(np.float32))


def _net(
    grid: Grid, island: float, stretch: tuple[float, float], rng: np.random.Generator
) -> tuple[Map, Map]:
    """Lines between cells (0 to 1, soft), and each pixel's distance to the nearest line, px."""
    rows, columns = grid.shape
    squeezed = (max(8, round(rows / stretch[1])), max(8, round(columns / stretch[0])))
    step = island
    x, y = np.meshgrid(np.arange(0, squeezed[1], step), np.arange(0, squeezed[0], step))
    x = x + rng.uniform(-0.48, 0.48, x.shape) * step
    y = y + rng.uniform(-0.48, 0.48, y.shape) * step
    seeds = np.full(squeezed, 255, np.uint8)
    row = np.clip(y, 0, squeezed[0] - 1).astype(int)
    column = np.clip(x, 0, squeezed[1] - 1).astype(int)
    seeds[row, column] = 0
    _, label = cv2.distanceTransformWithLabels(
        seeds, cv2.DIST_L2, 3, labelType=cv2.DIST_LABEL_PIXEL
    )
    wobble = np.float32(0.16 * island)
    dx = wobble * smooth_noise(rng, grid.shape, island * 0.8, octaves=2)
    dy = wobble * smooth_noise(rng, grid.shape, island * 0.8, octaves=2)
    base_x = np.linspace(0, squeezed[1] - 1, columns, dtype=np.float32)[None, :]
    base_y = np.linspace(0, squeezed[0] - 1, rows, dtype=np.float32)[:, None]
    cells = cv2.remap(
        label.astype(np.float32),
        (base_x + dx / stretch[0]).astype(np.float32),
        (base_y + dy / stretch[1]).astype(np.float32),
        cv2.INTER_NEAREST,
        borderMode=cv2.BORDER_REPLICATE,
    )
    line = np.zeros(grid.shape, np.uint8)
    line[:, 1:] |= (cells[:, 1:] != cells[:, :-1]).view(np.uint8)
    line[1:, :] |= (cells[1:, :] != cells[:-1, :]).view(np.uint8)
    far = cv2.distanceTransform(1 - line, cv2.DIST_L2, 3)
    soft = blur(line.astype(np.float32), 0.55) * np.float32(1.15)
    return np.minimum(soft, 1), far


def losses(grid: Grid, cracks: Cracks, rng: np.random.Generator, *, share: float = 0.004) -> Map:
    """Places where paint has gone: flakes along cracks, and nicks along the edges, 0 to 1."""
    rows, columns = grid.shape
    x, y = grid.axes_mm()
    edge_mm = np.minimum(
        np.minimum(x, grid.width_mm - x), np.minimum(y, grid.height_mm - y)
    ).astype(np.float32)
    grain = smooth_noise(rng, grid.shape, max(grid.px(7.0), 5.0), octaves=3)
    place = smooth_noise(rng, grid.shape, max(rows, columns) / 6, octaves=2)
    wish = 0.62 * grain + 1.15 * place + 1.3 * np.exp(-edge_mm / 9) + 2.0 * cracks.lifting_mm
    limit = float(np.quantile(wish[::4, ::4], 1 - share))
    return smoothstep(limit - 0.04, limit + 0.10, wish.astype(np.float32))
