"""Read a tile pyramid's table of contents, and take tiles out of it as they lie on the disk.

A pyramid is a tiled TIFF or BigTIFF; each page is half the size of the one before, and every tile
is a JPEG without its tables, which stand once in the page's header (TIFF Technical Note 2). A
whole JPEG is the tables without their end marker and the tile without its start marker.
"""

from __future__ import annotations

import os
import struct
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import lru_cache
from pathlib import Path
from typing import BinaryIO

IMAGE_WIDTH, IMAGE_LENGTH, COMPRESSION, PHOTOMETRIC = 256, 257, 259, 262
SAMPLES, TILE_WIDTH, TILE_LENGTH = 277, 322, 323
TILE_OFFSETS, TILE_BYTE_COUNTS, JPEG_TABLES = 324, 325, 347
JPEG, RGB = 7, 2
TYPE_CODES = {1: "B", 3: "H", 4: "I", 7: "B", 16: "Q"}
END_OF_IMAGE = b"\xff\xd9"
START_OF_IMAGE = b"\xff\xd8"
#: Adobe's marker with transform 0: the three components are red, green and blue as they stand.
PLAIN_RGB = b"\xff\xee\x00\x0eAdobe\x00\x64\x00\x00\x00\x00\x00"
#: How tiles that an edge cuts are kept behind the TIFF (``edges`` writes them).
CUT_ENTRY, CUT_CLOSING, CUT_MARK = "<IIIQI", "<I8s", b"CUTTILES"
MOST_LEVELS = 32
MOST_TILES = 4_000_000


class PyramidError(ValueError):
    """The file is no pyramid of the kind that is made here; it can be made again."""


@dataclass(frozen=True, slots=True)
class Level:
    """One size of the picture: its pixels, its grid of tiles and where each tile lies."""

    width_px: int
    height_px: int
    tile_width_px: int
    tile_height_px: int
    bands: int
    offsets: tuple[int, ...]
    lengths: tuple[int, ...]
    head: bytes

    @property
    def across(self) -> int:
        """Number of tiles in a row."""
        return -(-self.width_px // self.tile_width_px)

    def is_whole(self, column: int, row: int) -> bool:
        """Tell whether a tile lies inside the picture completely, without padding."""
        return (column + 1) * self.tile_width_px <= self.width_px and (
            row + 1
        ) * self.tile_height_px <= self.height_px

    def place(self, column: int, row: int) -> tuple[int, int]:
        """Return offset and length of a tile in the file."""
        index = row * self.across + column
        return self.offsets[index], self.lengths[index]


@dataclass(frozen=True, slots=True)
class Pyramid:
    """The levels of one picture, the full size first; each shrinks by about a half.

    ``cut``: offset and length of the tiles that an edge cuts, by level, column and row of the full
    picture's grid; empty in a pyramid that was made without them.
    """

    levels: tuple[Level, ...]
    cut: Mapping[tuple[int, int, int], tuple[int, int]] = field(default_factory=dict)

    @property
    def width_px(self) -> int:
        """Width of the full picture."""
        return self.levels[0].width_px

    @property
    def height_px(self) -> int:
        """Height of the full picture."""
        return self.levels[0].height_px

    @property
    def is_grey(self) -> bool:
        """One channel only."""
        return self.levels[0].bands == 1


def read_pyramid(path: Path) -> Pyramid:
    """Read the table of contents; kept in memory until the file changes.

    Raises ``OSError`` if the file is not there and ``PyramidError`` if it is something else.
    """
    found = path.stat()
    return _read(str(path), found.st_mtime_ns, found.st_size)


def read_tile(path: Path, level: Level, column: int, row: int) -> bytes:
    """Return one tile as a JPEG file, without decoding anything."""
    return level.head + _jpeg_at(path, *level.place(column, row))[len(START_OF_IMAGE) :]


def read_cut_tile(path: Path, pyramid: Pyramid, place: tuple[int, int, int]) -> bytes:
    """Return a tile that an edge cuts as it is kept: level, column, row of ``pyramid.cut``."""
    return _jpeg_at(path, *pyramid.cut[place])


def _jpeg_at(path: Path, offset: int, length: int) -> bytes:
    descriptor = os.open(path, os.O_RDONLY)
    try:
        body = os.pread(descriptor, length, offset)
    finally:
        os.close(descriptor)
    if len(body) != length or not body.startswith(START_OF_IMAGE):
        raise PyramidError(f"{path.name} is cut short or damaged.")
    return body


@lru_cache(maxsize=512)
def _read(path: str, mtime_ns: int, size_bytes: int) -> Pyramid:
    with open(path, "rb", buffering=65_536) as handle:
        try:
            levels = tuple(_levels(_Reader(handle, size_bytes)))
            cut = _cut_places(handle, size_bytes)
        except (struct.error, KeyError, IndexError, ValueError) as error:
            raise PyramidError(f"{Path(path).name} is no tile pyramid: {error}") from error
    if not levels:
        raise PyramidError(f"{Path(path).name} holds no picture.")
    return Pyramid(levels, cut)


def _cut_places(handle: BinaryIO, size_bytes: int) -> dict[tuple[int, int, int], tuple[int, int]]:
    """Read where the tiles lie that an edge cuts; none if nothing stands behind the TIFF."""
    closing, entry = struct.calcsize(CUT_CLOSING), struct.calcsize(CUT_ENTRY)
    if size_bytes < closing:
        return {}
    handle.seek(size_bytes - closing)
    count, mark = struct.unpack(CUT_CLOSING, handle.read(closing))
    if mark != CUT_MARK or count > MOST_TILES or closing + count * entry > size_bytes:
        return {}
    handle.seek(size_bytes - closing - count * entry)
    table = struct.iter_unpack(CUT_ENTRY, handle.read(count * entry))
    return {(number, column, row): (at, length) for number, column, row, at, length in table}


class _Reader:
    """Numbers of a TIFF in its own byte order, classic or big."""

    def __init__(self, handle: BinaryIO, size_bytes: int) -> None:
        self.handle, self.size_bytes = handle, size_bytes
        start = handle.read(16)
        self.order = {b"II": "<", b"MM": ">"}[start[:2]]
        self.is_big = struct.unpack(f"{self.order}H", start[2:4])[0] == 43
        self.first = (
            struct.unpack(f"{self.order}Q", start[8:16])[0]
            if self.is_big
            else struct.unpack(f"{self.order}I", start[4:8])[0]
        )

    def at(self, offset: int, code: str, count: int = 1) -> tuple[int, ...]:
        """Return numbers at an offset, which must lie inside the file."""
        length = struct.calcsize(f"{self.order}{count}{code}")
        if offset + length > self.size_bytes:
            raise ValueError("an offset lies behind the end")
        self.handle.seek(offset)
        return struct.unpack(f"{self.order}{count}{code}", self.handle.read(length))

    def page(self, offset: int) -> tuple[dict[int, tuple[int, ...]], int]:
        """Return the tags of one page and where the next page begins."""
        count = self.at(offset, "Q" if self.is_big else "H")[0]
        entry, width = (20, 8) if self.is_big else (12, 4)
        first = offset + (8 if self.is_big else 2)
        tags: dict[int, tuple[int, ...]] = {}
        for number in range(min(count, 200)):
            here = first + number * entry
            tag, kind = self.at(here, "H", 2)
            amount = self.at(here + 4, "Q" if self.is_big else "I")[0]
            if kind not in TYPE_CODES or amount > MOST_TILES:
                continue
            value_at = here + 4 + width
            if struct.calcsize(TYPE_CODES[kind]) * amount > width:
                value_at = self.at(value_at, "Q" if self.is_big else "I")[0]
            tags[tag] = self.at(value_at, TYPE_CODES[kind], amount)
        following = self.at(first + count * entry, "Q" if self.is_big else "I")[0]
        return tags, following


def _levels(reader: _Reader) -> list[Level]:
    levels: list[Level] = []
    offset = reader.first
    while offset and len(levels) < MOST_LEVELS:
        tags, offset = reader.page(offset)
        levels.append(_level(tags))
    return levels


def _level(tags: dict[int, tuple[int, ...]]) -> Level:
    if tags[COMPRESSION][0] != JPEG:
        raise ValueError("its tiles are no JPEG")
    tables = bytes(tags.get(JPEG_TABLES, ()))
    bands = tags.get(SAMPLES, (1,))[0]
    head = tables.removesuffix(END_OF_IMAGE) or START_OF_IMAGE
    if tags[PHOTOMETRIC][0] == RGB and bands == 3:
        head += PLAIN_RGB
    level = Level(
        width_px=tags[IMAGE_WIDTH][0],
        height_px=tags[IMAGE_LENGTH][0],
        tile_width_px=tags[TILE_WIDTH][0],
        tile_height_px=tags[TILE_LENGTH][0],
        bands=bands,
        offsets=tags[TILE_OFFSETS],
        lengths=tags[TILE_BYTE_COUNTS],
        head=head,
    )
    rows = -(-level.height_px // level.tile_height_px)
    if not len(level.offsets) == len(level.lengths) == level.across * rows:
        raise ValueError("its tiles are not all there")
    return level
