"""Raking light: exposures from the fall-off of the lamp, not from habit."""

import math


def fall_off_ev(lamp_distance_mm: float, extent_mm: float) -> float:
    """Light lost from the near to the far edge, in EV (inverse square law).

    ``2·log2((r + ℓ)/r)`` with r the distance of the lamp from the near edge and ℓ the extent of
    the picture along the light: its width for light from left or right, its height from top or
    bottom.

    >>> round(fall_off_ev(3000, 180), 2), round(fall_off_ev(3000, 1480), 2)
    (0.17, 1.16)
    """
    return 2 * math.log2((lamp_distance_mm + extent_mm) / lamp_distance_mm)


def gauge_shadow_mm(pin_mm: float, elevation_deg: float) -> float:
    """Shadow of a pin on the picture plane, from which the real lamp elevation can be read.

    ``pin / tan(elevation)``; elevation in degrees from the surface, above 0 and below 90.

    >>> [round(gauge_shadow_mm(10, angle), 1) for angle in (5, 8, 10, 12, 15)]
    [114.3, 71.2, 56.7, 47.0, 37.3]
    """
    return pin_mm / math.tan(math.radians(elevation_deg))
