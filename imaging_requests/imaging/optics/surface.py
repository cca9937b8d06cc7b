"""Light from a surface: stray light under ultraviolet lamps, and relief from several lights."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from .formula import Formula, demand_positive

Floats = NDArray[np.float64]


def without_stray_light(
    luminescence: NDArray[Any],
    visible: NDArray[Any],
    *,
    visible_standard: float,
    luminescence_standard: float,
) -> Floats:
    """Take the reflected stray light out of a luminescence picture.

    ``UVL − (NL/NL_std)·UVL_std``: a standard that does not luminesce shows how much light is only
    reflected, and the picture in visible light how strongly each place reflects it.

    Args:
        luminescence, visible: Linear light, registered, of one shape and one state of the object.
        visible_standard, luminescence_standard: The white standard in each, same scales.

    Returns:
        Corrected light, not below 0.

    Raises:
        ValueError: The shapes differ or the standard is not above zero in visible light.

    >>> uvl, nl = np.array([60.0]), np.array([100.0])
    >>> without_stray_light(uvl, nl, visible_standard=200, luminescence_standard=20).tolist()
    [50.0]
    """
    demand_positive(visible_standard=visible_standard)
    if luminescence.shape != visible.shape:
        raise ValueError(
            f"Both pictures must have one shape, got {luminescence.shape} and {visible.shape}."
        )
    reflected = np.asarray(visible, np.float64) / visible_standard * luminescence_standard
    return np.asarray(np.maximum(np.asarray(luminescence, np.float64) - reflected, 0.0))


def surface_normals(intensities: NDArray[Any], lights: NDArray[Any]) -> tuple[Floats, Floats]:
    """Normals and albedo of a matt surface from pictures under known distant lights.

    Lambert: ``I = ρ·L·n``; with the pseudo-inverse ``g = L⁺·I``, ``ρ = |g|``, ``n = g/ρ``. Leave
    shadows and highlights out beforehand.

    Args:
        intensities: Linear light, (lights, …).
        lights: Unit vectors towards the lights, (lights, 3), three or more, not in one plane.

    Returns:
        Normals (…, 3), a zero vector where nothing is reflected, and albedo (…).

    Raises:
        ValueError: Fewer than three lights, or all in one plane.

    >>> lights = np.array([[1, 0, 1], [0, 1, 1], [-1, 0, 1], [0, -1, 1]]) / np.sqrt(2)
    >>> normal, albedo = surface_normals(0.6 * lights @ np.array([0, 0, 1.0]), lights)
    >>> normal.round(6).tolist(), round(albedo.item(), 6)
    ([0.0, 0.0, 1.0], 0.6)
    """
    directions = np.asarray(lights, np.float64)
    if directions.ndim != 2 or directions.shape[1] != 3 or np.linalg.matrix_rank(directions) < 3:
        raise ValueError("Three or more lights that do not lie in one plane are needed.")
    values = np.asarray(intensities, np.float64)
    if values.shape[0] != len(directions):
        raise ValueError(f"{len(directions)} lights need as many pictures, got {values.shape[0]}.")
    scaled = np.tensordot(np.linalg.pinv(directions), values, axes=1)
    albedo = np.linalg.norm(scaled, axis=0)
    normals = np.where(albedo > 0, scaled / np.where(albedo > 0, albedo, 1.0), 0.0)
    return np.moveaxis(normals, 0, -1), np.asarray(albedo)


FORMULAS = (
    Formula(
        without_stray_light,
        "Stray light under ultraviolet lamps",
        "UVL − (NL/NL_std)·UVL_std",
        "linear light",
        "Dyer, Verri, Cupitt, Multispectral Imaging … A User Manual, 2013, page 27",
        "published",
    ),
    Formula(
        surface_normals,
        "Relief from several lights",
        "g = L⁺·I, ρ = ‖g‖, n = g/ρ",
        "unit vector; albedo",
        "R. J. Woodham, Optical Engineering 19, 1980, 139 to 144; formula from memory",
        "memory",
    ),
)
