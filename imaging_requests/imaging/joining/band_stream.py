"""A picture that is made while the encoder reads it.

The encoder is shown a plain BigTIFF whose strips are the bands: the head is known beforehand, the
strips come into being one after the other as they are asked for, and are forgotten. So the whole
picture never exists in memory, and no intermediate file is needed.
"""

from __future__ import annotations

import os
import struct
from collections.abc import Iterator

import numpy as np
import pyvips

from imaging_requests.imaging.joining.tiles import Pixels

SHORT, LONG, LONG_8 = 3, 4, 16
CODES = {SHORT: "H", LONG: "I", LONG_8: "Q"}
BLACK_IS_ZERO, RGB = 1, 2


def head_of(
    *, width: int, height: int, channels: int, bits: int, band_rows: int
) -> tuple[bytes, int]:
    """Return the head of an uncompressed BigTIFF whose strips follow at once, and its full length.

    >>> head, length = head_of(width=4, height=3, channels=1, bits=16, band_rows=2)
    >>> length - len(head)
    24
    """
    rows = [min(band_rows, height - top) for top in range(0, height, band_rows)]
    counts = [count * width * channels * bits // 8 for count in rows]
    tags: list[tuple[int, int, list[int]]] = [
        (256, LONG, [width]),
        (257, LONG, [height]),
        (258, SHORT, [bits] * channels),
        (259, SHORT, [1]),
        (262, SHORT, [BLACK_IS_ZERO if channels == 1 else RGB]),
        (273, LONG_8, []),
        (277, SHORT, [channels]),
        (278, LONG, [band_rows]),
        (279, LONG_8, counts),
        (284, SHORT, [1]),
    ]
    table_end = 16 + 8 + 20 * len(tags) + 8
    outside = 8 * len(rows) if len(rows) > 1 else 0
    start = table_end + 2 * outside
    offsets = [start]
    for count in counts[:-1]:
        offsets.append(offsets[-1] + count)
    entries, values = b"", b""
    for tag, kind, items in tags:
        held = offsets if tag == 273 else items
        body = struct.pack(f"<{len(held)}{CODES[kind]}", *held)
        entries += struct.pack("<HHQ", tag, kind, len(held))
        if len(body) <= 8:
            entries += body.ljust(8, b"\0")
        else:
            entries += struct.pack("<Q", table_end + len(values))
            values += body
    head = b"II" + struct.pack("<HHHQ", 43, 8, 0, 16) + struct.pack("<Q", len(tags)) + entries
    head += struct.pack("<Q", 0) + values
    return head, start + sum(counts)


class BandStream:
    """Bands shown to the encoder as a file; keeps the error that broke the bands off."""

    def __init__(
        self,
        bands: Iterator[Pixels],
        *,
        width: int,
        height: int,
        channels: int,
        bits: int,
        rows: int,
    ) -> None:
        self._head, self._length = head_of(
            width=width, height=height, channels=channels, bits=bits, band_rows=rows
        )
        self._bands, self._position = bands, 0
        self._band, self._band_at = memoryview(b""), len(self._head)
        self.error: Exception | None = None

    def image(self) -> pyvips.Image:
        """Open the stream for one pass from top to bottom."""
        source = pyvips.SourceCustom()
        source.on_read(self._read)
        source.on_seek(self._seek)
        return pyvips.Image.new_from_source(source, "", access="sequential", fail_on="error")

    def _read(self, size: int) -> bytes:
        at = self._position
        if at < len(self._head):
            data = self._head[at : at + size]
        elif at >= self._length or not self._reach(at):
            return b""
        else:
            data = bytes(self._band[at - self._band_at : at - self._band_at + size])
        self._position += len(data)
        return data

    def _reach(self, at: int) -> bool:
        """Make bands until the one that holds the byte at ``at``; a band gone by is not given."""
        while at >= self._band_at + len(self._band):
            try:
                band = next(self._bands, None)
            except Exception as error:
                # the encoder only learns that there is no more; the caller learns why
                self.error = error
                return False
            if band is None:
                return False
            self._band_at += len(self._band)
            self._band = memoryview(np.ascontiguousarray(band).tobytes())
        return at >= self._band_at

    def _seek(self, offset: int, whence: int) -> int:
        base = {os.SEEK_SET: 0, os.SEEK_CUR: self._position}.get(whence, self._length)
        self._position = base + offset
        return self._position
