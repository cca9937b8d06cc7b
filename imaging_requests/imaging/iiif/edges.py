"""Cut the tiles at the right and lower edge once, and keep them ready behind the pyramid.

A tiled TIFF fills the tiles that its edge cuts up to their full size, so they cannot leave as they
lie. Each is cut to what a viewer asks for, encoded, and put behind the end of the TIFF, where no
reader of TIFF looks: first the JPEG files, then one entry for each, then a closing line.

| part | bytes, little endian |
|---|---|
| entry | level, column, row (4 each), offset (8), length (4) |
| closing line | number of entries (4), the mark ``CUTTILES`` |
"""

from __future__ import annotations

import os
import struct
from collections.abc import Iterator
from pathlib import Path
from typing import BinaryIO

import cv2
import numpy as np

from imaging_requests.imaging.iiif.asked import Asked
from imaging_requests.imaging.iiif.pyramid import (
    CUT_CLOSING,
    CUT_ENTRY,
    CUT_MARK,
    Level,
    Pyramid,
    PyramidError,
    read_pyramid,
    read_tile,
)
from imaging_requests.imaging.iiif.render import encode, grid_tile, render

Place = tuple[int, int, int]


def keep_cut_tiles(path: Path, *, quality: int) -> int:
    """Put every tile that an edge cuts behind the pyramid at ``path``; return how many.

    ``quality``: of JPEG, 0 to 100. Memory holds one encoded tile at a time. Raises ``OSError`` if
    the file cannot be written, ``PyramidError`` or ``pyvips.Error`` if it cannot be read.
    """
    pyramid = read_pyramid(path)
    entries: list[bytes] = []
    with open(path, "r+b") as into:
        offset = into.seek(0, os.SEEK_END)
        for number in range(len(pyramid.levels)):
            for place, data in _cut_tiles(path, pyramid, number, quality):
                into.write(data)
                entries.append(struct.pack(CUT_ENTRY, *place, offset, len(data)))
                offset += len(data)
        _close(into, entries)
    return len(entries)


def _close(into: BinaryIO, entries: list[bytes]) -> None:
    into.write(b"".join(entries))
    into.write(struct.pack(CUT_CLOSING, len(entries), CUT_MARK))


def _cut_tiles(
    path: Path, pyramid: Pyramid, number: int, quality: int
) -> Iterator[tuple[Place, bytes]]:
    """Yield place and bytes of the tiles of one level that are not whole."""
    for column, row, asked in edge_requests(pyramid, number):
        data = _cut_one(path, pyramid.levels[number], column, row, asked, quality)
        if data is None:
            data = encode(render(path, pyramid, asked), asked, quality=quality)
        yield (number, column, row), data


def _cut_one(
    path: Path, level: Level, column: int, row: int, asked: Asked, quality: int
) -> bytes | None:
    """Cut one filled-up tile to what its edge leaves; None if the level has no tile there.

    A level whose size was rounded down lacks the last column or row that a viewer counts; the one
    before is repeated for it. So the tile lies exactly where its whole neighbours lie. Tiles are
    too small for libvips to pay off: OpenCV takes a third of its processor time for them.
    """
    wide = min(level.tile_width_px, level.width_px - column * level.tile_width_px)
    high = min(level.tile_height_px, level.height_px - row * level.tile_height_px)
    if wide < 1 or high < 1:
        return None
    tile = cv2.imdecode(
        np.frombuffer(read_tile(path, level, column, row), np.uint8), cv2.IMREAD_UNCHANGED
    )
    if tile is None:
        raise PyramidError(f"tile {column}, {row} of {path.name} is not a JPEG picture")
    right, below = asked.out_width_px - wide, asked.out_height_px - high
    cut = cv2.copyMakeBorder(tile[:high, :wide], 0, below, 0, right, cv2.BORDER_REPLICATE)
    is_done, data = cv2.imencode(".jpg", cut, [cv2.IMWRITE_JPEG_QUALITY, quality])
    if not is_done:
        raise PyramidError(f"tile {column}, {row} of {path.name} cannot be encoded")
    return bytes(data)


def edge_requests(pyramid: Pyramid, number: int) -> Iterator[tuple[int, int, Asked]]:
    """Yield column, row and request of the tiles of one level that are cut by the edge.

    The grid is that of the full picture, as the description of the picture offers it.
    """
    level, factor = pyramid.levels[number], 2**number
    step_x, step_y = level.tile_width_px * factor, level.tile_height_px * factor
    for y in range(0, pyramid.height_px, step_y):
        for x in range(0, pyramid.width_px, step_x):
            wide, high = min(step_x, pyramid.width_px - x), min(step_y, pyramid.height_px - y)
            asked = Asked(
                x_px=x,
                y_px=y,
                width_px=wide,
                height_px=high,
                out_width_px=-(-wide // factor),
                out_height_px=-(-high // factor),
                is_mirrored=False,
                rotation_deg=0,
                quality="default",
                format="jpg",
                is_full=(wide, high) == (pyramid.width_px, pyramid.height_px),
                is_max=False,
            )
            if grid_tile(pyramid, asked) is None:
                yield x // step_x, y // step_y, asked
