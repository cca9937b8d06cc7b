"""Read packed strips and tiles to their ends, where their check sums stand.

A decoder stops when it has levels enough. If damage makes a deflate stream longer, libtiff never
comes to the Adler-32 sum behind the last byte (RFC 1950, section 2.2) and gives wrong levels
without a word. Here every stream is unpacked to its end once, in pieces of bounded size.
"""

from __future__ import annotations

import zlib
from collections.abc import Iterator
from pathlib import Path

import pyvips

from imaging_requests.imaging.files.byte_source import ByteSource, open_source
from imaging_requests.imaging.files.facts import Structure
from imaging_requests.imaging.files.ifd import open_tables
from imaging_requests.imaging.files.refusals import HeaderError
from imaging_requests.imaging.files.tiff_structure import (
    STRIP_BYTES,
    STRIP_OFFSETS,
    TILE_BYTES,
    TILE_OFFSETS,
)

DEFLATE = "deflate"
PIECE_BYTES = 1024 * 1024


def demand_whole_parts(path: Path, structure: Structure) -> None:
    """Raise ``pyvips.Error`` at the first packed part of a TIFF whose check sum is not reached.

    Files of other formats, and those without deflate, are left alone: they have no such sums.
    Memory: a few MiB, however large a part is.
    """
    if structure.format not in ("tiff", "bigtiff") or structure.compression != DEFLATE:
        return
    if structure.preview is not None:
        return
    word = "tile" if structure.layout == "tiles" else "strip"
    tags = (TILE_OFFSETS, TILE_BYTES) if word == "tile" else (STRIP_OFFSETS, STRIP_BYTES)
    with open_source(path) as source:
        reader, offset = open_tables(source)
        table = next(iter(reader.chain(offset, "the table that describes the picture")))
        places = zip(table.wholes(tags[0]), table.wholes(tags[1]), strict=False)
        for number, (at, length) in enumerate(places, 1):
            if not length:
                continue
            try:
                fault = stream_fault(_pieces(source, at, length, f"{word} {number}"))
            except HeaderError as error:
                fault = str(error)
            if fault:
                raise pyvips.Error(f"{word} {number}: {fault}")


def stream_fault(pieces: Iterator[bytes]) -> str:
    """Return what is wrong with a zlib stream, or nothing if it ends with the right sum.

    Bytes behind its end do not count: some writers leave a few.

    >>> whole = zlib.compress(b"levels " * 100)
    >>> stream_fault(iter([whole[:20], whole[20:], b"spare"])), stream_fault(iter([whole[:-2]]))
    ('', 'it does not come to its end')
    """
    stream = zlib.decompressobj()
    try:
        for piece in pieces:
            rest = piece
            while rest and not stream.eof:
                stream.decompress(rest, PIECE_BYTES)
                rest = stream.unconsumed_tail
            if stream.eof:
                return ""
        # what is left inside after the last piece, a little at a time
        while not stream.eof and stream.decompress(b"", PIECE_BYTES):
            pass
    except zlib.error as error:
        return str(error)
    return "" if stream.eof else "it does not come to its end"


def _pieces(source: ByteSource, at: int, length: int, what: str) -> Iterator[bytes]:
    for start in range(0, length, PIECE_BYTES):
        yield source.read(at + start, min(PIECE_BYTES, length - start), what)
