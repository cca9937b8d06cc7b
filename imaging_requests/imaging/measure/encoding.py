"""From levels in a file to light and CIELAB: tone curves and matrix of the embedded ICC profile.

Sources: ICC.1:2001-04 and ICC.1:2022 (``curv``, ``para``, ``XYZ `` types; matrix and one-curve
profiles). Table profiles (``A2B0``) are not evaluated here: the answer is then "cannot tell".
"""

from __future__ import annotations

import struct
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from imaging_requests.imaging.measure.delta_e import WHITE_D50, Floats, xyz_to_lab

TABLE_POINTS = 4096
LEVELS = 65_536
HEADER_BYTES = 128
MAX_TAGS = 200
PARAMETERS = (1, 3, 4, 5, 7)
"""How many numbers each type of parametric curve has."""


@dataclass(frozen=True, slots=True)
class Encoding:
    """How levels stand for light.

    ``curves``: for each channel the light (0 to 1) at evenly spaced levels from 0 to full scale,
    shape (channels, points). ``matrix``: linear RGB to XYZ (D50), shape (3, 3); None for grey.
    ``source``: which profile it was taken from, or "assumed".
    """

    curves: Floats
    matrix: Floats | None
    source: str

    def to_light(self, share: NDArray[Any]) -> Floats:
        """Light 0 to 1 of levels given as a share of full scale; the last axis is the channel.

        Grey pictures (one curve) may have any shape.
        """
        values = np.clip(np.asarray(share, np.float64), 0, 1)
        if len(self.curves) == 1:
            return _between(values, self.curves[0])
        if values.shape[-1] != len(self.curves):
            raise ValueError(
                f"Levels have {values.shape[-1]} channels, the profile has {len(self.curves)}."
            )
        light = np.empty(values.shape, np.float64)
        for channel, curve in enumerate(self.curves):
            light[..., channel] = _between(values[..., channel], curve)
        return light

    def to_light_fast(self, share: NDArray[Any]) -> NDArray[np.float32]:
        """As ``to_light`` for large pictures: levels are rounded to 16 bits and looked up."""
        steps = np.clip(share, 0, 1) * np.float32(LEVELS - 1) + np.float32(0.5)
        index = steps.astype(np.uint16)
        points = np.linspace(0, 1, self.curves.shape[1])
        levels = np.linspace(0, 1, LEVELS)
        tables = [np.interp(levels, points, curve).astype(np.float32) for curve in self.curves]
        if len(tables) == 1:
            return np.asarray(tables[0].take(index))
        if share.shape[-1] != len(tables):
            raise ValueError(
                f"Levels have {share.shape[-1]} channels, the profile has {len(tables)}."
            )
        light = np.empty(share.shape, np.float32)
        for channel, table in enumerate(tables):
            light[..., channel] = table.take(index[..., channel])
        return light

    def to_luminance(self, share: NDArray[Any]) -> Floats:
        """Relative luminance Y of levels; grey light is its own luminance."""
        light = self.to_light(share)
        return light if self.matrix is None else np.asarray(light @ self.matrix[1])

    def to_lab(self, share: NDArray[Any]) -> Floats:
        """CIELAB (D50) of levels; grey pictures are neutral by definition."""
        light = self.to_light(share)
        if self.matrix is None:
            return xyz_to_lab(light[..., None] * WHITE_D50)
        return xyz_to_lab(light @ self.matrix.T)


def _between(share: Floats, curve: Floats) -> Floats:
    """Straight lines between the points of a curve, which are evenly spaced from 0 to 1.

    As ``numpy.interp``, which has to search for the points and is many times slower.

    >>> _between(np.array([0.0, 0.25, 0.75, 1.0]), np.array([0.0, 0.2, 1.0])).round(3).tolist()
    [0.0, 0.1, 0.6, 1.0]
    """
    place = share * (len(curve) - 1)
    before = np.minimum(place.astype(np.intp), max(len(curve) - 2, 0))
    place -= before
    place *= np.diff(curve, append=curve[-1]).take(before, mode="clip")
    place += curve.take(before, mode="clip")
    return np.asarray(place)


def power_encoding(exponent: float, *, matrix: Floats | None = None) -> Encoding:
    """Encoding with one power for all channels.

    >>> power_encoding(2.0).to_light(np.array([0.5])).round(4).tolist()
    [0.25]
    """
    points = np.linspace(0, 1, TABLE_POINTS) ** exponent
    return Encoding(np.stack([points] * (1 if matrix is None else 3)), matrix, "given")


def read_encoding(profile: bytes) -> Encoding | None:
    """Read a matrix or one-curve profile; None if it is damaged or of another kind.

    Never raises because of the bytes.

    >>> from imaging_requests.imaging.synthesis.profiles import wide_rgb_profile
    >>> encoding = read_encoding(wide_rgb_profile())
    >>> float(encoding.to_lab(np.array([1.0, 1.0, 1.0]))[0].round(1))
    100.0
    """
    try:
        tags = _tags(profile)
        if b"kTRC" in tags:
            return Encoding(_curve(tags[b"kTRC"])[None], None, "embedded")
        curves = np.stack([_curve(tags[name]) for name in (b"rTRC", b"gTRC", b"bTRC")])
        columns = [_xyz(tags[name]) for name in (b"rXYZ", b"gXYZ", b"bXYZ")]
    except (KeyError, struct.error, ValueError):
        return None
    return Encoding(curves, np.array(columns).T, "embedded")


def _tags(data: bytes) -> Mapping[bytes, bytes]:
    if data[36:40] != b"acsp" or data[20:24] != b"XYZ ":
        raise ValueError("not a profile that leads to XYZ")
    (count,) = struct.unpack_from(">I", data, HEADER_BYTES)
    if count > MAX_TAGS:
        raise ValueError("too many tags")
    tags = {}
    for number in range(count):
        name, at, size = struct.unpack_from(">4sII", data, HEADER_BYTES + 4 + 12 * number)
        if at + size > len(data):
            raise ValueError("a tag lies outside the profile")
        tags[name] = data[at : at + size]
    return tags


def _xyz(tag: bytes) -> tuple[float, float, float]:
    if tag[:4] != b"XYZ ":
        raise ValueError("not a colour")
    x, y, z = struct.unpack_from(">3i", tag, 8)
    return x / 65536, y / 65536, z / 65536


def _curve(tag: bytes) -> Floats:
    """Light at evenly spaced levels."""
    level = np.linspace(0, 1, TABLE_POINTS)
    if tag[:4] == b"curv":
        (count,) = struct.unpack_from(">I", tag, 8)
        if count == 0:
            return level
        values = np.frombuffer(tag, ">u2", count, 12).astype(np.float64)
        if count == 1:
            return np.asarray(level ** (values[0] / 256))
        return np.interp(level, np.linspace(0, 1, count), values / 65535)
    if tag[:4] == b"para":
        (kind,) = struct.unpack_from(">H", tag, 8)
        if kind >= len(PARAMETERS):
            raise ValueError("unknown curve")
        numbers = [n / 65536 for n in struct.unpack_from(f">{PARAMETERS[kind]}i", tag, 12)]
        return _parametric(level, kind, numbers)
    raise ValueError("unknown curve")


def _parametric(level: Floats, kind: int, numbers: list[float]) -> Floats:
    """ICC.1, parametricCurveType: Y = (aX + b)^g + e above d (or -b/a), else cX + f."""
    g = numbers[0]
    if kind == 0:
        return np.asarray(level**g)
    a, b = numbers[1], numbers[2]
    base = np.maximum(a * level + b, 0) ** g
    if kind == 1:
        return np.where(level >= -b / a, base, 0.0)
    if kind == 2:
        return np.where(level >= -b / a, base + numbers[3], numbers[3])
    c, d = numbers[3], numbers[4]
    e, f = (numbers[5], numbers[6]) if kind == 4 else (0.0, 0.0)
    return np.where(level >= d, base + e, c * level + f)
