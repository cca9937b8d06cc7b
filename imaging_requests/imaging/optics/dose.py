"""Light and ultraviolet received: arithmetic only; limits are handed in as data."""

from __future__ import annotations

import math
from collections.abc import Iterable

from .formula import Formula, demand_positive

SECONDS_PER_HOUR = 3600


def lamp_lxh(illuminance_lx: float, seconds: float) -> float:
    """Light received under a lamp: ``E·t``, in lux hours.

    >>> round(lamp_lxh(2000, 600), 1), lamp_lxh(50, 10 * 3600) == lamp_lxh(250, 2 * 3600)
    (333.3, True)
    """
    _demand_not_negative(illuminance_lx=illuminance_lx, seconds=seconds)
    return illuminance_lx * seconds / SECONDS_PER_HOUR


def flashes_lxh(lxs_per_flash: float, flashes: int) -> float:
    """Light received from flashes: ``d·n/3600``, in lux hours.

    >>> flashes_lxh(3600, 10)
    10.0
    """
    _demand_not_negative(lxs_per_flash=lxs_per_flash, flashes=flashes)
    return lxs_per_flash * flashes / SECONDS_PER_HOUR


def display_mlxh(illuminance_lx: float, hours_per_day: float, days: float) -> float:
    """Light received on display: ``E·h·n/10⁶``, in million lux hours.

    >>> display_mlxh(200, 10, 300)
    0.6
    """
    _demand_not_negative(illuminance_lx=illuminance_lx, hours_per_day=hours_per_day, days=days)
    return illuminance_lx * hours_per_day * days / 1e6


def book_sum_lxh(parts_lxh: Iterable[float]) -> float:
    """Sum of a light book's lines, exact to the last bit however many there are.

    Raises:
        ValueError: A line is negative or no number.

    >>> book_sum_lxh([83.3, 650, 267, 1200])
    2200.3
    """
    parts = [float(part) for part in parts_lxh]
    _demand_not_negative(**{f"line {number}": part for number, part in enumerate(parts, start=1)})
    return math.fsum(parts)


def seconds_until_dose(dose_j_per_m2: float, irradiance_w_per_m2: float) -> float:
    """Time until a dose is reached at an irradiance: ``H/E``.

    >>> seconds_until_dose(10_000, 10), seconds_until_dose(10_000, 1)
    (1000.0, 10000.0)
    """
    demand_positive(dose_j_per_m2=dose_j_per_m2, irradiance_w_per_m2=irradiance_w_per_m2)
    return dose_j_per_m2 / irradiance_w_per_m2


def damage_weight(wavelength_nm: float, slope_per_nm: float) -> float:
    """Relative damage of light by wavelength: ``exp(−b·(λ − 300))``, 1 at 300 nm.

    >>> [round(damage_weight(nm, 0.0115), 4) for nm in (365, 400, 500, 600, 700)]
    [0.4735, 0.3166, 0.1003, 0.0317, 0.0101]
    """
    demand_positive(wavelength_nm=wavelength_nm)
    return math.exp(-slope_per_nm * (wavelength_nm - 300))


def _demand_not_negative(**values: float) -> None:
    for name, value in values.items():
        if not 0 <= value < math.inf:
            raise ValueError(f"{name} must be 0 or above and finite, got {value:g}.")


_DOSE = "light-dose method of the Canadian Conservation Institute, published notes"
FORMULAS = (
    Formula(lamp_lxh, "Light under a lamp", "E·t", "lx·h", _DOSE, "published"),
    Formula(flashes_lxh, "Light from flashes", "d·n/3600", "lx·h", _DOSE, "published"),
    Formula(display_mlxh, "Light on display", "E·h·n/10⁶", "Mlx·h", _DOSE, "published"),
    Formula(book_sum_lxh, "Sum of a light book", "Σ lx·h", "lx·h", _DOSE, "published"),
    Formula(
        seconds_until_dose,
        "Time until a dose is reached",
        "H/E",
        "s",
        "ICNIRP, Health Physics 87(2), 2004, as reported",
        "derived",
    ),
    Formula(
        damage_weight,
        "Damage weighting",
        "exp(−b·(λ − 300))",
        "relative to 300 nm",
        "CIE 157:2004, equation 2.5, as reported",
        "published",
    ),
)
