"""Read the header of a JPEG 2000 picture (ITU-T T.800: boxes of Annex I, markers of Annex A).

The codestream states the length of each of its tile-parts, so a file that was cut short is known
before anything is decoded; decoders show such a picture without a word.
"""

import struct
from collections.abc import Iterator
from dataclasses import dataclass

from imaging_requests.imaging.files.byte_source import ByteSource
from imaging_requests.imaging.files.facts import Length, Structure
from imaging_requests.imaging.files.icc import MAX_PROFILE_BYTES, read_profile
from imaging_requests.imaging.files.refusals import HeaderError, Reason, damaged, truncated

SIGNATURE = b"\0\0\0\x0cjP  "
CODESTREAM = b"\xff\x4f\xff\x51"
SOC, SIZ, COD, SOT, EOC = 0xFF4F, 0xFF51, 0xFF52, 0xFF90, 0xFFD9
REVERSIBLE = 1
MAX_BOXES, MAX_MARKERS, MAX_TILE_PARTS = 1_000, 10_000, 1_000_000
RESTRICTED_ICC, ANY_ICC = 2, 3
TOP_BITS = 16


@dataclass(frozen=True, slots=True)
class _Size:
    """What the marker SIZ says."""

    width: int
    height: int
    bands: int
    bits: int
    is_signed: bool
    is_even: bool


def read_jp2(source: ByteSource) -> Structure:
    """Describe a JPEG 2000 file or codestream; no pixel is decoded.

    Raises ``HeaderError`` if boxes or markers are damaged, or samples cannot be read here.
    """
    if source.peek(0, 4) == CODESTREAM:
        at, profile, has_palette = 0, b"", False
    else:
        at, profile, has_palette = _boxes(source)
    size, is_lossless, tiles_at = _main_header(source, at)
    if has_palette or not size.is_even or size.is_signed or size.bits > TOP_BITS:
        raise HeaderError(
            Reason.UNSUPPORTED,
            "This JPEG 2000 picture has a palette, or samples that differ in size, are signed or "
            "have more than 16 bits. Export it as a 16-bit TIFF and send that.",
        )
    end, shortfall = _tile_parts(source, tiles_at)
    return Structure(
        format="jp2",
        width_px=size.width,
        height_px=size.height,
        bands=size.bands,
        bits_per_sample=size.bits,
        sample_format="unsigned",
        layout="rows",
        is_planar=False,
        byte_order="big",
        compression="JPEG 2000 without loss" if is_lossless else "JPEG 2000",
        is_lossy=not is_lossless,
        colour={1: "grey", 2: "grey", 3: "rgb", 4: "rgb"}.get(size.bands, "other"),
        orientation=1,
        alpha="unspecified" if size.bands in (2, 4) else "",
        extra_bands=1 if size.bands in (2, 4) else 0,
        pages=1,
        previews=0,
        has_layers=False,
        profile=read_profile(profile) if profile else None,
        resolution_px_per_mm=None,
        exif=None,
        length=Length(end, source.size_bytes, shortfall),
    )


def embedded_profile(source: ByteSource) -> bytes:
    """Return the bytes of the ICC profile of a file; nothing if there is none."""
    return b"" if source.peek(0, 4) == CODESTREAM else _boxes(source)[1]


def _boxes(source: ByteSource) -> tuple[int, bytes, bool]:
    """Return where the codestream begins, the embedded profile, and whether there is a palette."""
    profile, has_palette = b"", False
    for kind, at, end in _walk(source, 0, source.size_bytes):
        if kind == b"jp2c":
            return at, profile, has_palette
        if kind != b"jp2h":
            continue
        for inner, start, stop in _walk(source, at, end):
            has_palette = has_palette or inner == b"pclr"
            is_profile = inner == b"colr" and source.peek(start, 1)[:1] in (
                bytes([RESTRICTED_ICC]),
                bytes([ANY_ICC]),
            )
            if is_profile and stop - start - 3 <= MAX_PROFILE_BYTES:
                profile = source.read(start + 3, stop - start - 3, "its profile")
    raise truncated("the codestream is missing", actual_bytes=source.size_bytes)


def _walk(source: ByteSource, at: int, end: int) -> Iterator[tuple[bytes, int, int]]:
    """Yield boxes: kind, where the content begins, where it ends."""
    for _ in range(MAX_BOXES):
        if at + 8 > end:
            return
        length, kind = struct.unpack(">I4s", source.read(at, 8, "a box of the file"))
        head = 8
        if length == 1:
            (length,) = struct.unpack(">Q", source.read(at + 8, 8, "a box of the file"))
            head = 16
        stop = end if length == 0 else at + length
        if stop < at + head:
            raise damaged("a box of the file is shorter than its own head")
        yield kind, at + head, stop
        at = stop
    raise damaged("it holds more boxes than any picture needs")


def _main_header(source: ByteSource, at: int) -> tuple[_Size, bool, int]:
    """Return the size, whether the wavelet is the reversible one, and where tile-parts begin."""
    if source.read(at, 2, "the codestream") != struct.pack(">H", SOC):
        raise damaged("its codestream does not begin as it should")
    at += 2
    size, is_lossless = None, False
    for _ in range(MAX_MARKERS):
        marker, length = struct.unpack(">HH", source.read(at, 4, "the header of the codestream"))
        if marker == SOT:
            if size is None:
                raise damaged("its codestream gives no size of the picture")
            return size, is_lossless, at
        if length < 2:
            raise damaged("a marker of its codestream has no length")
        body = source.read(at + 4, length - 2, "the header of the codestream")
        if marker == SIZ:
            size = _size(body)
        elif marker == COD and len(body) >= 10:
            is_lossless = body[9] == REVERSIBLE
        at += 2 + length
    raise damaged("its codestream has more markers than any picture needs")


def _size(body: bytes) -> _Size:
    if len(body) < 36:
        raise damaged("its codestream gives no size of the picture")
    x1, y1, x0, y0 = struct.unpack_from(">4I", body, 2)
    (bands,) = struct.unpack_from(">H", body, 34)
    parts = [body[36 + 3 * band : 39 + 3 * band] for band in range(bands)]
    if x1 <= x0 or y1 <= y0 or bands < 1 or len(parts[-1]) < 3:
        raise damaged("its codestream gives the picture no width, no height or no channels")
    return _Size(
        width=x1 - x0,
        height=y1 - y0,
        bands=bands,
        bits=max((part[0] & 0x7F) + 1 for part in parts),
        is_signed=any(part[0] & 0x80 for part in parts),
        is_even=len(set(parts)) == 1 and parts[0][1:] == b"\1\1",
    )


def _tile_parts(source: ByteSource, at: int) -> tuple[int, str]:
    """Follow the tile-parts; return where they end and what is missing."""
    for _ in range(MAX_TILE_PARTS):
        head = source.peek(at, 12)
        if head[:2] == struct.pack(">H", EOC):
            return at + 2, ""
        if len(head) < 12 or head[:2] != struct.pack(">H", SOT):
            return at + 2, "the end marker of the picture is missing"
        (length,) = struct.unpack(">I", head[6:10])
        if length == 0:
            ends = source.peek(source.size_bytes - 2, 2) == struct.pack(">H", EOC)
            return source.size_bytes, "" if ends else "the end marker of the picture is missing"
        if length < 12:
            raise damaged("a tile of its codestream has no length")
        at += length
    raise damaged("its codestream has more tiles than any picture needs")
