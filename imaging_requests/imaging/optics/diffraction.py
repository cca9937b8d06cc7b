"""Diffraction: the smallest spot a perfect lens can draw, and what it leaves of fine detail."""

from __future__ import annotations

import math

from .formula import Formula, demand_positive

FIRST_ZERO = 1.2196698912665045
"""First zero of J1(πx)/x, in units of λ·N."""


def airy_radius_um(wavelength_nm: float, aperture: float) -> float:
    """Radius of the first dark ring: ``1.2197·λ·N``; close up with the working aperture.

    >>> round(airy_radius_um(550, 8), 4)
    5.3665
    """
    demand_positive(wavelength_nm=wavelength_nm, aperture=aperture)
    return FIRST_ZERO * wavelength_nm / 1000 * aperture


def airy_diameter_um(wavelength_nm: float, aperture: float) -> float:
    """Diameter of the first dark ring, twice the radius.

    >>> round(airy_diameter_um(1000, 5.6), 2)
    13.66
    """
    return 2 * airy_radius_um(wavelength_nm, aperture)


def diffraction_mtf(cycles_per_mm: float, wavelength_nm: float, aperture: float) -> float:
    """Contrast that a perfect round lens leaves, 0 to 1.

    ``(2/π)(acos ν − ν·√(1 − ν²))`` with ``ν = frequency · λ · N``; 0 from ν = 1 on.

    >>> round(diffraction_mtf(100, 550, 8), 4), diffraction_mtf(500, 550, 8)
    (0.4584, 0.0)
    """
    demand_positive(wavelength_nm=wavelength_nm, aperture=aperture)
    if cycles_per_mm < 0:
        raise ValueError(f"A frequency must not be negative, got {cycles_per_mm:g}.")
    share = cycles_per_mm * wavelength_nm * 1e-6 * aperture
    if share >= 1:
        return 0.0
    return 2 / math.pi * (math.acos(share) - share * math.sqrt(1 - share * share))


def aperture_limit(wavelength_nm: float, pitch_um: float, *, most_px: float) -> float:
    """Working aperture at which the first dark ring is ``most_px`` pixels wide.

    >>> round(aperture_limit(1000, 3.76, most_px=2.5), 2)
    3.85
    """
    demand_positive(wavelength_nm=wavelength_nm, pitch_um=pitch_um, most_px=most_px)
    return most_px * pitch_um / (2 * FIRST_ZERO * wavelength_nm / 1000)


_AIRY = "G. B. Airy 1835; constant recomputed as the first zero of the Bessel function J1 over π"
FORMULAS = (
    Formula(airy_radius_um, "Radius of the Airy disk", "1.2197·λ·N", "µm", _AIRY, "derived"),
    Formula(airy_diameter_um, "Diameter of the Airy disk", "2.4393·λ·N", "µm", _AIRY, "derived"),
    Formula(
        diffraction_mtf,
        "Contrast of a perfect lens",
        "(2/π)(acos ν − ν·√(1 − ν²)), ν = frequency · λ · N",
        "0 to 1",
        "autocorrelation of a round pupil, checked against prysm 0.21.1",
        "derived",
    ),
    Formula(
        aperture_limit,
        "Aperture at which diffraction shows",
        "most_px · pitch/(2.4393·λ)",
        "f-number",
        _AIRY,
        "derived",
    ),
)
