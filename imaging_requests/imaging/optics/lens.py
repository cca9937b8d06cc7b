"""The thin lens: hyperfocal distance, depth of field, magnification, working aperture."""

from __future__ import annotations

import math

from .formula import Formula, demand_positive


def hyperfocal_mm(focal_mm: float, aperture: float, circle_mm: float) -> float:
    """Nearest distance of focus at which infinity is still sharp: ``f²/(N·c) + f``.

    Some handbooks leave out the last ``f``. Distances from the lens.

    >>> round(hyperfocal_mm(50, 8, 0.03), 1)
    10466.7
    """
    demand_positive(focal_mm=focal_mm, aperture=aperture, circle_mm=circle_mm)
    return focal_mm**2 / (aperture * circle_mm) + focal_mm


def depth_limits_mm(
    focal_mm: float, aperture: float, circle_mm: float, distance_mm: float
) -> tuple[float, float]:
    """Nearest and farthest sharp distance when focused at a distance.

    ``s(H − f)/(H + s − 2f)`` and ``s(H − f)/(H − s)``; infinite from the hyperfocal distance on.

    Raises:
        ValueError: The object is not beyond the focal length, or a value is not positive.

    >>> near, far = depth_limits_mm(50, 8, 0.03, 3000)
    >>> round(near, 1), round(far, 1)
    (2337.9, 4185.3)
    >>> depth_limits_mm(50, 8, 0.03, 20_000)[1]
    inf
    """
    hyperfocal = hyperfocal_mm(focal_mm, aperture, circle_mm)
    _demand_beyond_focal_length(focal_mm, distance_mm)
    reach = distance_mm * (hyperfocal - focal_mm)
    near = reach / (hyperfocal + distance_mm - 2 * focal_mm)
    far = reach / (hyperfocal - distance_mm) if distance_mm < hyperfocal else math.inf
    return near, far


def image_distance_mm(focal_mm: float, distance_mm: float) -> float:
    """Distance of the sharp image behind the lens: ``1/(1/f − 1/s)``.

    >>> round(image_distance_mm(100, 1000), 3)
    111.111
    """
    _demand_beyond_focal_length(focal_mm, distance_mm)
    return 1 / (1 / focal_mm - 1 / distance_mm)


def magnification_at(focal_mm: float, distance_mm: float) -> float:
    """Size of the image over the size of the object: ``s'/s``, without sign.

    >>> round(magnification_at(100, 1000), 4)
    0.1111
    """
    return image_distance_mm(focal_mm, distance_mm) / distance_mm


def working_aperture(aperture: float, magnification: float) -> float:
    """Aperture number that exposure and diffraction feel close up: ``N(1 + m)``.

    >>> working_aperture(8, 0.5)
    12.0
    """
    demand_positive(aperture=aperture)
    if magnification < 0:
        raise ValueError(f"magnification must not be negative, got {magnification:g}.")
    return aperture * (1 + magnification)


def field_of_view_deg(extent_mm: float, focal_mm: float) -> float:
    """Angle that an extent of the sensor sees, focused far away: ``2·atan(d/(2f))``.

    >>> round(field_of_view_deg(36, 50), 1)
    39.6
    """
    demand_positive(extent_mm=extent_mm, focal_mm=focal_mm)
    return math.degrees(2 * math.atan(extent_mm / (2 * focal_mm)))


def light_value(aperture: float, exposure_s: float, iso: float) -> float:
    """Light that an exposure is right for, in EV at ISO 100: ``log2(N²/t) − log2(S/100)``.

    >>> round(light_value(8, 1 / 60, 100), 3)
    11.907
    """
    demand_positive(aperture=aperture, exposure_s=exposure_s, iso=iso)
    return math.log2(aperture**2 / exposure_s) - math.log2(iso / 100)


def _demand_beyond_focal_length(focal_mm: float, distance_mm: float) -> None:
    demand_positive(focal_mm=focal_mm, distance_mm=distance_mm)
    if distance_mm <= focal_mm:
        raise ValueError(
            f"An object at {distance_mm:g} mm is not farther away than the focal length of "
            f"{focal_mm:g} mm, so it has no real image."
        )


_HANDBOOK = "US Army, lesson SS0507 (photography), without the last term; exact form from memory"
FORMULAS = (
    Formula(hyperfocal_mm, "Hyperfocal distance", "f²/(N·c) + f", "mm", _HANDBOOK, "published"),
    Formula(
        depth_limits_mm,
        "Near and far limit of sharpness",
        "s(H − f)/(H + s − 2f); s(H − f)/(H − s)",
        "mm",
        "A. R. Greenleaf, Photographic Optics, 1950, as cited on depth-of-field pages",
        "derived",
    ),
    Formula(
        image_distance_mm, "Image distance", "1/(1/f − 1/s)", "mm", "thin lens equation", "memory"
    ),
    Formula(magnification_at, "Magnification", "s'/s", "image over object", "thin lens", "memory"),
    Formula(working_aperture, "Working aperture", "N(1 + m)", "f-number", "thin lens", "memory"),
    Formula(field_of_view_deg, "Field of view", "2·atan(d/(2f))", "degrees", "thin lens", "memory"),
    Formula(
        light_value,
        "Light value",
        "log2(N²/t) − log2(S/100)",
        "EV at ISO 100",
        "Exif 2.32, APEX annex",
        "memory",
    ),
)
