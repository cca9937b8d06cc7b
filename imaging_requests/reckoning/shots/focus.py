"""Focus slices: how many focus positions a warped surface needs."""

import math

_DIGITS = 9


def depth_of_field_mm(
    px_per_mm: float, *, pitch_um: float, aperture: float, circle_px: float
) -> float:
    """Total depth of field of copy work, in millimetres on the object.

    ``2·N·c·(1 + m)/m²`` with the magnification ``m = pitch · px/mm`` and the circle of confusion
    ``c = circle_px · pitch`` (thin lens, close range).

    >>> f8 = [depth_of_field_mm(d, pitch_um=3.76, aperture=8, circle_px=2) for d in (24, 12, 8, 6)]
    >>> [round(depth, 1) for depth in f8]
    [16.1, 61.8, 137.0, 241.7]
    """
    pitch_mm = pitch_um / 1000
    magnification = pitch_mm * px_per_mm
    circle_mm = circle_px * pitch_mm
    return 2 * aperture * circle_mm * (1 + magnification) / magnification**2


def focus_slices(warp_mm: float, usable_depth_mm: float) -> int:
    """Focus positions that cover a bow: ``max(1, ceil(warp / usable depth))``.

    >>> focus_slices(0, 12.9), focus_slices(12.9, 12.9), focus_slices(16, 12.9)
    (1, 1, 2)
    """
    return max(1, math.ceil(round(warp_mm / usable_depth_mm, _DIGITS)))
