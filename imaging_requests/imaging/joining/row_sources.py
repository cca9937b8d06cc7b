"""Rows of a tile, from the file itself where the levels lie plainly, else from the decoder.

Most plates come as strips without compression. Their levels are read as they lie, by the operating
system, which is several times faster than through a decoder and needs no memory but the rows.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any, Protocol

import numpy as np
import pyvips
from numpy.typing import NDArray

from imaging_requests.imaging.files.byte_source import open_source
from imaging_requests.imaging.files.facts import Structure
from imaging_requests.imaging.files.ifd import open_tables
from imaging_requests.imaging.files.tiff_structure import (
    PHOTOMETRIC,
    STRIP_BYTES,
    STRIP_OFFSETS,
)

FILL_ORDER = 266
BLACK_IS_ZERO, RGB = 1, 2
PLAIN_BITS = (8, 16)
Pixels = NDArray[Any]
"""uint8 or uint16, (rows, columns, channels)."""


class RowSource(Protocol):
    """Gives rows of a picture, from top to bottom."""

    @property
    def height_px(self) -> int:
        """Rows of the picture."""

    def fetch(self, top: int, count: int) -> Pixels:
        """Return rows; raises ``pyvips.Error`` if they cannot be read."""


@dataclass(frozen=True, slots=True)
class DecodedRows:
    """Rows that a decoder gives. Belongs to the thread that made it."""

    image: pyvips.Image
    region: pyvips.Region

    @property
    def height_px(self) -> int:
        """Rows of the picture."""
        height: int = self.image.height
        return height

    def fetch(self, top: int, count: int) -> Pixels:
        """Return rows; raises ``pyvips.Error`` at a damaged place."""
        image = self.image
        kind = np.uint16 if image.format == "ushort" else np.uint8
        data = self.region.fetch(0, top, image.width, count)
        return np.frombuffer(data, kind).reshape(count, image.width, image.bands)


@dataclass(frozen=True, slots=True)
class PlainRows:
    """Rows that lie one after the other in the file, from byte ``start`` on."""

    path: Path
    start: int
    width_px: int
    height_px: int
    stored_bands: int
    bands: int
    kind: np.dtype[Any]

    def fetch(self, top: int, count: int) -> Pixels:
        """Return rows; raises ``pyvips.Error`` if the file has become shorter or unreadable."""
        per_row = self.width_px * self.stored_bands
        at = self.start + top * per_row * self.kind.itemsize
        try:
            levels = np.fromfile(self.path, self.kind, count=count * per_row, offset=at)
        except OSError as error:
            raise pyvips.Error(f"{self.path.name}: {error}") from error
        if levels.size < count * per_row:
            raise pyvips.Error(f"{self.path.name}: the file ends before its rows do")
        rows = levels.astype(self.kind.newbyteorder("="), copy=False)
        return rows.reshape(count, self.width_px, self.stored_bands)[..., : self.bands]


def decoded_rows(image: pyvips.Image) -> DecodedRows:
    """Return the rows of an opened picture."""
    return DecodedRows(image, pyvips.Region.new(image))


def plain_rows(path: Path, structure: Structure, *, bands: int) -> PlainRows | None:
    """Return the rows of a file whose levels need no decoder; None for every other file.

    ``bands``: the colour channels wanted, from the first on.
    """
    is_plain = (
        structure.format in ("tiff", "bigtiff")
        and structure.preview is None
        and structure.layout == "strips"
        and structure.compression == "none"
        and structure.sample_format == "unsigned"
        and structure.bits_per_sample in PLAIN_BITS
        and structure.length.is_complete
        and not (structure.is_planar and structure.bands > 1)
    )
    if not is_plain:
        return None
    kind = np.dtype(
        f"{'>' if structure.byte_order == 'big' else '<'}u{structure.bits_per_sample // 8}"
    )
    size = structure.width_px * structure.height_px * structure.bands * kind.itemsize
    with open_source(path) as source:
        reader, offset = open_tables(source)
        table = next(iter(reader.chain(offset, "the table that describes the picture")))
        places, lengths = table.wholes(STRIP_OFFSETS), table.wholes(STRIP_BYTES)
        is_usual = table.whole(PHOTOMETRIC, 0) in (BLACK_IS_ZERO, RGB) and (
            table.whole(FILL_ORDER, 1) == 1
        )
    ends = [place + length for place, length in zip(places, lengths, strict=False)]
    follow = ends[:-1] == list(places[1:])
    if not (is_usual and places and follow and sum(lengths) == size):
        return None
    return PlainRows(
        path,
        places[0],
        structure.width_px,
        structure.height_px,
        structure.bands,
        bands,
        kind,
    )
