"""A painting: every layer of it, built once from its facts and seed."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from .brushwork import lay_paint
from .composition import compose_design
from .craquelure import crack, losses
from .grid import Grid, generator, smooth_noise, smoothstep
from .maps import FaceMaps
from .relief import board_edges
from .spec import PaintingSpec
from .support import weave, wood_grain
from .vocabulary import Map, Subject, Support

# Density at which a painting is built when the caller has no wish: about 1.2 million pixels,
# never finer than 3 px/mm.
USUAL_PIXELS = 1.2e6
FINEST_PX_PER_MM = 3.0


@dataclass(frozen=True, kw_only=True)
class Painting:
    """Layers of both faces on grids of equal density.

    Attributes:
        spec: The facts it was made from.
        grid: Pixels over the face; front and back share its size.
        outline_mm: Corners of the face in front coordinates, clockwise from the top left.
        front: Layers of the front.
        painted_back: Layers of the back if it carries a picture.
    """

    spec: PaintingSpec
    grid: Grid
    outline_mm: tuple[tuple[float, float], ...]
    front: FaceMaps
    painted_back: FaceMaps | None


def usual_px_per_mm(spec: PaintingSpec) -> float:
    """Density at which a painting is built by default.

    >>> round(usual_px_per_mm(PaintingSpec(seed=1, width_mm=800, height_mm=1000)), 3)
    1.225
    """
    return min(FINEST_PX_PER_MM, math.sqrt(USUAL_PIXELS / (spec.width_mm * spec.height_mm)))


def build_painting(spec: PaintingSpec, *, px_per_mm: float | None = None) -> Painting:
    """Make a painting.

    Args:
        px_per_mm: Density of its layers; pictures finer than this show no more.

    Raises:
        ValueError: The density is not positive, or asks for more than 60 million pixels.
    """
    density = usual_px_per_mm(spec) if px_per_mm is None else px_per_mm
    if density <= 0:
        raise ValueError(f"px_per_mm must be positive, got {density:g}.")
    if density**2 * spec.width_mm * spec.height_mm > 6e7:
        raise ValueError(f"{density:g} px/mm would need more than 60 million pixels; ask for less.")
    grid = Grid(spec.width_mm, spec.height_mm, density)
    front = _painted_face(spec, spec.subject, grid, "front")
    back = (
        None if spec.back_subject is None else _painted_face(spec, spec.back_subject, grid, "back")
    )
    return Painting(spec=spec, grid=grid, outline_mm=outline(spec), front=front, painted_back=back)


def outline(spec: PaintingSpec) -> tuple[tuple[float, float], ...]:
    """Corners of the face: nearly square, or sawn askew for a fragment."""
    w, h = spec.width_mm, spec.height_mm
    rng = np.random.default_rng([spec.seed, 47])
    slip = (0.06 if spec.is_fragment else 0.0012) * min(w, h)
    a, b, c, d = (float(v) for v in rng.uniform(0, slip, 4))
    return ((0.0, a), (w - b, 0.0), (w, h - c), (d, h))


def _painted_face(spec: PaintingSpec, subject: Subject, grid: Grid, name: str) -> FaceMaps:
    """All layers of a painted face."""
    design = compose_design(
        subject,
        grid,
        generator(spec.seed, name, "design"),
        attribute=spec.attribute,
    )
    picture = lay_paint(design, grid, generator(spec.seed, name, "brush"))
    rng = generator(spec.seed, name, "age")
    cracks = crack(grid, spec.support, rng)
    lost = losses(grid, cracks, rng)
    touched = smoothstep(0.2, 0.7, lost + 0.35 * smooth_noise(rng, grid.shape, grid.px(5.0)))
    return FaceMaps(
        paint=picture.paint,
        gloss=picture.gloss,
        height_mm=picture.impasto_mm - 0.10 * cracks.depth + _support_relief(spec, grid, rng),
        lifting_mm=cracks.lifting_mm,
        infrared=picture.infrared,
        fluorescence=picture.fluorescence,
        x_ray=picture.x_ray,
        varnish=_varnish(grid, rng),
        dirt=_dirt(grid, rng),
        losses=lost,
        overpaint=touched,
        cracks=cracks.depth,
        ground=(0.62, 0.55, 0.42),
    )


def _support_relief(spec: PaintingSpec, grid: Grid, rng: np.random.Generator) -> Map:
    """What the support gives to the surface, mm."""
    if spec.support is Support.PANEL:
        return 0.022 * wood_grain(grid, board_edges(spec), rng)
    if spec.support is Support.COPPER:
        return np.zeros(grid.shape, np.float32)
    return 0.045 * weave(grid, rng)


def _varnish(grid: Grid, rng: np.random.Generator) -> Map:
    """Thickness of an aged varnish brushed on in broad level strokes, mean about 1."""
    rows, columns = grid.shape
    strokes = smooth_noise(rng, grid.shape, (columns / 2, grid.px(22)), octaves=2)
    pools = smooth_noise(rng, grid.shape, max(rows, columns) / 3, octaves=2)
    return np.clip(1 + 0.13 * strokes + 0.12 * pools, 0.3, 1.9).astype(np.float32)


def _dirt(grid: Grid, rng: np.random.Generator) -> Map:
    """Surface dirt, thicker below and in hollows, thin where a frame has covered the edge."""
    rows, _ = grid.shape
    x, y = grid.axes_mm()
    edge = np.minimum(np.minimum(x, grid.width_mm - x), np.minimum(y, grid.height_mm - y))
    fall = np.linspace(0.35, 0.75, rows, dtype=np.float32)[:, None]
    cloud = smooth_noise(rng, grid.shape, max(grid.shape) / 4, octaves=3)
    field = (fall + 0.10 * cloud) * smoothstep(4.0, 11.0, edge.astype(np.float32))
    return np.clip(field, 0, 1).astype(np.float32)
