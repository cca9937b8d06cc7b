"""Open a picture file for alignment: one pass through the decoder, reduced as far as allowed.

A picture of 100 megapixels is read as a stream and kept as grey values at half its size; nothing
ever holds the whole file. Damage, foreign formats and pictures without structure are refused with
a sentence.
"""

from __future__ import annotations

import tempfile
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pyvips

from imaging_requests.imaging.files.decode import open_pixels
from imaging_requests.imaging.files.limits import Limits as ReadingLimits
from imaging_requests.imaging.files.limits import (
    is_out_of_memory,
    refuse_by_header,
    refuse_extra_channels,
)
from imaging_requests.imaging.files.refusals import Unreadable
from imaging_requests.imaging.files.structure import read_structure

from .matrices import Matrix, scaling
from .pictures import SMALLEST_SIDE_PX, Picture, UnfitError, finished

#: Longer side above which a picture is reduced by whole steps while it is read.
MOST_PX = 7000


@dataclass(frozen=True, eq=False)
class Opened:
    """A picture, perhaps reduced, with the size of its file.

    Attributes:
        to_picture: Maps px of the file to px of the picture.
        width_px, height_px: Size of the file's picture as it is stored; an orientation tag is not
            applied.
    """

    picture: Picture
    to_picture: Matrix
    width_px: int
    height_px: int


def open_picture(path: Path, *, limits: ReadingLimits, most_px: int = MOST_PX) -> Opened:
    """Read a picture file.

    Args:
        limits: What decoding one file may cost.
        most_px: Longer side up to which the picture is kept unreduced.

    Raises:
        UnfitError: The file cannot be read or its picture cannot be aligned; says why.
    """
    structure = read_structure(path)
    if isinstance(structure, Unreadable):
        raise UnfitError(f"{path.name}: {structure.sentence}")
    refusal = refuse_by_header(structure, limits) or refuse_extra_channels(structure)
    if refusal is not None:
        raise UnfitError(f"{path.name}: {refusal.sentence}")
    if min(structure.width_px, structure.height_px) < SMALLEST_SIDE_PX:
        raise UnfitError(
            f"{path.name}: the picture is {structure.width_px} x {structure.height_px} px; at "
            f"least {SMALLEST_SIDE_PX} px are needed on each side."
        )
    step = max(1, -(-max(structure.width_px, structure.height_px) // most_px))
    try:
        with tempfile.TemporaryDirectory(prefix="align-") as scratch:
            grey = _grey(open_pixels(path, structure, Path(scratch)))
            reduced = grey if step == 1 else grey.shrink(step, step).cast(grey.format)
            values = np.asarray(reduced.numpy())
    except pyvips.Error as error:
        if is_out_of_memory(str(error)):
            raise UnfitError(f"{path.name}: there is not enough memory to read it.") from error
        raise UnfitError(
            f"{path.name}: the file is damaged and was not read to its end. Copy it again from "
            "where it came from."
        ) from error
    try:
        picture = finished(values if values.ndim == 2 else values[..., 0])
    except UnfitError as error:
        raise UnfitError(f"{path.name}: {error}") from error
    return Opened(picture, scaling(1 / step), structure.width_px, structure.height_px)


def _grey(image: pyvips.Image) -> pyvips.Image:
    """Return one band: grey as it is, colour as the mean of its first three bands."""
    if image.bands < 3:
        return image[0]
    mean = (image[0].cast("float") + image[1] + image[2]) * (1 / 3)
    return mean.rint().cast("uchar" if image.format == "uchar" else "ushort")
