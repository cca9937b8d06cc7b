"""Colour difference: CIELAB from XYZ, ΔE*ab and CIEDE2000.

Sources: CIE 15:2018 (CIELAB); ISO/CIE 11664-6:2014 and Sharma, Wu, Dalal, "The CIEDE2000
color-difference formula", Color Research and Application 30(1), 2005, 21 to 30 (ΔE00). All with
parametric factors kL = kC = kH = 1.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]

EPSILON = 216 / 24389
KAPPA = 24389 / 27
WHITE_D50 = np.array([0.9642, 1.0, 0.8249])
"""The white of the ICC profile connection space (ICC.1, D50, Y = 1)."""
POW25_7 = 25.0**7


def xyz_to_lab(xyz: NDArray[Any], white: ArrayLike = WHITE_D50) -> Floats:
    """CIELAB of XYZ relative to a white.

    Args:
        xyz: Tristimulus values, last axis X, Y, Z, in the white's scale (Y of white 1).
        white: X, Y, Z of the white.

    Returns:
        L* 0 to 100, a*, b* on the last axis.

    >>> xyz_to_lab(np.array([0.9642, 1.0, 0.8249])).round(6).tolist()
    [100.0, 0.0, 0.0]
    """
    share = np.asarray(xyz, np.float64) / np.asarray(white, np.float64)
    f = np.where(share > EPSILON, np.cbrt(np.maximum(share, 0)), (KAPPA * share + 16) / 116)
    x, y, z = f[..., 0], f[..., 1], f[..., 2]
    return np.stack([116 * y - 16, 500 * (x - y), 200 * (y - z)], axis=-1)


def lab_to_xyz(lab: NDArray[Any], white: ArrayLike = WHITE_D50) -> Floats:
    """XYZ of CIELAB, the inverse of ``xyz_to_lab``.

    >>> lab_to_xyz(np.array([50.0, 0.0, 0.0]))[1].round(6).item()
    0.184187
    """
    values = np.asarray(lab, np.float64)
    y = (values[..., 0] + 16) / 116
    f = np.stack([y + values[..., 1] / 500, y, y - values[..., 2] / 200], axis=-1)
    share = np.where(f**3 > EPSILON, f**3, (116 * f - 16) / KAPPA)
    return np.asarray(share * np.asarray(white, np.float64))


def lightness(y: NDArray[Any]) -> Floats:
    """L* of relative luminance Y (0 to 1).

    >>> lightness(np.array([1.0, 0.184187])).round(3).tolist()
    [100.0, 50.0]
    """
    share = np.asarray(y, np.float64)
    root = np.where(share > EPSILON, np.cbrt(np.maximum(share, 0)), (KAPPA * share + 16) / 116)
    return np.asarray(116 * root - 16)


def delta_e_76(one: NDArray[Any], other: NDArray[Any]) -> Floats:
    """Euclidean distance in CIELAB, last axis L*, a*, b*.

    >>> delta_e_76(np.array([50.0, 0, 0]), np.array([53.0, 4, 0])).item()
    5.0
    """
    difference = np.asarray(one, np.float64) - np.asarray(other, np.float64)
    return np.asarray(np.sqrt((difference**2).sum(axis=-1)))


def delta_e_2000(one: NDArray[Any], other: NDArray[Any]) -> Floats:
    """CIEDE2000 colour difference.

    Args:
        one, other: CIELAB on the last axis; shapes that broadcast. Symmetric in its arguments.

    Returns:
        ΔE00, without the last axis.

    >>> pair = np.array([50.0, 2.6772, -79.7751]), np.array([50.0, 0.0, -82.7485])
    >>> round(delta_e_2000(*pair).item(), 4)
    2.0425
    """
    lab1, lab2 = np.broadcast_arrays(np.asarray(one, np.float64), np.asarray(other, np.float64))
    l1, a1, b1 = lab1[..., 0], lab1[..., 1], lab1[..., 2]
    l2, a2, b2 = lab2[..., 0], lab2[..., 1], lab2[..., 2]
    mean_chroma7 = ((np.hypot(a1, b1) + np.hypot(a2, b2)) / 2) ** 7
    stretch = 1.5 - 0.5 * np.sqrt(mean_chroma7 / (mean_chroma7 + POW25_7))
    c1, h1 = _polar(stretch * a1, b1)
    c2, h2 = _polar(stretch * a2, b2)
    has_hue = (c1 * c2) > 0
    turn = h2 - h1
    turn = np.where(turn > 180, turn - 360, np.where(turn < -180, turn + 360, turn))
    delta_hue = 2 * np.sqrt(c1 * c2) * np.sin(np.radians(np.where(has_hue, turn, 0.0)) / 2)
    total = h1 + h2
    is_near = np.abs(h1 - h2) <= 180
    mean_hue = np.where(is_near, total / 2, np.where(total < 360, total / 2 + 180, total / 2 - 180))
    mean_hue = np.where(has_hue, mean_hue, total)
    mean_l, mean_c = (l1 + l2) / 2, (c1 + c2) / 2
    hue = np.radians(mean_hue)
    t = (
        1
        - 0.17 * np.cos(hue - np.radians(30))
        + 0.24 * np.cos(2 * hue)
        + 0.32 * np.cos(3 * hue + np.radians(6))
        - 0.20 * np.cos(4 * hue - np.radians(63))
    )
    light2 = (mean_l - 50) ** 2
    scale_l = 1 + 0.015 * light2 / np.sqrt(20 + light2)
    scale_c, scale_h = 1 + 0.045 * mean_c, 1 + 0.015 * mean_c * t
    rotation = np.radians(60 * np.exp(-(((mean_hue - 275) / 25) ** 2)))
    cross = -np.sin(rotation) * 2 * np.sqrt(mean_c**7 / (mean_c**7 + POW25_7))
    part_l, part_c, part_h = (l2 - l1) / scale_l, (c2 - c1) / scale_c, delta_hue / scale_h
    return np.asarray(np.sqrt(part_l**2 + part_c**2 + part_h**2 + cross * part_c * part_h))


def _polar(a: Floats, b: Floats) -> tuple[Floats, Floats]:
    """Chroma, and hue angle in degrees from 0 to 360; 0 for a colour without chroma."""
    return np.hypot(a, b), np.degrees(np.arctan2(b, a)) % 360
