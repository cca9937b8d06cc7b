"""Read a master as reduced light: by its own profile, in strips, without any automatic tone."""

from __future__ import annotations

import math
import tempfile
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pyvips
from numpy.typing import NDArray

from imaging_requests.imaging.files.decode import (
    ICC_NAME,
    LEVELS,
    colour_bands,
    explain,
    open_pixels,
)
from imaging_requests.imaging.files.limits import Limits, refuse_by_header
from imaging_requests.imaging.files.refusals import Reason, Unreadable
from imaging_requests.imaging.files.structure import read_structure
from imaging_requests.imaging.measure.encoding import Encoding, read_encoding

ROWS_AT_ONCE = 256


@dataclass(frozen=True, slots=True, eq=False)
class Light:
    """Light of a picture, each pixel the mean of ``step`` × ``step`` pixels of the file.

    Attributes:
        values: float32. Colour: XYZ (D50, Y of white 1), (rows, columns, 3). Grey: (rows, columns).
        step: How many pixels of the file make one, along each side.
        width_px, height_px: Of the file.
        profile: Description of the profile that was used.
    """

    values: NDArray[np.float32]
    step: int
    width_px: int
    height_px: int
    profile: str

    @property
    def is_grey(self) -> bool:
        """Whether there is one channel only."""
        return self.values.ndim == 2

    @property
    def luminance(self) -> NDArray[np.float32]:
        """Relative luminance, (rows, columns)."""
        return self.values if self.is_grey else self.values[..., 1]

    def to_file(self) -> NDArray[np.float64]:
        """3 × 3, from px of ``values`` to px of the file; (0, 0) is the centre of the first.

        >>> small = Light(np.zeros((2, 2), np.float32), step=4, width_px=8, height_px=8, profile="")
        >>> (small.to_file() @ [0, 0, 1]).tolist()
        [1.5, 1.5, 1.0]
        """
        shift = (self.step - 1) / 2
        return np.array([[self.step, 0, shift], [0, self.step, shift], [0, 0, 1.0]])


def read_light(path: Path, *, most_pixels: int, limits: Limits) -> Light | Unreadable:
    """Read a picture as light of at most ``most_pixels``.

    Args:
        limits: What decoding one file may cost.

    Returns:
        The light, or why the file gives none: unreadable, too large, or without a profile that says
        what its levels mean. Never raises because of the file.

    Raises:
        MemoryError: There is not enough memory for the picture.
    """
    structure = read_structure(path)
    if isinstance(structure, Unreadable):
        return structure
    refusal = refuse_by_header(structure, limits)
    if refusal is not None:
        return refusal
    step = max(1, math.ceil(math.sqrt(structure.pixels / most_pixels)))
    try:
        with tempfile.TemporaryDirectory(prefix="compare-") as scratch:
            image = open_pixels(path, structure, Path(scratch))
            encoding = _encoding_of(image, path.name)
            if isinstance(encoding, Unreadable):
                return encoding
            values = _reduce(image, encoding, step)
    except pyvips.Error as error:
        return explain(error)
    if values.size == 0:
        return Unreadable(
            Reason.UNSUPPORTED, f"{path.name} is too small to be compared with anything."
        )
    return Light(
        values=values,
        step=step,
        width_px=structure.width_px,
        height_px=structure.height_px,
        profile=structure.profile.description if structure.profile is not None else "",
    )


def _encoding_of(image: pyvips.Image, name: str) -> Encoding | Unreadable:
    bands = colour_bands(image)
    if image.format not in LEVELS or bands not in (1, 3):
        return Unreadable(
            Reason.UNSUPPORTED,
            f"{name} is neither grey nor RGB with 8 or 16 bits, so it cannot be compared. Export "
            "it with the studio's working profile.",
        )
    profile = bytes(image.get(ICC_NAME)) if image.get_typeof(ICC_NAME) else b""
    if not profile:
        return Unreadable(
            Reason.UNSUPPORTED,
            f"{name} has no colour profile, so its levels cannot be turned into light and colour "
            "differences would be made up. Export it with its profile embedded.",
        )
    encoding = read_encoding(profile)
    channels = 0 if encoding is None else len(encoding.curves)
    if encoding is None or channels != bands:
        return Unreadable(
            Reason.UNSUPPORTED,
            f"The colour profile in {name} is not one of curves and a matrix for its channels, so "
            "its levels cannot be turned into light. Export it with the studio's working profile.",
        )
    return encoding


def _reduce(image: pyvips.Image, encoding: Encoding, step: int) -> NDArray[np.float32]:
    """Light in means of ``step`` × ``step``; an incomplete block at a far edge is left out."""
    bands = colour_bands(image)
    table = _table(encoding, LEVELS[image.format])
    rows, columns = image.height // step, image.width // step
    out = np.empty((rows, columns) if bands == 1 else (rows, columns, 3), np.float32)
    region = pyvips.Region.new(image)
    at_once = max(1, ROWS_AT_ONCE // step)
    dtype = np.uint16 if image.format == "ushort" else np.uint8
    for first in range(0, rows, at_once):
        last = min(rows, first + at_once)
        raw = region.fetch(0, first * step, image.width, (last - first) * step)
        levels = np.frombuffer(raw, dtype).reshape(-1, image.width, image.bands)
        light = _light(levels[:, : columns * step, :bands], table, encoding)
        if step > 1:
            size = (columns, last - first)
            light = np.asarray(cv2.resize(light, size, interpolation=cv2.INTER_AREA), np.float32)
        out[first:last] = light
    return out


def _table(encoding: Encoding, levels: int) -> NDArray[np.float32]:
    """Light of every level, (channels, levels)."""
    share = np.linspace(0, 1, levels)
    points = np.linspace(0, 1, encoding.curves.shape[1])
    return np.stack([np.interp(share, points, curve) for curve in encoding.curves]).astype(
        np.float32
    )


def _light(
    levels: NDArray[Any], table: NDArray[np.float32], encoding: Encoding
) -> NDArray[np.float32]:
    if encoding.matrix is None:
        return np.asarray(table[0][levels[..., 0]], np.float32)
    parts = np.stack([table[band][levels[..., band]] for band in range(3)], axis=-1)
    return np.asarray(cv2.transform(parts, encoding.matrix.astype(np.float32)), np.float32)
