"""Backs that carry no picture: cloth with its stretcher, wood with its tool marks, metal."""

from __future__ import annotations

import numpy as np

from .condition import Condition
from .grid import Grid, generator, smooth_noise
from .maps import FaceMaps
from .relief import board_edges
from .spec import PaintingSpec
from .support import fill_rect, stretcher_bars, weave, wood_grain
from .vocabulary import Map, Rect, Support


def mirrored(rect: Rect, width_mm: float) -> Rect:
    """A rectangle given on one face, in the coordinates of the other."""
    return Rect(x=width_mm - rect.right, y=rect.y, width=rect.width, height=rect.height)


def bare_back(spec: PaintingSpec, condition: Condition, grid: Grid) -> FaceMaps:
    """Layers of a bare back in the coordinates of its own viewer."""
    rng = generator(spec.seed, "back")
    if spec.support is Support.PANEL:
        edges = [spec.width_mm - x for x in reversed(board_edges(spec))]
        grain = wood_grain(grid, edges, rng)
        paint = np.array([0.24, 0.15, 0.08], np.float32) * (1 + 0.25 * grain[..., None])
        height = 0.05 * grain
    elif spec.support is Support.COPPER:
        tone = 1 + 0.12 * smooth_noise(rng, grid.shape, 40, octaves=4)
        paint = np.array([0.36, 0.18, 0.10], np.float32) * tone[..., None]
        height = np.zeros(grid.shape, np.float32)
    else:
        cloth = weave(grid, rng)
        paint = np.array([0.34, 0.26, 0.16], np.float32) * (1 + 0.18 * cloth[..., None])
        height = 0.06 * cloth
        for bar in stretcher_bars(spec):
            one = np.zeros(grid.shape, np.float32)
            fill_rect(one, grid, mirrored(bar, spec.width_mm), 1.0)
            wood = np.array([0.42, 0.28, 0.15], np.float32)
            paint = np.where(one[..., None] > 0, wood, paint)
            height = np.maximum(height, 16.0 * one)
    return assemble(paint, height, grid, rng)


def assemble(paint: Map, height: Map, grid: Grid, rng: np.random.Generator) -> FaceMaps:
    """Layers of an unpainted face from its colour and relief."""
    nothing = np.zeros(grid.shape, np.float32)
    dirt = np.clip(0.5 + 0.2 * smooth_noise(rng, grid.shape, max(grid.shape) / 4, octaves=3), 0, 1)
    colour = np.clip(paint, 0, 1).astype(np.float32)
    return FaceMaps(
        paint=colour,
        gloss=nothing,
        height_mm=height.astype(np.float32),
        lifting_mm=nothing,
        infrared=np.clip(np.sqrt(colour.mean(2)) * 1.2, 0, 1).astype(np.float32),
        fluorescence=(0.06 * colour).astype(np.float32),
        x_ray=nothing,
        varnish=nothing,
        dirt=dirt.astype(np.float32),
        losses=nothing,
        overpaint=nothing,
        cracks=nothing,
        ground=(0.3, 0.25, 0.2),
    )
