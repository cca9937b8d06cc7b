"""Read the header of a JPEG (ITU-T T.81 markers, JFIF, Exif and ICC segments)."""

import struct
from dataclasses import dataclass, field

from imaging_requests.imaging.files.byte_source import ByteSource
from imaging_requests.imaging.files.exif import read_exif
from imaging_requests.imaging.files.facts import Exif, Length, Structure
from imaging_requests.imaging.files.icc import MAX_PROFILE_BYTES, read_profile
from imaging_requests.imaging.files.refusals import damaged

START_OF_FRAME = set(range(0xC0, 0xD0)) - {0xC4, 0xC8, 0xCC}
LOSSLESS_FRAMES = {0xC3, 0xC7, 0xCB, 0xCF}
WITHOUT_LENGTH = set(range(0xD0, 0xD9)) | {0x01}
START_OF_SCAN, APP0, APP1, APP2 = 0xDA, 0xE0, 0xE1, 0xE2
END_OF_IMAGE = b"\xff\xd9"
TAIL_BYTES = 65_536
MAX_SEGMENTS = 10_000
LOSSLESS = "lossless JPEG"
MM_PER_UNIT = {1: 25.4, 2: 10.0}


@dataclass(slots=True)
class _Segments:
    """What the segments before the first scan said."""

    frame: tuple[int, int, int, int] | None = None
    is_lossless: bool = False
    icc_parts: dict[int, bytes] = field(default_factory=dict)
    exif: Exif | None = None
    density: tuple[float, float] | None = None


def read_jpeg(source: ByteSource) -> Structure:
    """Describe a JPEG from the segments before its first scan.

    The format states no length; a whole file ends with the end marker, so that is looked for in
    the last 64 KiB. Raises ``HeaderError`` if the segments are damaged or break off.
    """
    found = _walk(source)
    if found.frame is None:
        raise damaged("its header gives no size of the picture")
    bits, height, width, bands = found.frame
    if width < 1 or height < 1 or bands < 1:
        raise damaged("its header gives the picture no width, no height or no channels")
    profile_bytes = b"".join(found.icc_parts[number] for number in sorted(found.icc_parts))
    orientation = found.exif.orientation if found.exif else None
    exif_density = found.exif.resolution_px_per_mm if found.exif else None
    tail_at = max(source.size_bytes - TAIL_BYTES, 0)
    ends = END_OF_IMAGE in source.peek(tail_at, TAIL_BYTES)
    return Structure(
        format="jpeg",
        width_px=width,
        height_px=height,
        bands=bands,
        bits_per_sample=bits,
        sample_format="unsigned",
        layout="rows",
        is_planar=False,
        byte_order="big",
        compression=LOSSLESS if found.is_lossless else "JPEG",
        is_lossy=not found.is_lossless,
        colour={1: "grey", 3: "rgb", 4: "cmyk"}.get(bands, "other"),
        orientation=orientation if orientation and 1 <= orientation <= 8 else 1,
        alpha="",
        extra_bands=0,
        pages=1,
        previews=0,
        has_layers=False,
        profile=read_profile(profile_bytes) if profile_bytes else None,
        resolution_px_per_mm=found.density or exif_density,
        exif=found.exif,
        length=Length(None, source.size_bytes, "" if ends else "the end marker is missing"),
    )


def _walk(source: ByteSource) -> _Segments:
    found, at = _Segments(), 2
    for _ in range(MAX_SEGMENTS):
        at += _bytes_to_marker(source, at)
        marker = source.read(at, 2, "the header of the JPEG")[1]
        if marker == START_OF_SCAN:
            return found
        if marker in WITHOUT_LENGTH:
            at += 2
            continue
        (length,) = struct.unpack(">H", source.read(at + 2, 2, "the header of the JPEG"))
        if length < 2:
            raise damaged("a segment of its header has no length")
        _note(found, marker, source.read(at + 4, length - 2, "the header of the JPEG"))
        at += 2 + length
    raise damaged("its header has more segments than any picture needs")


def _bytes_to_marker(source: ByteSource, at: int) -> int:
    """Return how far the next marker is; stray bytes are passed over, as decoders do."""
    if source.peek(at, 1) == b"\xff" and source.peek(at + 1, 1) not in (b"\xff", b"\0"):
        return 0
    stray = source.peek(at, TAIL_BYTES)
    for position in range(len(stray) - 1):
        if stray[position] == 0xFF and stray[position + 1] not in (0x00, 0xFF):
            return position
    raise damaged("its header loses the thread between two segments")


def _note(found: _Segments, marker: int, body: bytes) -> None:
    if marker in START_OF_FRAME and len(body) >= 6 and found.frame is None:
        bits, height, width, bands = struct.unpack_from(">BHHB", body)
        found.frame, found.is_lossless = (bits, height, width, bands), marker in LOSSLESS_FRAMES
    elif marker == APP1 and body.startswith(b"Exif\0\0") and found.exif is None:
        found.exif = read_exif(body[6:])
    elif marker == APP2 and body.startswith(b"ICC_PROFILE\0") and len(body) > 14:
        held = sum(len(part) for part in found.icc_parts.values())
        if held + len(body) <= MAX_PROFILE_BYTES:
            found.icc_parts[body[12]] = body[14:]
    elif marker == APP0 and body.startswith(b"JFIF\0") and len(body) >= 12:
        unit, x, y = struct.unpack_from(">BHH", body, 7)
        if unit in MM_PER_UNIT and x and y:
            found.density = (x / MM_PER_UNIT[unit], y / MM_PER_UNIT[unit])
