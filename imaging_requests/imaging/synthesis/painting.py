"""A painting: every layer of it, built once from its facts and seed."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from .beneath import Hidden, hidden_composition, infrared_with, underdrawing
from .brushwork import lay_paint
from .craquelure import crack, losses
from .grid import Grid, blur, generator, smooth_noise, smoothstep
from .maps import FaceMaps
from .relief import board_edges
from .scenes.composition import compose_design
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
        hidden: An earlier composition under the front.
    """

    spec: PaintingSpec
    grid: Grid
    outline_mm: tuple[tuple[float, float], ...]
    front: FaceMaps
    painted_back: FaceMaps | None
    hidden: Hidden | None


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
    hidden = hidden_composition(spec, grid)
    front = _painted_face(spec, spec.subject, grid, "front", hidden)
    back = (
        None
        if spec.back_subject is None
        else _painted_face(spec, spec.back_subject, grid, "back", None)
    )
    return Painting(
        spec=spec,
        grid=grid,
        outline_mm=outline(spec),
        front=front,
        painted_back=back,
        hidden=hidden,
    )


def outline(spec: PaintingSpec) -> tuple[tuple[float, float], ...]:
    """Corners of the face: nearly square, or sawn askew for a fragment."""
    w, h = spec.width_mm, spec.height_mm
    rng = np.random.default_rng([spec.seed, 47])
    slip = (0.06 if spec.is_fragment else 0.0012) * min(w, h)
    a, b, c, d = (float(v) for v in rng.uniform(0, slip, 4))
    return ((0.0, a), (w - b, 0.0), (w, h - c), (d, h))


def _painted_face(
    spec: PaintingSpec, subject: Subject, grid: Grid, name: str, hidden: Hidden | None
) -> FaceMaps:
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
    drawing = underdrawing(design, grid, rng)
    heavy = picture.x_ray if hidden is None else picture.x_ray + 0.55 * hidden.x_ray
    lost = losses(grid, cracks, rng)
    touched = _old_retouching(grid, lost, rng)
    return FaceMaps(
        paint=picture.paint,
        gloss=picture.gloss,
        height_mm=picture.impasto_mm - 0.10 * cracks.depth + _support_relief(spec, grid, rng),
        lifting_mm=cracks.lifting_mm,
        infrared=infrared_with(picture.infrared, drawing, hidden),
        fluorescence=picture.fluorescence,
        x_ray=heavy.astype(np.float32),
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


def _old_retouching(grid: Grid, lost: Map, rng: np.random.Generator) -> Map:
    """Where an earlier hand has painted over: around losses, and in a few broad areas."""
    ragged = smooth_noise(rng, grid.shape, max(3.0, grid.px(4.5)), octaves=3)
    near = blur(lost, max(1.0, grid.px(2.2))) * 3.0
    spots = smoothstep(0.55, 0.85, near + 0.16 * ragged)
    place = smooth_noise(rng, grid.shape, max(grid.shape) / 5, octaves=2)
    brush = smooth_noise(rng, grid.shape, (grid.px(26), grid.px(7)), octaves=2)
    limit = float(np.quantile(place[::8, ::8], 0.985))
    broad = smoothstep(limit - 0.1, limit + 0.25, place + 0.22 * brush + 0.06 * ragged)
    return np.maximum(spots, 0.85 * broad).astype(np.float32)


def _varnish(grid: Grid, rng: np.random.Generator) -> Map:
    """Thickness of an aged varnish brushed on in broad level strokes, mean about 1."""
    rows, columns = grid.shape
    level = smooth_noise(rng, grid.shape, (columns / 2, grid.px(16)), octaves=2)
    upright = smooth_noise(rng, grid.shape, (grid.px(13), rows / 2), octaves=2)
    pools = smooth_noise(rng, grid.shape, max(rows, columns) / 3, octaves=3)
    runs = smoothstep(1.6, 2.6, smooth_noise(rng, grid.shape, (grid.px(7), rows / 1.5)))
    film = 1 + 0.09 * level + 0.03 * upright + 0.16 * pools + 0.35 * runs
    return np.clip(film, 0.3, 2.0).astype(np.float32)


def _dirt(grid: Grid, rng: np.random.Generator) -> Map:
    """Surface dirt, thicker below and in hollows, thin where a frame has covered the edge."""
    rows, _ = grid.shape
    x, y = grid.axes_mm()
    edge = np.minimum(np.minimum(x, grid.width_mm - x), np.minimum(y, grid.height_mm - y))
    fall = np.linspace(0.35, 0.75, rows, dtype=np.float32)[:, None]
    cloud = smooth_noise(rng, grid.shape, max(grid.shape) / 4, octaves=3)
    field = (fall + 0.10 * cloud) * smoothstep(4.0, 11.0, edge.astype(np.float32))
    return np.clip(field, 0, 1).astype(np.float32)
