"""All formulas in the order in which people look for them."""

from __future__ import annotations

from . import diffraction, dose, focus, lens, surface, x_ray
from .formula import Formula

FORMULAS: tuple[Formula, ...] = (
    *lens.FORMULAS,
    *diffraction.FORMULAS,
    *focus.FORMULAS,
    *x_ray.FORMULAS,
    *dose.FORMULAS,
    *surface.FORMULAS,
)
