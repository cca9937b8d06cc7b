"""Open a TIFF that keeps its channels as separate tiled planes, which the decoder refuses.

Each plane is shown to the decoder as a grey TIFF of its own: the same file, unchanged, seen through
a reader that adds a small table behind its end and lets the head point there. Nothing is copied and
nothing is written; the tiles are decoded where they lie.
"""

import os
import struct
from pathlib import Path

import pyvips

from imaging_requests.imaging.files.byte_source import open_source
from imaging_requests.imaging.files.ifd import Entry, Table, TableReader, open_tables
from imaging_requests.imaging.files.tiff_structure import (
    BITS,
    COMPRESSION,
    HEIGHT,
    ICC,
    PHOTOMETRIC,
    SAMPLES,
    TILE_BYTES,
    TILE_HEIGHT,
    TILE_OFFSETS,
    TILE_WIDTH,
    WIDTH,
)

PREDICTOR, FILL_ORDER = 317, 266
COPIED = (WIDTH, HEIGHT, COMPRESSION, FILL_ORDER, PREDICTOR, TILE_WIDTH, TILE_HEIGHT)
WHITE_IS_ZERO, BLACK_IS_ZERO = 0, 1
LONG, LONG_8 = 4, 16


def open_tiled_planes(path: Path, *, fail_on: str) -> pyvips.Image:
    """Return the planes of the first picture joined to one image with as many bands.

    The photometric meaning is left to the caller: bands come as they are stored. ``fail_on``: the
    level of trouble at which the decoder stops. Raises
    ``pyvips.Error`` if the decoder cannot read a plane, ``HeaderError`` if the tables are damaged.
    """
    with open_source(path) as source:
        reader, offset = open_tables(source)
        table = reader.table(offset, "the table that describes the picture")
        views = [
            _View(
                path, source.size_bytes, *_table_of_plane(reader, table, plane, source.size_bytes)
            )
            for plane in range(table.whole(SAMPLES, 1))
        ]
    planes = [view.open(fail_on) for view in views]
    return planes[0].bandjoin(planes[1:]) if len(planes) > 1 else planes[0]


def _table_of_plane(
    reader: TableReader, table: Table, plane: int, file_bytes: int
) -> tuple[bytes, bytes]:
    """Return the head of the file and the added table for one plane."""
    offsets, counts = table.wholes(TILE_OFFSETS), table.wholes(TILE_BYTES)
    tiles = len(offsets) // table.whole(SAMPLES, 1)
    chosen = slice(plane * tiles, (plane + 1) * tiles)
    numbers: dict[int, tuple[int, ...]] = {
        tag: table.wholes(tag)[:1] for tag in COPIED if tag in table.entries
    }
    is_inverted = plane == 0 and table.whole(PHOTOMETRIC, BLACK_IS_ZERO) == WHITE_IS_ZERO
    numbers[PHOTOMETRIC] = (WHITE_IS_ZERO if is_inverted else BLACK_IS_ZERO,)
    numbers[BITS], numbers[SAMPLES] = table.wholes(BITS)[:1], (1,)
    numbers[TILE_OFFSETS], numbers[TILE_BYTES] = offsets[chosen], counts[chosen]
    padding = bytes(file_bytes % 2)
    start = file_bytes + len(padding)
    head_codes = ("HHHQ", 43, 8, 0) if reader.is_big else ("HI", 42)
    head = struct.pack(reader.order + head_codes[0], *head_codes[1:], start)
    mark = b"II" if reader.order == "<" else b"MM"
    added = _pack(reader, numbers, start, profile=table.entries.get(ICC))
    return mark + head, padding + added


def _pack(
    reader: TableReader, numbers: dict[int, tuple[int, ...]], start: int, *, profile: Entry | None
) -> bytes:
    """Lay out a table of numbers at ``start``; the profile stays where it lies in the file."""
    order, is_big = reader.order, reader.is_big
    count_code, kind, inline, entry_bytes = ("Q", LONG_8, 8, 20) if is_big else ("I", LONG, 4, 12)
    total = len(numbers) + (profile is not None)
    head = struct.pack(order + ("Q" if is_big else "H"), total)
    values_at = start + len(head) + entry_bytes * total + inline
    entries, values = b"", b""
    for tag in sorted(numbers):
        body = struct.pack(f"{order}{len(numbers[tag])}{count_code}", *numbers[tag])
        entries += struct.pack(order + "HH" + count_code, tag, kind, len(numbers[tag]))
        if len(body) > inline:
            entries += struct.pack(order + count_code, values_at + len(values))
            values += body
        else:
            entries += body
    if profile is not None:
        entries += struct.pack(
            order + "HH" + 2 * count_code, ICC, profile.kind, profile.count, profile.value_at
        )
    return head + entries + bytes(inline) + values


class _View:
    """The file with another head and an added tail, as a source for the decoder."""

    def __init__(self, path: Path, file_bytes: int, head: bytes, tail: bytes) -> None:
        self._path, self._file_bytes, self._head, self._tail = path, file_bytes, head, tail
        self._position = 0
        self._descriptor = os.open(path, os.O_RDONLY | os.O_CLOEXEC)

    def __del__(self) -> None:
        os.close(self._descriptor)

    def open(self, fail_on: str) -> pyvips.Image:
        """Hand the view to the decoder; the image keeps the source, the source keeps the view."""
        source = pyvips.SourceCustom()
        source.on_read(self._read)
        source.on_seek(self._seek)
        return pyvips.Image.new_from_source(source, "", access="sequential", fail_on=fail_on)

    def _read(self, size: int) -> bytes:
        at, head_bytes = self._position, len(self._head)
        if at < head_bytes:
            data = self._head[at : at + size]
        elif at < self._file_bytes:
            data = os.pread(self._descriptor, min(size, self._file_bytes - at), at)
        else:
            data = self._tail[at - self._file_bytes : at - self._file_bytes + size]
        self._position += len(data)
        return data

    def _seek(self, offset: int, whence: int) -> int:
        base = {os.SEEK_SET: 0, os.SEEK_CUR: self._position}.get(
            whence, self._file_bytes + len(self._tail)
        )
        self._position = base + offset
        return self._position
