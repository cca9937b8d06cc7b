"""Read the header of a PNG (ISO/IEC 15948) and walk its chunks to the end without decoding."""

import struct
import zlib
from dataclasses import dataclass

from imaging_requests.imaging.files.byte_source import ByteSource
from imaging_requests.imaging.files.exif import read_exif
from imaging_requests.imaging.files.facts import Exif, Length, Profile, Structure
from imaging_requests.imaging.files.icc import MAX_PROFILE_BYTES, read_profile
from imaging_requests.imaging.files.refusals import damaged

SIGNATURE_BYTES = 8
COLOUR_KINDS = {
    0: ("grey", 1, ""),
    2: ("rgb", 3, ""),
    3: ("palette", 1, ""),
    4: ("grey", 2, "unassociated"),
    6: ("rgb", 4, "unassociated"),
}
MAX_CHUNKS = 5_000_000
MAX_SMALL_CHUNK = 16 * 1024 * 1024


@dataclass(slots=True)
class _Chunks:
    """What the chunks beside the picture data said, and where the file should end."""

    profile: Profile | None = None
    exif: Exif | None = None
    density: tuple[float, float] | None = None
    frames: int = 1
    has_transparency: bool = False
    end_at: int | None = None
    expected_at_least: int = 0


def read_png(source: ByteSource) -> Structure:
    """Describe a PNG; every chunk is visited, so that a missing end is known without decoding.

    Raises ``HeaderError`` if the first chunk is missing or damaged.
    """
    head = source.read(SIGNATURE_BYTES, 25, "the first chunk of the PNG")
    length, name = struct.unpack_from(">I4s", head)
    if (length, name) != (13, b"IHDR"):
        raise damaged("its first chunk is not the header of a PNG")
    width, height, bits, kind, _, _, interlace = struct.unpack_from(">IIBBBBB", head, 8)
    if width < 1 or height < 1 or kind not in COLOUR_KINDS:
        raise damaged("its header gives the picture no width, no height or no channels")
    colour, bands, alpha = COLOUR_KINDS[kind]
    chunks = _walk(source)
    if chunks.has_transparency and not alpha:
        alpha, bands = "unassociated", bands + 1
    orientation = chunks.exif.orientation if chunks.exif else None
    shortfall = ""
    if chunks.end_at is None:
        shortfall = (
            f"a chunk should reach to byte {chunks.expected_at_least:,}"
            if chunks.expected_at_least > source.size_bytes
            else "the end chunk is missing"
        )
    return Structure(
        format="png",
        width_px=width,
        height_px=height,
        bands=bands,
        bits_per_sample=bits,
        sample_format="unsigned",
        layout="interlaced rows" if interlace else "rows",
        is_planar=False,
        byte_order="big",
        compression="deflate",
        is_lossy=False,
        colour=colour,
        orientation=orientation if orientation and 1 <= orientation <= 8 else 1,
        alpha=alpha,
        extra_bands=1 if alpha else 0,
        pages=chunks.frames,
        previews=0,
        has_layers=False,
        profile=chunks.profile,
        resolution_px_per_mm=chunks.density,
        exif=chunks.exif,
        length=Length(
            chunks.end_at or chunks.expected_at_least or None, source.size_bytes, shortfall
        ),
    )


def _walk(source: ByteSource) -> _Chunks:
    found, at = _Chunks(), SIGNATURE_BYTES
    for _ in range(MAX_CHUNKS):
        head = source.peek(at, 8)
        if len(head) < 8:
            return found
        length, name = struct.unpack(">I4s", head)
        end = at + 12 + length
        found.expected_at_least = max(found.expected_at_least, end)
        if end > source.size_bytes:
            return found
        if name == b"IEND":
            found.end_at = end
            return found
        if name not in (b"IHDR", b"IDAT", b"PLTE") and length <= MAX_SMALL_CHUNK:
            _note(found, name, source, at + 8, length)
        at = end
    raise damaged("it has more chunks than any picture needs")


def _note(found: _Chunks, name: bytes, source: ByteSource, at: int, length: int) -> None:
    if name == b"iCCP" and found.profile is None:
        found.profile = _profile(source.read(at, length, "the colour profile"))
    elif name == b"eXIf" and found.exif is None:
        found.exif = read_exif(source.read(at, length, "the Exif chunk"))
    elif name == b"tRNS":
        found.has_transparency = True
    elif name == b"pHYs" and length == 9:
        x, y, unit = struct.unpack(">IIB", source.read(at, 9, "the resolution"))
        if unit == 1 and x and y:
            found.density = (x / 1000, y / 1000)
    elif name == b"acTL" and length == 8:
        (frames,) = struct.unpack(">I", source.read(at, 4, "the number of frames"))
        found.frames = max(frames, 1)


def _profile(body: bytes) -> Profile:
    packed = body[body.find(b"\0") + 2 :]
    try:
        data = zlib.decompressobj().decompress(packed, MAX_PROFILE_BYTES)
    except zlib.error:
        data = b""
    return read_profile(data)
