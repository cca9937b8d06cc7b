"""A tiled TIFF that is written band by band, without compression; BigTIFF where it is large.

Everything in the head is known beforehand, so rows of tiles are written as they come into being and
forgotten: the whole picture never exists in memory, and nothing is encoded twice. Layout after TIFF
6.0 (1992) and the BigTIFF design of libtiff (from memory); read back by libtiff and tifffile in the
tests.
"""

from __future__ import annotations

import os
import struct
from pathlib import Path

import numpy as np

from imaging_requests.imaging.joining.row_sources import Pixels

TILE_PX = 256
CLASSIC_TIFF_BYTES = 3_900_000_000
"""Offsets of plain TIFF end at 4 GiB; some room is left for the head."""
ASCII, SHORT, LONG, RATIONAL, UNDEFINED, LONG_8 = 2, 3, 4, 5, 7, 16
CODES = {SHORT: "H", LONG: "I", RATIONAL: "I", LONG_8: "Q"}
PER_VALUE = {RATIONAL: 2}
BLACK_IS_ZERO, RGB = 1, 2
CENTIMETRE, MM_PER_CM, RATIO = 3, 10, 1000
Tag = tuple[int, int, list[int] | bytes]


class TiledTiff:
    """A file of 1 or 3 channels of 8 or 16 bits that is filled from top to bottom."""

    def __init__(
        self,
        path: Path,
        *,
        width: int,
        height: int,
        channels: int,
        bits: int,
        note: str,
        profile: bytes | None,
        px_per_mm: float | None,
    ) -> None:
        """Write the head. ``note``: the image description. ``profile``: an ICC profile."""
        self._width, self._channels, self._kind = width, channels, np.dtype(f"<u{bits // 8}")
        self._across = -(-width // TILE_PX)
        tags: list[Tag] = [
            (256, LONG, [width]),
            (257, LONG, [height]),
            (258, SHORT, [bits] * channels),
            (259, SHORT, [1]),
            (262, SHORT, [BLACK_IS_ZERO if channels == 1 else RGB]),
            (270, ASCII, note.encode() + b"\0"),
            (277, SHORT, [channels]),
            (284, SHORT, [1]),
            (322, SHORT, [TILE_PX]),
            (323, SHORT, [TILE_PX]),
            (339, SHORT, [1] * channels),
        ]
        if px_per_mm:
            rate = [round(px_per_mm * MM_PER_CM * RATIO), RATIO]
            tags += [(282, RATIONAL, rate), (283, RATIONAL, rate), (296, SHORT, [CENTIMETRE])]
        if profile is not None:
            tags.append((34675, UNDEFINED, profile))
        count = self._across * -(-height // TILE_PX)
        bytes_each = TILE_PX * TILE_PX * channels * bits // 8
        head = head_of(tags, tiles=count, bytes_each=bytes_each)
        self._file = path.open("wb")
        self._file.write(head)

    def add(self, band: Pixels) -> None:
        """Write the next row of tiles: (256 rows or, for the last, fewer; width, channels)."""
        rows = band.shape[0]
        whole = np.zeros((TILE_PX, self._across * TILE_PX, self._channels), self._kind)
        whole[:rows, : self._width] = band
        tiles = whole.reshape(TILE_PX, self._across, TILE_PX, self._channels).swapaxes(0, 1)
        self._file.write(np.ascontiguousarray(tiles).data)

    def close(self, *, is_synced: bool) -> None:
        """End the file; with ``is_synced`` it has reached the disk when this returns."""
        with self._file as file:
            file.flush()
            if is_synced:
                os.fsync(file.fileno())

    def drop(self) -> None:
        """Let go of a file that is not to be kept."""
        self._file.close()


def head_of(tags: list[Tag], *, tiles: int, bytes_each: int) -> bytes:
    """Return the head of a file whose tiles of ``bytes_each`` follow it one after the other.

    >>> head = head_of([(256, LONG, [300]), (257, LONG, [200])], tiles=2, bytes_each=65_536)
    >>> head[:4], len(head)
    (b'II*\\x00', 78)
    """
    is_big = tiles * bytes_each > CLASSIC_TIFF_BYTES
    place = LONG_8 if is_big else LONG
    with_places: list[Tag] = [*tags, (324, place, [0] * tiles), (325, LONG, [bytes_each] * tiles)]
    blank = _table(sorted(with_places), is_big=is_big)
    places = [len(blank) + number * bytes_each for number in range(tiles)]
    with_places[-2] = (324, place, places)
    return _table(sorted(with_places), is_big=is_big)


def _table(tags: list[Tag], *, is_big: bool) -> bytes:
    """Return header, directory and the values that do not fit into it."""
    if is_big:
        start = b"II" + struct.pack("<HHHQ", 43, 8, 0, 16) + struct.pack("<Q", len(tags))
        entry, room, end = "<HHQ", 8, 8
    else:
        start = b"II" + struct.pack("<HIH", 42, 8, len(tags))
        entry, room, end = "<HHI", 4, 4
    after = len(start) + len(tags) * (struct.calcsize(entry) + room) + end
    entries, values = b"", b""
    for tag, kind, held in tags:
        if isinstance(held, bytes):
            count, body = len(held), held
        else:
            count = len(held) // PER_VALUE.get(kind, 1)
            body = struct.pack(f"<{len(held)}{CODES[kind]}", *held)
        entries += struct.pack(entry, tag, kind, count)
        if len(body) <= room:
            entries += body.ljust(room, b"\0")
        else:
            entries += struct.pack("<Q" if is_big else "<I", after + len(values))
            values += body + b"\0" * (len(body) % 2)
    return start + entries + b"\0" * end + values
