"""What X-rays meet: paint and cloth in one plane, bars, battens and nails at their heights."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .condition import Condition, Losses
from .damage import joint_lines, tear
from .grid import generator
from .painting import Painting
from .support import (
    cradle_battens,
    dots,
    fill_rect,
    stretcher_bars,
    support_x_ray,
    tacks_mm,
    weave,
    wood_grain,
)
from .vocabulary import Map, Support


@dataclass(frozen=True)
class Plane:
    """Attenuation of all that lies at one height behind the paint, front coordinates."""

    behind_mm: float
    attenuation: Map


def structure_planes(painting: Painting, condition: Condition) -> list[Plane]:
    """Planes of a painting in a condition, the paint first (height 0)."""
    spec, grid = painting.spec, painting.grid
    rng = generator(spec.seed, "x-ray")
    ground = 0.10
    paint = support_x_ray(spec, grid, rng) + ground + 0.95 * painting.front.x_ray
    if painting.painted_back is not None:
        paint = paint + ground + 0.95 * painting.painted_back.x_ray[:, ::-1]
    lost = painting.front.losses
    filled = {Losses.OLD_FILLS: 0.45, Losses.OPEN: -0.30, Losses.NEW_FILLS: 0.05}
    paint = np.maximum(paint + np.float32(filled[condition.losses]) * lost, 0.02)
    paint = paint - 0.10 * painting.front.cracks
    gaps = joint_lines(spec, grid, is_open=condition.has_open_joint)
    if condition.has_tear:
        gaps = np.maximum(gaps, tear(spec, grid, 1.6))
    paint = np.maximum(paint * (1 - 0.7 * gaps), 0.02)
    planes = [Plane(0.0, paint.astype(np.float32))]
    if condition.is_lined:
        planes.append(Plane(1.5, _lining(painting)))
    if spec.support is Support.CANVAS:
        planes.append(Plane(16.0, _bars(painting, condition)))
        planes.append(Plane(8.0, 2.6 * dots(grid, tacks_mm(spec), 2.6)))
    if condition.is_cradled:
        planes.append(Plane(spec.depth_mm + 10.0, _cradle(painting)))
    return planes


def _lining(painting: Painting) -> Map:
    """Second cloth and its adhesive; with lead white in it nothing else can be seen."""
    rng = generator(painting.spec.seed, "lining")
    cloth = 0.10 * (1 + 0.6 * weave(painting.grid, rng, pitch_mm=1.3))
    if painting.spec.has_lead_lining:
        cloth = cloth + 3.2
    return np.asarray(cloth, np.float32)


def _bars(painting: Painting, condition: Condition) -> Map:
    """Stretcher bars with their grain and the nails that hold them."""
    spec, grid = painting.spec, painting.grid
    field = np.zeros(grid.shape, np.float32)
    name = "old bars" if condition.has_old_stretcher else "new bars"
    rng = generator(spec.seed, name)
    edges = list(np.arange(0.0, spec.width_mm + 60.0, 60.0))
    edges[-1] = spec.width_mm
    upright = wood_grain(grid, edges, rng)
    thickness = 0.22 if condition.has_old_stretcher else 0.17
    nails: list[tuple[float, float]] = []
    for bar in stretcher_bars(spec):
        one = np.zeros(grid.shape, np.float32)
        fill_rect(one, grid, bar, thickness)
        grain = upright if bar.height > bar.width else 0.25 * upright
        field = np.maximum(field, one * (1 + 0.22 * grain))
        if condition.has_old_stretcher:
            nails.append((bar.x + 16, bar.y + 16))
    return np.asarray(field + 2.4 * dots(grid, nails, 2.0), np.float32)


def _cradle(painting: Painting) -> Map:
    """Fixed and sliding battens."""
    spec, grid = painting.spec, painting.grid
    fixed, sliding = cradle_battens(spec)
    field = np.zeros(grid.shape, np.float32)
    for batten in fixed:
        fill_rect(field, grid, batten, 0.20)
    across = np.zeros(grid.shape, np.float32)
    for batten in sliding:
        fill_rect(across, grid, batten, 0.16)
    grain = wood_grain(grid, [0.0, spec.width_mm], generator(spec.seed, "cradle"))
    return np.asarray((field + across) * (1 + 0.18 * grain), np.float32)
