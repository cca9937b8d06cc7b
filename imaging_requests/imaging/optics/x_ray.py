"""X-ray geometry: inverse square, enlargement, unsharpness, parallax.

Arithmetic only, never advice: exposures are made by licensed operators under the radiation rules of
the site, and nothing here proposes one.
"""

from __future__ import annotations

import math

from .formula import Formula, demand_positive


def intensity_at(intensity: float, distance: float, new_distance: float) -> float:
    """Intensity at another distance from a small source: ``I·(d1/d2)²``, in its own unit.

    >>> intensity_at(62, 100, 1)
    620000.0
    """
    demand_positive(intensity=intensity, distance=distance, new_distance=new_distance)
    return intensity * (distance / new_distance) ** 2


def exposure_at(exposure: float, distance: float, new_distance: float) -> float:
    """Exposure (mA·s, or minutes at one current) for the same density at another distance.

    ``E·(d2/d1)²``, in its own unit.

    >>> round(exposure_at(560, 30, 24), 1), round(exposure_at(1.86, 30, 24), 3)
    (358.4, 1.19)
    """
    demand_positive(exposure=exposure, distance=distance, new_distance=new_distance)
    return exposure * (new_distance / distance) ** 2


def time_at_current_s(time_s: float, current_ma: float, new_current_ma: float) -> float:
    """Time that keeps the mA·s at another current (reciprocity): ``t·I1/I2``.

    >>> time_at_current_s(10, 5, 2)
    25.0
    """
    demand_positive(time_s=time_s, current_ma=current_ma, new_current_ma=new_current_ma)
    return time_s * current_ma / new_current_ma


def half_value_mm(attenuation_per_mm: float) -> float:
    """Thickness that lets half the rays through: ``ln 2/µ``.

    >>> round(half_value_mm(0.1), 3)
    6.931
    """
    demand_positive(attenuation_per_mm=attenuation_per_mm)
    return math.log(2) / attenuation_per_mm


def enlargement(source_detector_mm: float, object_detector_mm: float) -> float:
    """Size on the detector over true size: ``SDD/(SDD − ODD)``.

    Raises:
        ValueError: The object does not lie between source and detector.

    >>> round(enlargement(1000, 20), 4)
    1.0204
    """
    _demand_between(source_detector_mm, object_detector_mm)
    return source_detector_mm / (source_detector_mm - object_detector_mm)


def unsharpness_mm(
    focal_spot_mm: float, source_object_mm: float, object_detector_mm: float
) -> float:
    """Geometric unsharpness, the blur of an edge on the detector: ``f·b/a``.

    >>> round(unsharpness_mm(2.82, 300, 14), 4)
    0.1316
    """
    demand_positive(focal_spot_mm=focal_spot_mm, source_object_mm=source_object_mm)
    if object_detector_mm < 0:
        raise ValueError(f"object_detector_mm must not be negative, got {object_detector_mm:g}.")
    return focal_spot_mm * object_detector_mm / source_object_mm


def parallax_mm(off_axis_mm: float, above_mm: float, source_detector_mm: float) -> float:
    """How far a part that lies above the detector is shifted outwards: ``a·o/(SDD − o)``.

    Two plates whose axes differ shift a stretcher bar differently, so bars and cradles can never
    join where the paint joins.

    >>> round(parallax_mm(200, 20, 1000), 1), round(parallax_mm(200, 45, 1000), 1)
    (4.1, 9.4)
    """
    _demand_between(source_detector_mm, above_mm)
    return off_axis_mm * above_mm / (source_detector_mm - above_mm)


def _demand_between(source_detector_mm: float, above_mm: float) -> None:
    demand_positive(source_detector_mm=source_detector_mm)
    if not 0 <= above_mm < source_detector_mm:
        raise ValueError(
            f"A part {above_mm:g} mm above the detector does not lie between it and a source at "
            f"{source_detector_mm:g} mm."
        )


_PAGES = "teaching pages on non-destructive testing by radiography"
FORMULAS = (
    Formula(intensity_at, "Inverse square law", "I·(d1/d2)²", "unit of I", _PAGES, "published"),
    Formula(
        exposure_at, "Exposure at another distance", "E·(d2/d1)²", "unit of E", _PAGES, "published"
    ),
    Formula(time_at_current_s, "Reciprocity", "t·I1/I2", "s", _PAGES, "published"),
    Formula(half_value_mm, "Half-value layer", "ln 2/µ", "mm", _PAGES, "memory"),
    Formula(
        enlargement, "Enlargement", "SDD/(SDD − ODD)", "image over object", _PAGES, "published"
    ),
    Formula(unsharpness_mm, "Geometric unsharpness", "f·b/a", "mm", _PAGES, "published"),
    Formula(
        parallax_mm, "Parallax", "a·o/(SDD − o)", "mm", "similar triangles of the above", "derived"
    ),
)
