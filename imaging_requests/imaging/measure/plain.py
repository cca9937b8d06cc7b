"""Levels of a plain TIFF straight from its bytes: uncompressed, in one run, as this machine counts.

Such a file needs no decoder: any part of it can be read in any order, by several threads at once.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import tifffile
from numpy.typing import NDArray

from imaging_requests.imaging.files.facts import Structure

MOST_BANDS = 3


@dataclass(frozen=True, slots=True)
class PlainPixels:
    """Where the levels of a plain file lie. ``bands``: 1 or 3 to a pixel."""

    path: Path
    offset: int
    type: np.dtype[Any]
    width_px: int
    height_px: int
    bands: int

    def fetch(self, left: int, top: int, width: int, height: int) -> NDArray[Any]:
        """Levels of a part that lies within the picture, (rows, columns) or (rows, columns, 3).

        Raises ``OSError`` if the file has become shorter.
        """
        pixel = self.bands * self.type.itemsize
        wanted = width * self.bands
        part = np.empty((height, wanted), self.type)
        with self.path.open("rb", buffering=0) as file:
            if width == self.width_px:
                _fill(file, part, self.offset + top * self.width_px * pixel)
            else:
                for row in range(height):
                    at = self.offset + ((top + row) * self.width_px + left) * pixel
                    _fill(file, part[row], at)
        return part if self.bands == 1 else part.reshape(height, width, self.bands)


def plain_pixels(path: Path, structure: Structure) -> PlainPixels | None:
    """Find the levels of a plain file; None if it has to be decoded.

    Args:
        path: The file; only read.
        structure: What its header says.
    """
    if structure.format not in ("tiff", "bigtiff") or structure.compression != "none":
        return None
    if structure.bands not in (1, MOST_BANDS) or structure.bits_per_sample not in (8, 16):
        return None
    try:
        with tifffile.TiffFile(path) as file:
            page = file.pages[0]
            if not isinstance(page, tifffile.TiffPage) or not page.is_memmappable:
                return None
            if page.dtype is None:
                return None
            kind = np.dtype(file.byteorder + page.dtype.char)
            offset, count = page.dataoffsets[0], sum(page.databytecounts)
            is_chunky = page.planarconfig == 1 or structure.bands == 1
            is_positive = page.photometric != tifffile.PHOTOMETRIC.MINISWHITE
            size = (page.imagewidth, page.imagelength, page.samplesperpixel)
    except (ValueError, OSError, IndexError, TypeError, tifffile.TiffFileError):
        return None
    wanted = structure.width_px * structure.height_px * structure.bands * kind.itemsize
    is_whole = count == wanted and offset + wanted <= path.stat().st_size
    is_ours = kind.isnative and kind in (np.uint8, np.uint16)
    if size != (structure.width_px, structure.height_px, structure.bands):
        return None
    if not (is_whole and is_ours and is_chunky and is_positive):
        return None
    return PlainPixels(path, offset, kind, *size)


def _fill(file: Any, part: NDArray[Any], at: int) -> None:
    """Read a contiguous array from a place of a file."""
    file.seek(at)
    room = part.reshape(-1).view(np.uint8).data
    while room:
        count = file.readinto(room)
        if not count:
            raise OSError("The file became shorter while it was read.")
        room = room[count:]
