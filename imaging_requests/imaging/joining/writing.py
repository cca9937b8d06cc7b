"""Writing a joined picture as a stream: bands of rows are made, handed to the encoder, forgotten.

The file gets its name only when it is whole: a save that fails leaves nothing, and a name that is
taken is never written over.
"""

from __future__ import annotations

import os
import tempfile
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path

import numpy as np
import pyvips

from imaging_requests.imaging.joining.canvas import Canvas, pieces_of_band, weights_at
from imaging_requests.imaging.joining.resample import LaidReader
from imaging_requests.imaging.joining.tiles import Pixels
from imaging_requests.imaging.joining.words import Trouble, Unjoined

BAND_ROWS = 256
TILE_PX = 256
CLASSIC_TIFF_BYTES = 3_900_000_000
ICC_NAME = "icc-profile-data"


def bands_of(
    canvas: Canvas,
    readers: Mapping[int, LaidReader],
    *,
    channels: int,
    top_level: int,
    gains: Mapping[int, float],
    offsets: Mapping[int, float],
) -> Iterator[Pixels]:
    """Yield the joined picture from top to bottom in bands of 256 rows, (rows, columns, channels).

    ``gains``, ``offsets``: by tile index, offsets as shares of the range. Holes are 0.
    """
    kind = np.uint16 if top_level > 255 else np.uint8
    for top in range(0, canvas.height_px, BAND_ROWS):
        bottom = min(top + BAND_ROWS, canvas.height_px)
        band = np.zeros((bottom - top, canvas.width_px, channels), kind)
        fresh: set[int] = set()
        for piece in pieces_of_band(canvas, top, bottom):
            if not piece.tiles:
                continue
            parts = []
            for number in piece.tiles:
                laid = canvas.laid[number]
                reader = readers[laid.index]
                if number not in fresh:
                    reader.advance(max(top, laid.area.top), min(bottom, laid.area.bottom + 1))
                    fresh.add(number)
                seen = reader.part(piece.left, top, piece.right, bottom)
                parts.append(_levelled(seen, gains[laid.index], offsets[laid.index] * top_level))
            target = band[:, piece.left : piece.right]
            if piece.is_whole:
                target[:] = _stored(parts[0], top_level, kind)
                continue
            x, y = np.meshgrid(np.arange(piece.left, piece.right), np.arange(top, bottom))
            shares = weights_at(canvas, piece.tiles, x, y).astype(np.float32)
            mixed = sum(share[..., None] * part for share, part in zip(shares, parts, strict=True))
            target[:] = _stored(np.asarray(mixed), top_level, kind)
        yield band


def _levelled(part: Pixels, gain: float, offset: float) -> Pixels:
    if gain == 1 and offset == 0:
        return part
    levelled: Pixels = part * np.float32(gain) + np.float32(offset)
    return levelled


def _stored(part: Pixels, top_level: int, kind: type) -> Pixels:
    if part.dtype == kind:
        return part
    stored: Pixels = np.clip(np.rint(part), 0, top_level).astype(kind)
    return stored


def save_new(
    make: Callable[[], pyvips.Image],
    target: Path,
    *,
    profile: bytes | None,
    note: str,
    px_per_mm: float | None,
) -> Unjoined | None:
    """Write a picture as a tiled TIFF under a name that must be free; None if it is there whole."""
    if target.exists():
        return _taken(target)
    if not target.parent.is_dir():
        return Unjoined(
            Trouble.SAVE,
            f"{target.parent} is no folder, so nothing was written. Make the folder or choose "
            "another and join again.",
        )
    with _scratch_beside(target) as scratch:
        try:
            image = make()
            if image.bands == 1:
                kind = "grey16" if image.format == "ushort" else "b-w"
            else:
                kind = "rgb16" if image.format == "ushort" else "srgb"
            image = image.copy(interpretation=kind)
            if profile is not None:
                image.set_type(pyvips.GValue.blob_type, ICC_NAME, profile)
            image.set_type(pyvips.GValue.gstr_type, "image-description", note)
            size = image.width * image.height * image.bands * (2 if image.format == "ushort" else 1)
            rate = {"xres": px_per_mm, "yres": px_per_mm} if px_per_mm else {}
            image.tiffsave(
                str(scratch),
                tile=True,
                tile_width=TILE_PX,
                tile_height=TILE_PX,
                bigtiff=size > CLASSIC_TIFF_BYTES,
                **rate,
            )
            with scratch.open("rb") as written:
                os.fsync(written.fileno())
            os.link(scratch, target)
        except FileExistsError:
            return _taken(target)
        except (pyvips.Error, OSError) as error:
            return Unjoined(
                Trouble.SAVE,
                f"{target.name} could not be written; nothing was left behind and the tiles are "
                "untouched. The disk is probably full or the folder may not be changed. Make room "
                "or mend its rights, then join again.",
                detail=str(error)[:2000],
            )
    return None


def _taken(target: Path) -> Unjoined:
    return Unjoined(
        Trouble.EXISTS,
        f"{target.name} exists already and is never written over. Choose another name.",
    )


@contextmanager
def _scratch_beside(target: Path) -> Iterator[Path]:
    handle, name = tempfile.mkstemp(
        dir=target.parent, prefix=f".{target.stem}-", suffix=".part.tif"
    )
    os.close(handle)
    try:
        yield Path(name)
    finally:
        Path(name).unlink(missing_ok=True)
