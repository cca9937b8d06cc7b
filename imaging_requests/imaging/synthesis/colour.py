"""The studio's invented working profiles and the conversions that lead to them.

"Ardenmoor wide RGB" has the white of D50, its own primaries, a little wider than usual screens,
and a tone curve with exponent 2. "Ardenmoor grey" has the same curve; "Ardenmoor grey linear" has
none. The exponent 2 makes shot noise equally strong at all tones after encoding.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from .vocabulary import Map

TONE_EXPONENT = 2.0
WHITE_D50 = (0.9642, 1.0, 0.8249)
PRIMARIES_XY = ((0.680, 0.312), (0.238, 0.706), (0.138, 0.052))
# Linear sRGB (D65) to XYZ adapted to D50 by the Bradford transform, IEC 61966-2-1 and ICC.1.
SRGB_TO_XYZ_D50 = np.array(
    [
        [0.4360747, 0.3850649, 0.1430804],
        [0.2225045, 0.7168786, 0.0606169],
        [0.0139322, 0.0971045, 0.7141733],
    ]
)


def _rgb_to_xyz() -> NDArray[np.float64]:
    """Matrix of the working space from its primaries and white (columns sum to the white)."""
    columns = np.array([[x / y, 1.0, (1 - x - y) / y] for x, y in PRIMARIES_XY]).T
    scale = np.linalg.solve(columns, np.array(WHITE_D50))
    return np.asarray(columns * scale)


RGB_TO_XYZ = _rgb_to_xyz()
XYZ_TO_RGB = np.linalg.inv(RGB_TO_XYZ)
SRGB_TO_RGB = XYZ_TO_RGB @ SRGB_TO_XYZ_D50
LUMINANCE = RGB_TO_XYZ[1].astype(np.float32)


def srgb(red: float, green: float, blue: float) -> tuple[float, float, float]:
    """Working-space linear RGB of an sRGB colour given as 0 to 255.

    >>> tuple(round(v, 3) for v in srgb(255, 255, 255))
    (1.0, 1.0, 1.0)
    """
    encoded = np.array([red, green, blue]) / 255.0
    linear = np.where(encoded <= 0.04045, encoded / 12.92, ((encoded + 0.055) / 1.055) ** 2.4)
    value = SRGB_TO_RGB @ linear
    return (float(value[0]), float(value[1]), float(value[2]))


def lab_to_rgb(lightness: float, a: float, b: float) -> tuple[float, float, float]:
    """Working-space linear RGB of a CIELAB (D50) colour."""
    fy = (lightness + 16) / 116
    xyz = np.array(WHITE_D50) * [_cube(fy + a / 500), _cube(fy), _cube(fy - b / 200)]
    value = XYZ_TO_RGB @ xyz
    return (float(value[0]), float(value[1]), float(value[2]))


def _cube(f: float) -> float:
    """Inverse of the CIELAB cube-root curve."""
    return f**3 if f > 6 / 29 else 3 * (6 / 29) ** 2 * (f - 4 / 29)


def luminance(rgb: Map) -> Map:
    """Relative luminance Y of linear working RGB, shape (rows, columns)."""
    return cv2.transform(rgb, LUMINANCE[None, :])


def to_screen(pixels: NDArray[np.uint16], *, exponent: float = TONE_EXPONENT) -> NDArray[np.uint8]:
    """8-bit sRGB for looking at a 16-bit frame; colour frames by the working space, grey as is."""
    linear: Map = (pixels.astype(np.float32) / np.float32(65535)) ** np.float32(exponent)
    if linear.ndim == 3:
        matrix = (np.linalg.inv(SRGB_TO_RGB)).astype(np.float32)
        linear = cv2.transform(linear, matrix)
    linear = np.clip(linear, 0, 1)
    encoded = np.where(
        linear <= 0.0031308, linear * 12.92, 1.055 * np.power(linear, 1 / 2.4) - 0.055
    )
    shown: NDArray[np.uint8] = (encoded * 255 + 0.5).astype(np.uint8)
    return shown
