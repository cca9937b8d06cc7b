"""Frames as camera files: 16-bit TIFF with ICC profile, Exif and true resolution.

The file is laid out by hand, little-endian: header, image strips, then the directories. Readers
need nothing beyond baseline TIFF 6.0 and, if chosen, Deflate with the horizontal predictor.
"""

from __future__ import annotations

import struct
import zlib
from dataclasses import dataclass
from datetime import datetime
from fractions import Fraction
from itertools import accumulate
from pathlib import Path
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from .profiles import grey_profile, wide_rgb_profile

ASCII, SHORT, LONG, RATIONAL, UNDEFINED = 2, 3, 4, 5, 7
STRIP_BYTES = 262_144
Compression = Literal["none", "deflate"]


@dataclass(frozen=True, kw_only=True)
class CameraNotes:
    """What the camera writes about itself and the exposure.

    Attributes:
        taken_at: Instant by the camera's clock, with its offset from UTC.
        exposure_s, f_number, iso, focal_length_mm: Exposure as set.
        is_flash_fired: True for studio flash.
        make, model, body_serial, lens_model, lens_serial, software: Names as the maker gives them.
        description: One line, or empty.
    """

    taken_at: datetime
    exposure_s: float
    f_number: float = 8.0
    iso: int = 100
    focal_length_mm: float = 120.0
    is_flash_fired: bool = False
    make: str = "Fenwick Optical"
    model: str = "Bay One"
    body_serial: str = "FO-100413"
    lens_model: str = "Fenwick Repro 120 mm f/5.6"
    lens_serial: str = "FL-20877"
    software: str = "Fenwick Tether 4.2"
    description: str = ""


@dataclass(frozen=True)
class _Entry:
    tag: int
    kind: int
    count: int
    data: bytes


def write_tiff(
    path: Path,
    pixels: NDArray[np.uint16],
    *,
    px_per_mm: float,
    notes: CameraNotes,
    is_linear: bool = False,
    compression: Compression = "none",
    profile: bytes | None = None,
    has_profile: bool = True,
) -> int:
    """Write a frame.

    Args:
        path: File to create; an existing one is not touched.
        pixels: uint16, (rows, columns) or (rows, columns, 3).
        px_per_mm: Density on the object, written as X and Y resolution per centimetre.
        is_linear: Grey values are proportional to light (infrared).
        profile: ICC profile to embed instead of the studio's own.
        has_profile: False leaves the profile out, as a badly set program would.

    Returns:
        Bytes written.

    Raises:
        FileExistsError: The file is already there.
        ValueError: Pixels are not 16-bit, or of another shape; or the time has no offset.
    """
    data = tiff_bytes(
        pixels,
        px_per_mm=px_per_mm,
        notes=notes,
        is_linear=is_linear,
        compression=compression,
        profile=profile,
        has_profile=has_profile,
    )
    with path.open("xb") as file:
        file.writelines(data)
    return sum(len(part) for part in data)


def tiff_bytes(
    pixels: NDArray[np.uint16],
    *,
    px_per_mm: float,
    notes: CameraNotes,
    is_linear: bool = False,
    compression: Compression = "none",
    profile: bytes | None = None,
    has_profile: bool = True,
) -> list[bytes | memoryview]:
    """The same file as parts to be written one after the other."""
    if pixels.dtype != np.uint16 or pixels.ndim not in (2, 3):
        raise ValueError(f"Frames are 16-bit grey or RGB, got {pixels.dtype} {pixels.shape}.")
    if pixels.ndim == 3 and pixels.shape[2] != 3:
        raise ValueError(f"Colour frames have three channels, got {pixels.shape[2]}.")
    if notes.taken_at.tzinfo is None:
        raise ValueError("The camera's time needs its offset from UTC.")
    rows, columns = pixels.shape[:2]
    channels = 1 if pixels.ndim == 2 else 3
    rows_per_strip = max(1, min(rows, STRIP_BYTES // (columns * channels * 2)))
    strips = _strips(pixels, rows_per_strip, compression)
    lengths = [len(strip) for strip in strips]
    offsets = list(accumulate(lengths[:-1], initial=8))
    end = 8 + sum(lengths)
    pad = end % 2
    if profile is None:
        profile = wide_rgb_profile() if channels == 3 else grey_profile(is_linear=is_linear)
    entries = [
        _short(256, columns) if columns < 65536 else _long(256, columns),
        _short(257, rows) if rows < 65536 else _long(257, rows),
        _short(258, *(16,) * channels),
        _short(259, 1 if compression == "none" else 8),
        _short(262, 2 if channels == 3 else 1),
        *([_ascii(270, notes.description)] if notes.description else []),
        _ascii(271, notes.make),
        _ascii(272, notes.model),
        _long(273, *offsets),
        _short(274, 1),
        _short(277, channels),
        _short(278, rows_per_strip),
        _long(279, *lengths),
        _rational(282, px_per_mm * 10),
        _rational(283, px_per_mm * 10),
        _short(284, 1),
        _short(296, 3),
        _ascii(305, notes.software),
        _ascii(306, f"{notes.taken_at:%Y:%m:%d %H:%M:%S}"),
        *([_short(317, 2)] if compression == "deflate" else []),
        *([_Entry(34675, UNDEFINED, len(profile), profile)] if has_profile else []),
    ]
    exif_at = end + pad
    exif = _directory(_exif_entries(notes, rows, columns), exif_at)
    entries.append(_long(34665, exif_at))
    main_at = exif_at + len(exif)
    main = _directory(sorted(entries, key=lambda entry: entry.tag), main_at)
    header = b"II*\0" + struct.pack("<I", main_at)
    return [header, *strips, bytes(pad), exif, main]


def _strips(
    pixels: NDArray[np.uint16], rows_per_strip: int, compression: Compression
) -> list[bytes | memoryview]:
    """Image data, strip by strip."""
    little = np.ascontiguousarray(pixels.astype("<u2", copy=False))
    pieces = [little[i : i + rows_per_strip] for i in range(0, len(little), rows_per_strip)]
    if compression == "none":
        return [piece.data.cast("B") for piece in pieces]
    packed: list[bytes | memoryview] = []
    for piece in pieces:
        step = piece.copy()
        step[:, 1:] -= piece[:, :-1]
        packed.append(zlib.compress(step.tobytes(), 1))
    return packed


def _exif_entries(notes: CameraNotes, rows: int, columns: int) -> list[_Entry]:
    """Exif 2.32 directory."""
    time = f"{notes.taken_at:%Y:%m:%d %H:%M:%S}"
    offset = f"{notes.taken_at:%z}"
    offset = f"{offset[:3]}:{offset[3:5]}"
    part = f"{notes.taken_at.microsecond // 10000:02d}"
    focal = notes.focal_length_mm
    return [
        _rational(33434, notes.exposure_s),
        _rational(33437, notes.f_number),
        _short(34850, 1),
        _short(34855, notes.iso),
        _Entry(36864, UNDEFINED, 4, b"0232"),
        _ascii(36867, time),
        _ascii(36868, time),
        _ascii(36880, offset),
        _ascii(36881, offset),
        _ascii(36882, offset),
        _short(37385, 1 if notes.is_flash_fired else 0),
        _rational(37386, focal),
        _ascii(37520, part),
        _ascii(37521, part),
        _ascii(37522, part),
        _short(40961, 65535),
        _long(40962, columns),
        _long(40963, rows),
        _short(41986, 1),
        _short(41987, 1),
        _ascii(42033, notes.body_serial),
        _rational(42034, focal, focal, 5.6, 5.6),
        _ascii(42036, notes.lens_model),
        _ascii(42037, notes.lens_serial),
    ]


def _short(tag: int, *values: int) -> _Entry:
    return _Entry(tag, SHORT, len(values), struct.pack(f"<{len(values)}H", *values))


def _long(tag: int, *values: int) -> _Entry:
    return _Entry(tag, LONG, len(values), struct.pack(f"<{len(values)}I", *values))


def _ascii(tag: int, text: str) -> _Entry:
    data = text.encode("ascii", "replace") + b"\0"
    return _Entry(tag, ASCII, len(data), data)


def _rational(tag: int, *values: float) -> _Entry:
    data = b""
    for value in values:
        share = Fraction(value).limit_denominator(100_000)
        data += struct.pack("<II", share.numerator, share.denominator)
    return _Entry(tag, RATIONAL, len(values), data)


def _directory(entries: list[_Entry], at: int) -> bytes:
    """A directory that starts at a file offset, its longer values right behind it."""
    behind = at + 2 + 12 * len(entries) + 4
    table, values = struct.pack("<H", len(entries)), b""
    for entry in entries:
        table += struct.pack("<HHI", entry.tag, entry.kind, entry.count)
        if len(entry.data) <= 4:
            table += entry.data + bytes(4 - len(entry.data))
        else:
            table += struct.pack("<I", behind + len(values))
            values += entry.data + bytes(len(entry.data) % 2)
    result = table + struct.pack("<I", 0) + values
    return result + bytes(len(result) % 2)
