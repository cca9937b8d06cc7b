"""The four edges of an object: end grain, tacking edges, drips of ground."""

from __future__ import annotations

import numpy as np

from .grid import Grid, generator, smooth_noise, smoothstep
from .relief import board_edges
from .spec import PaintingSpec
from .support import dots, weave, wood_grain
from .vocabulary import Direction, Map, Support


def edge_map(spec: PaintingSpec, edge: Direction, px_per_mm: float) -> tuple[Map, Grid]:
    """Reflectance of an edge, linear RGB, x along the edge as its viewer sees it, y to the back."""
    is_level = edge in (Direction.TOP, Direction.BOTTOM)
    length = spec.width_mm if is_level else spec.height_mm
    grid = Grid(length, spec.depth_mm, px_per_mm)
    rng = generator(spec.seed, "edge", edge.value)
    _, y = grid.axes_mm()
    if spec.support is Support.PANEL:
        ends = board_edges(spec) if is_level else [0.0, spec.depth_mm]
        grain = wood_grain(grid, ends, rng, is_upright=is_level)
        grain = grain + 0.5 * smooth_noise(rng, grid.shape, (grid.px(1.4), grid.px(5)), octaves=2)
        colour: Map = np.array([0.27, 0.17, 0.09], np.float32) * (1 + 0.3 * grain[..., None])
    elif spec.support is Support.COPPER:
        colour = np.array([0.34, 0.17, 0.10], np.float32) * np.ones((*grid.shape, 1), np.float32)
    else:
        cloth = weave(grid, rng)
        colour = np.array([0.36, 0.28, 0.18], np.float32) * (1 + 0.25 * cloth[..., None])
        count = max(3, round(length / 55))
        heads = [
            (length * (i + 0.5) / count + float(rng.uniform(-6, 6)), spec.depth_mm * 0.45)
            for i in range(count)
        ]
        rust = dots(grid, heads, 3.6)[..., None]
        colour = colour * (1 - rust) + np.array([0.07, 0.035, 0.02], np.float32) * rust
    drip = smooth_noise(rng, grid.shape, (grid.px(14), grid.px(60)), octaves=2)
    ground = smoothstep(4.5, 1.5, (y + 0 * drip) - 1.6 * drip)[..., None]
    colour = colour + (np.array([0.60, 0.54, 0.42], np.float32) - colour) * 0.8 * ground
    return np.clip(colour, 0, 1).astype(np.float32), grid
