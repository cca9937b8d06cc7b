"""Open a tiled TIFF so that every damaged tile stops the decoder, planes included.

libvips has three levels of strictness, and none fits a tiled master: at "error" a damaged tile is
shown as black, at "warning" a harmless oddity in some descriptive tag stops it, and separate tiled
planes it refuses. So it is shown another head: the same file, unchanged, through a reader that adds
a small table behind its end, with the tags that the pixels need and no others. Nothing is copied
and nothing is written; the tiles are decoded where they lie. Then "warning" means the tiles alone.
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
    EXTRA_SAMPLES,
    HEIGHT,
    ICC,
    PHOTOMETRIC,
    PLANAR,
    SAMPLE_FORMAT,
    SAMPLES,
    TILE_BYTES,
    TILE_HEIGHT,
    TILE_OFFSETS,
    TILE_WIDTH,
    WIDTH,
)

FILL_ORDER, PREDICTOR, COLOUR_MAP, JPEG_TABLES = 266, 317, 320, 347
SUBSAMPLING, REFERENCE_LEVELS = 530, 532
PLANE_TAGS = (WIDTH, HEIGHT, COMPRESSION, FILL_ORDER, PREDICTOR, TILE_WIDTH, TILE_HEIGHT, ICC)
PIXEL_TAGS = (
    *PLANE_TAGS, BITS, PHOTOMETRIC, SAMPLES, PLANAR, COLOUR_MAP, TILE_OFFSETS, TILE_BYTES,
    EXTRA_SAMPLES, SAMPLE_FORMAT, JPEG_TABLES, SUBSAMPLING, REFERENCE_LEVELS,
)  # fmt: skip
WHITE_IS_ZERO, BLACK_IS_ZERO = 0, 1
LONG, LONG_8 = 4, 16
SEPARATE = 2
STRICT = "warning"


def open_tiles(path: Path) -> pyvips.Image:
    """Return the first picture of a tiled TIFF for one pass from top to bottom.

    Separate planes are joined as they are stored; what they mean is left to the caller. Raises
    ``pyvips.Error`` if the decoder cannot read a tile, ``HeaderError`` if the tables are damaged.
    """
    with open_source(path) as source:
        reader, offset = open_tables(source)
        table = reader.table(offset, "the table that describes the picture")
        maker = _Maker(reader, table, source.size_bytes)
        samples = table.whole(SAMPLES, 1)
        is_planar = table.whole(PLANAR, 1) == SEPARATE and samples > 1
        added = (
            [maker.plane(number, samples) for number in range(samples)]
            if is_planar
            else [maker.whole()]
        )
        views = [_View(path, source.size_bytes, maker.head(), tail) for tail in added]
    planes = [view.open() for view in views]
    return planes[0].bandjoin(planes[1:]) if len(planes) > 1 else planes[0]


class _Maker:
    """Makes the head that points behind the end of the file, and the tables that lie there."""

    def __init__(self, reader: TableReader, table: Table, file_bytes: int) -> None:
        self._reader, self._table = reader, table
        self._padding = bytes(file_bytes % 2)
        self._start = file_bytes + len(self._padding)

    def head(self) -> bytes:
        """Return the first bytes of the file, pointing to the added table."""
        order = self._reader.order
        codes = ("HHHQ", 43, 8, 0) if self._reader.is_big else ("HI", 42)
        mark = b"II" if order == "<" else b"MM"
        return mark + struct.pack(order + codes[0], *codes[1:], self._start)

    def whole(self) -> bytes:
        """Return a table with the tags that the pixels need, their values left where they lie."""
        return self._pack({tag: self._entry(tag) for tag in PIXEL_TAGS if self._has(tag)})

    def plane(self, number: int, planes: int) -> bytes:
        """Return a table that shows one plane as a grey picture of its own."""
        table = self._table
        offsets, counts = table.wholes(TILE_OFFSETS), table.wholes(TILE_BYTES)
        tiles = len(offsets) // planes
        chosen = slice(number * tiles, (number + 1) * tiles)
        is_inverted = number == 0 and table.whole(PHOTOMETRIC, BLACK_IS_ZERO) == WHITE_IS_ZERO
        parts: dict[int, Entry | tuple[int, ...]] = {
            tag: self._entry(tag) for tag in PLANE_TAGS if self._has(tag)
        }
        parts[PHOTOMETRIC] = (WHITE_IS_ZERO if is_inverted else BLACK_IS_ZERO,)
        parts[BITS], parts[SAMPLES] = table.wholes(BITS)[:1], (1,)
        parts[TILE_OFFSETS], parts[TILE_BYTES] = offsets[chosen], counts[chosen]
        return self._pack(parts)

    def _has(self, tag: int) -> bool:
        return tag in self._table.entries

    def _entry(self, tag: int) -> Entry:
        return self._table.entries[tag]

    def _pack(self, parts: "dict[int, Entry | tuple[int, ...]] | dict[int, Entry]") -> bytes:
        order, is_big = self._reader.order, self._reader.is_big
        code, kind, inline, entry_bytes = ("Q", LONG_8, 8, 20) if is_big else ("I", LONG, 4, 12)
        head = struct.pack(order + ("Q" if is_big else "H"), len(parts))
        values_at = self._start + len(head) + entry_bytes * len(parts) + inline
        entries, values = b"", b""
        for tag in sorted(parts):
            part = parts[tag]
            if isinstance(part, Entry):
                entries += struct.pack(order + "HH" + code, tag, part.kind, part.count)
                if part.value_bytes > inline:
                    entries += struct.pack(order + code, part.value_at)
                else:
                    entries += self._reader.source.read(part.value_at, inline, f"tag {tag}")
                continue
            body = struct.pack(f"{order}{len(part)}{code}", *part)
            entries += struct.pack(order + "HH" + code, tag, kind, len(part))
            if len(body) > inline:
                entries += struct.pack(order + code, values_at + len(values))
                values += body
            else:
                entries += body
        return self._padding + head + entries + bytes(inline) + values


class _View:
    """The file with another head and an added tail, as a source for the decoder."""

    def __init__(self, path: Path, file_bytes: int, head: bytes, tail: bytes) -> None:
        self._file_bytes, self._head, self._tail = file_bytes, head, tail
        self._position = 0
        self._descriptor = os.open(path, os.O_RDONLY | os.O_CLOEXEC)

    def __del__(self) -> None:
        os.close(self._descriptor)

    def open(self) -> pyvips.Image:
        """Hand the view to the decoder; the image keeps the source, the source keeps the view."""
        source = pyvips.SourceCustom()
        source.on_read(self._read)
        source.on_seek(self._seek)
        return pyvips.Image.new_from_source(source, "", access="sequential", fail_on=STRICT)

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
