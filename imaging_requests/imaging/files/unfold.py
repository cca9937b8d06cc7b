"""Bring pixels that libvips cannot read by itself to it: plates, previews, JPEG 2000, 12 bits.

Plates and 12-bit strips are streamed; a preview is small; a JPEG 2000 picture is in memory as a
whole, and the bound of the guarded process says how large it may be. Runs in the guarded process.
"""

import mmap
import zlib
from collections.abc import Callable, Iterator
from pathlib import Path

import cv2
import numpy as np
import pyvips
from numpy.typing import NDArray

from imaging_requests.imaging.files.byte_source import open_source
from imaging_requests.imaging.files.facts import Structure
from imaging_requests.imaging.files.ifd import open_tables
from imaging_requests.imaging.files.jp2_structure import embedded_profile
from imaging_requests.imaging.files.tiff_structure import (
    ROWS_PER_STRIP,
    STRIP_BYTES,
    STRIP_OFFSETS,
)

FAIL_ON = "error"
ICC_NAME = "icc-profile-data"
PREDICTOR = 317
DEFLATE = "deflate"
TWELVE, SIXTEEN = 12, 16
GREY = {"uchar": "b-w", "ushort": "grey16"}
COLOUR = {"uchar": "srgb", "ushort": "rgb16"}


def reader_for(
    structure: Structure,
) -> Callable[[Path, Structure, Path | None], pyvips.Image] | None:
    """Return who unfolds a picture, or None if libvips reads it by itself."""
    if structure.preview is not None:
        return _preview
    if structure.bits_per_sample == TWELVE and structure.format in ("tiff", "bigtiff"):
        return _twelve_bits
    return {"dicom": _plate, "jp2": _jp2}.get(structure.format)


def _plate(path: Path, structure: Structure, scratch: Path | None) -> pyvips.Image:
    """Stream a plate so that low levels are dark, whatever its polarity and sign.

    With all bits of the level set, ``level ^ top`` is ``top - level``; flipping the sign bit turns
    a signed level into the same order without a sign.
    """
    plate = structure.radiograph
    if plate is None:
        raise pyvips.Error("a plate without its description is not supported")
    kind = "uchar" if structure.bits_per_sample == 8 else "ushort"
    image = pyvips.Image.rawload(
        str(path),
        structure.width_px,
        structure.height_px,
        1,
        offset=plate.pixels_at,
        format=kind,
        access="sequential",
    )
    if structure.byte_order == "big" and kind == "ushort":
        image = image.byteswap()
    top = (1 << plate.stored_bits) - 1
    spare = plate.high_bit + 1 - plate.stored_bits
    if spare:
        image = image >> spare
    image = image & top
    flipped = 0
    if structure.sample_format == "signed":
        flipped ^= 1 << (plate.stored_bits - 1)
    if plate.is_low_light:
        flipped ^= top
    if flipped:
        image = image ^ flipped
    return image.cast(kind).copy(interpretation=GREY[kind])


def _preview(path: Path, structure: Structure, scratch: Path | None) -> pyvips.Image:
    """Decode the JPEG inside a raw camera file."""
    if structure.preview is None:
        raise pyvips.Error("a raw file without a preview is not supported")
    with open_source(path) as source:
        data = source.read(structure.preview.offset, structure.preview.length, "the preview")
    return pyvips.Image.jpegload_buffer(data, access="sequential", fail_on=FAIL_ON)


def _jp2(path: Path, structure: Structure, scratch: Path | None) -> pyvips.Image:
    """Decode a JPEG 2000 picture; levels of 9 to 15 bits are spread over 16."""
    with open_source(path) as source:
        profile = embedded_profile(source)
    with (
        open(path, "rb") as file,
        mmap.mmap(file.fileno(), 0, access=mmap.ACCESS_READ) as packed,
    ):
        try:
            pixels = cv2.imdecode(np.frombuffer(packed, np.uint8), cv2.IMREAD_UNCHANGED)
        except cv2.error as error:
            raise pyvips.Error(f"the JPEG 2000 decoder gave up: {error}") from error
    expected = (structure.height_px, structure.width_px)
    if pixels is None or pixels.shape[:2] != expected:
        raise pyvips.Error("the JPEG 2000 decoder could not decode the picture")
    bands = 1 if pixels.ndim == 2 else pixels.shape[2]
    if bands != structure.bands or pixels.dtype not in (np.uint8, np.uint16):
        raise pyvips.Error("JPEG 2000 with channels of this kind is not supported")
    if bands == 3:
        cv2.cvtColor(pixels, cv2.COLOR_BGR2RGB, dst=pixels)
    elif bands == 4:
        cv2.cvtColor(pixels, cv2.COLOR_BGRA2RGBA, dst=pixels)
    if pixels.dtype == np.uint16 and structure.bits_per_sample < SIXTEEN:
        pixels = np.left_shift(pixels, SIXTEEN - structure.bits_per_sample)
    image = pyvips.Image.new_from_array(pixels)
    kinds = GREY if bands < 3 else COLOUR
    image = image.copy(interpretation=kinds[image.format])
    if profile:
        image.set_type(pyvips.GValue.blob_type, ICC_NAME, profile)
    return image


def _twelve_bits(path: Path, structure: Structure, scratch: Path | None) -> pyvips.Image:
    """Unpack strips of 12-bit levels to 16 bits in a scratch file, strip by strip.

    Two levels share three bytes, the first bits first. A level is spread over 16 bits by repeating
    its highest bits, so that black stays 0 and white becomes 65,535.
    """
    if scratch is None:
        raise pyvips.Error("12-bit levels without a folder to unpack them are not supported")
    flat = scratch / "levels.raw"
    values = structure.width_px * structure.bands
    with open(flat, "wb") as levels:
        for packed, rows in _strips(path, structure):
            raw = np.frombuffer(packed, np.uint8)
            row_bytes = -(-values * TWELVE // 8)
            if raw.size < rows * row_bytes:
                raise pyvips.Error("a strip holds fewer levels than its rows need")
            lines = raw[: rows * row_bytes].reshape(rows, row_bytes)
            levels.write(_unpack(lines, values).tobytes())
    bands = structure.bands
    image = pyvips.Image.rawload(
        str(flat), structure.width_px, structure.height_px, bands, format="ushort",
        access="sequential",
    )  # fmt: skip
    return image.copy(interpretation="grey16" if bands < 3 else "rgb16")


def _unpack(lines: NDArray[np.uint8], values: int) -> NDArray[np.uint16]:
    """Return the 12-bit levels of packed rows, spread over 16 bits; shape (rows, values)."""
    spare = -lines.shape[1] % 3
    triples = np.pad(lines, ((0, 0), (0, spare))).reshape(len(lines), -1, 3).astype(np.uint16)
    first = (triples[..., 0] << 4) | (triples[..., 1] >> 4)
    second = ((triples[..., 1] & 15) << 8) | triples[..., 2]
    levels = np.stack([first, second], axis=-1).reshape(len(lines), -1)[:, :values]
    return ((levels << 4) | (levels >> 8)).astype(np.uint16)


def _strips(path: Path, structure: Structure) -> Iterator[tuple[bytes, int]]:
    """Yield the strips of a TIFF without compression or with deflate, each with its rows."""
    with open_source(path) as source:
        reader, offset = open_tables(source)
        table = reader.table(offset, "the table that describes the picture")
        if table.whole(PREDICTOR, 1) != 1:
            raise pyvips.Error("a predictor with 12-bit levels is not supported")
        height = structure.height_px
        per_strip = min(table.whole(ROWS_PER_STRIP, height), height)
        row_bytes = -(-structure.width_px * structure.bands * TWELVE // 8)
        pairs = zip(table.wholes(STRIP_OFFSETS), table.wholes(STRIP_BYTES), strict=False)
        for number, (at, length) in enumerate(pairs):
            rows = min(per_strip, height - number * per_strip)
            if rows <= 0:
                return
            packed = source.read(at, length, f"strip {number + 1}")
            if structure.compression == DEFLATE:
                try:
                    packed = _inflated(packed, rows * row_bytes)
                except zlib.error as error:
                    raise pyvips.Error(f"strip {number + 1}: {error}") from error
            yield packed, rows


def _inflated(packed: bytes, size: int) -> bytes:
    """Return the first ``size`` bytes of a packed strip once its end and check sum were read.

    The sum stands behind the last level. Who stops when there are levels enough never sees it.
    """
    stream = zlib.decompressobj()
    data = stream.decompress(packed, size)
    if not stream.eof:
        stream.decompress(stream.unconsumed_tail, size)
    if not stream.eof:
        raise zlib.error("the packed levels do not come to their end")
    return data
