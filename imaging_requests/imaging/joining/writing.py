"""Writing a joined picture as a stream: bands of rows are made, written, forgotten.

A file gets its name only when it is whole: a save that fails leaves nothing, and a name that is
taken is never written over.
"""

from __future__ import annotations

import os
import tempfile
from collections import deque
from collections.abc import Iterator, Mapping, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from imaging_requests.imaging.joining.canvas import Canvas
from imaging_requests.imaging.joining.lanes import Lanes
from imaging_requests.imaging.joining.pieces import Piece, pieces_of_strip, shares_on
from imaging_requests.imaging.joining.resample import LaidReader
from imaging_requests.imaging.joining.row_sources import Pixels
from imaging_requests.imaging.joining.tiled_tiff import TILE_PX, TiledTiff
from imaging_requests.imaging.joining.words import Trouble, Unjoined

BAND_ROWS = TILE_PX
STRIP_ROWS = 64
"""Who shows is decided for strips of so many rows; levels are read for a whole band."""
WAITING_BANDS = 2


@dataclass(frozen=True, slots=True, kw_only=True)
class Shape:
    """Size and levels of a picture."""

    width_px: int
    height_px: int
    channels: int
    bits: int

    @property
    def top_level(self) -> int:
        """Highest level a pixel can have."""
        return (1 << self.bits) - 1


@dataclass(frozen=True, slots=True, kw_only=True)
class Output:
    """A file to write. ``is_inverted``: every level x is written as max − x."""

    target: Path
    note: str
    is_inverted: bool = False


@dataclass(frozen=True, slots=True)
class _Part:
    """Levels of one tile on a band, from canvas column ``left`` on."""

    left: int
    pixels: Pixels


def bands_of(
    canvas: Canvas, readers: Mapping[int, LaidReader], *, shape: Shape, lanes: Lanes
) -> Iterator[Pixels]:
    """Yield the joined picture from top to bottom in bands of 256 rows, (rows, columns, channels).

    ``readers``: by position in ``canvas.laid``. Holes are 0.
    """
    kind = np.uint16 if shape.bits > 8 else np.uint8
    for top in range(0, canvas.height_px, BAND_ROWS):
        bottom = min(top + BAND_ROWS, canvas.height_px)
        strips = {
            (low, min(low + STRIP_ROWS, bottom)): pieces_of_strip(
                canvas, low, min(low + STRIP_ROWS, bottom)
            )
            for low in range(top, bottom, STRIP_ROWS)
        }
        reach = _reach(piece for pieces in strips.values() for piece in pieces)

        def read(number: int, top: int = top, bottom: int = bottom) -> _Part:
            left, right = reach[number]  # noqa: B023 - done before the next band
            return _Part(left, readers[number].part(left, top, right, bottom))

        parts = lanes.each_of(read, {number: number for number in reach})
        band = np.zeros((bottom - top, canvas.width_px, shape.channels), kind)
        for (low, high), pieces in strips.items():
            for piece in pieces:
                _lay(band[low - top : high - top], piece, parts, canvas, low, top)
        yield band


def _reach(pieces: Iterator[Piece]) -> dict[int, tuple[int, int]]:
    """Return which columns of each tile are shown."""
    reach: dict[int, tuple[int, int]] = {}
    for piece in pieces:
        for number in piece.tiles:
            left, right = reach.get(number, (piece.left, piece.right))
            reach[number] = min(left, piece.left), max(right, piece.right)
    return reach


def _lay(
    strip: Pixels,
    piece: Piece,
    parts: Mapping[int, _Part],
    canvas: Canvas,
    low: int,
    band_top: int,
) -> None:
    """Lay one piece of a strip of rows; ``low``: the strip's first row on the canvas."""
    rows = slice(low - band_top, low - band_top + len(strip))
    seen = [
        parts[n].pixels[rows, piece.left - parts[n].left : piece.right - parts[n].left]
        for n in piece.tiles
    ]
    target = strip[:, piece.left : piece.right]
    if not seen:
        return
    if piece.is_whole:
        target[:] = seen[0]
        return
    columns, lines = np.arange(piece.left, piece.right), np.arange(low, low + len(strip))
    shares = shares_on(canvas, piece.tiles, columns, lines)
    mixed = np.zeros(target.shape, np.float32)
    for share, part in zip(shares, seen, strict=True):
        mixed += share[..., None] * part
    # shares sum to 1, so a mixture of levels is a level; half a level decides the rounding
    target[:] = np.rint(mixed)


def save_new(
    bands: Iterator[Pixels],
    outputs: Sequence[Output],
    *,
    shape: Shape,
    profile: bytes | None,
    px_per_mm: float | None,
    is_synced: bool,
) -> Unjoined | None:
    """Write a picture as tiled TIFFs under names that must be free; None if all are there whole.

    The bands are made once for all files, while the last ones are being written.
    """
    for output in outputs:
        if output.target.exists():
            return _taken(output.target)
        if not output.target.parent.is_dir():
            return Unjoined(
                Trouble.SAVE,
                f"{output.target.parent} is no folder, so nothing was written. Make the folder or "
                "choose another and join again.",
            )
    with ExitStack() as stack:
        try:
            files = []
            for output in outputs:
                scratch = stack.enter_context(_scratch_beside(output.target))
                file = TiledTiff(
                    scratch,
                    width=shape.width_px,
                    height=shape.height_px,
                    channels=shape.channels,
                    bits=shape.bits,
                    note=output.note,
                    profile=profile,
                    px_per_mm=px_per_mm,
                )
                stack.callback(file.drop)
                files.append((output, scratch, file))
            _write(bands, [(output, file) for output, _, file in files], shape)
            for _, _, file in files:
                file.close(is_synced=is_synced)
            return _name([(output, scratch) for output, scratch, _ in files])
        except OSError as error:
            return Unjoined(
                Trouble.SAVE,
                f"{outputs[0].target.name} could not be written; nothing was left behind and the "
                "tiles are untouched. The disk is probably full or the folder may not be changed. "
                "Make room or mend its rights, then join again.",
                detail=str(error)[:2000],
            )


def _write(
    bands: Iterator[Pixels], files: Sequence[tuple[Output, TiledTiff]], shape: Shape
) -> None:
    def put(band: Pixels) -> None:
        for output, file in files:
            file.add(shape.top_level - band if output.is_inverted else band)

    waiting: deque[Future[None]] = deque()
    with ThreadPoolExecutor(1) as writer:
        for band in bands:
            waiting.append(writer.submit(put, band))
            if len(waiting) > WAITING_BANDS:
                waiting.popleft().result()
        while waiting:
            waiting.popleft().result()


def _name(written: Sequence[tuple[Output, Path]]) -> Unjoined | None:
    """Give whole files their names; if one is taken meanwhile, none keeps its own."""
    named: list[Path] = []
    for output, scratch in written:
        try:
            os.link(scratch, output.target)
        except FileExistsError:
            for path in named:
                path.unlink()
            return _taken(output.target)
        named.append(output.target)
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
