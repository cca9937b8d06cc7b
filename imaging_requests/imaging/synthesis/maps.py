"""The layers a painting is made of."""

from __future__ import annotations

from dataclasses import dataclass

from .grid import Grid
from .vocabulary import Map


@dataclass(frozen=True, kw_only=True)
class FaceMaps:
    """Everything that can be seen on one face, each map on the same grid, viewer's coordinates.

    Attributes:
        paint: Reflectance without varnish and dirt, linear working RGB, (rows, columns, 3), 0 to 1.
        gloss: Where the surface mirrors (gilding, metal), 0 to 1.
        height_mm: Relief of paint and cloth or wood grain, mm towards the viewer.
        lifting_mm: Part of the relief that flake laying would press down, mm.
        infrared: Reflectance at about 1,300 nm with underdrawing and earlier forms, 0 to 1.
        fluorescence: Light given back by the paint under 365 nm, linear working RGB.
        x_ray: Attenuation of the paint, 0 (none) to about 2.
        varnish: Thickness of the aged film, 1 is usual.
        dirt: Thickness of the dirt film, 0 to 1.
        losses: Where paint is missing, 0 to 1.
        overpaint: Where old retouching lies, 0 to 1.
        cracks: Where the paint is cracked, 0 to 1.
        ground: Colour seen in open losses, linear working RGB.
    """

    paint: Map
    gloss: Map
    height_mm: Map
    lifting_mm: Map
    infrared: Map
    fluorescence: Map
    x_ray: Map
    varnish: Map
    dirt: Map
    losses: Map
    overpaint: Map
    cracks: Map
    ground: tuple[float, float, float]


@dataclass(frozen=True, kw_only=True)
class Picture:
    """What the painter made, before age: the paint layer of one face.

    Attributes:
        paint: Linear working RGB, (rows, columns, 3).
        impasto_mm: Thickness of the strokes, mm.
        infrared: Reflectance of the paint alone.
        fluorescence: Emission of the paint alone, linear working RGB.
        x_ray: Attenuation of the paint alone.
        gloss: Gilding, 0 to 1.
    """

    paint: Map
    impasto_mm: Map
    infrared: Map
    fluorescence: Map
    x_ray: Map
    gloss: Map


__all__ = ["FaceMaps", "Grid", "Picture"]
