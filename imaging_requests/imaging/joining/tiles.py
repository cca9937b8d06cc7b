"""Tiles on the disk: opened, refused with a reason, reduced, and read in bands of rows."""

from __future__ import annotations

import tempfile
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
import pyvips

from imaging_requests.imaging.files.decode import explain, open_pixels
from imaging_requests.imaging.files.facts import Structure
from imaging_requests.imaging.files.limits import (
    Limits,
    refuse_by_header,
    refuse_extra_channels,
)
from imaging_requests.imaging.files.packed import demand_whole_parts
from imaging_requests.imaging.files.refusals import Unreadable
from imaging_requests.imaging.files.structure import read_structure
from imaging_requests.imaging.joining.row_sources import (
    Pixels,
    RowSource,
    decoded_rows,
    plain_rows,
)
from imaging_requests.imaging.joining.words import Grey, Trouble, Unjoined

LEAST_SIDE_PX = 64
"""Below this no overlap can be told from chance."""
BAND_ROWS = 256
TOP_LEVEL = {8: 255, 16: 65_535}


@dataclass(frozen=True, slots=True)
class Tile:
    """A tile that can be joined: 1 or 3 channels of 8 or 16 bits; ``number`` counts from 1.

    ``scratch``: a folder for what some formats have to be unfolded to.
    """

    number: int
    path: Path
    structure: Structure
    bands: int
    scratch: Path

    @property
    def width_px(self) -> int:
        """Width of the stored picture."""
        return self.structure.width_px

    @property
    def height_px(self) -> int:
        """Height of the stored picture."""
        return self.structure.height_px

    @property
    def top_level(self) -> int:
        """Highest level a pixel can have."""
        return TOP_LEVEL[self.depth_bits]

    @property
    def depth_bits(self) -> int:
        """Bits of the decoded levels: whatever lies between 8 and 16 is spread over 16."""
        return 8 if self.structure.bits_per_sample == 8 else 16

    def open(self) -> pyvips.Image:
        """Open the colour channels for one pass from top to bottom."""
        folder = Path(tempfile.mkdtemp(dir=self.scratch))
        image = open_pixels(self.path, self.structure, folder)
        return image.extract_band(0, n=self.bands) if image.bands > self.bands else image

    def rows(self) -> RowSource:
        """Give the rows of the colour channels from top to bottom, in one thread."""
        plain = plain_rows(self.path, self.structure, bands=self.bands)
        return decoded_rows(self.open()) if plain is None else plain


def open_tiles(
    paths: Sequence[Path], *, limits: Limits, scratch: Path
) -> tuple[Tile, ...] | Unjoined:
    """Read the headers of all tiles and refuse what cannot be joined, by the first reason found.

    All tiles must share channels and depth: a mixture cannot be evened without inventing levels.
    """
    tiles: list[Tile] = []
    for number, path in enumerate(paths, 1):
        tile = _open(number, path, limits, scratch)
        if isinstance(tile, Unjoined):
            return tile
        tiles.append(tile)
    for tile in tiles[1:]:
        first = tiles[0]
        ours = (tile.bands, tile.depth_bits)
        if ours != (first.bands, first.depth_bits):
            return Unjoined(
                Trouble.MIXED,
                f"Tile {tile.number} ({tile.path.name}) has {ours[0]} "
                f"channel{'s' if ours[0] > 1 else ''} of {ours[1]} bits, tile 1 has {first.bands} "
                f"of {first.depth_bits}. Export all tiles alike and join again.",
                tile.number,
            )
    return tuple(tiles)


def _open(number: int, path: Path, limits: Limits, scratch: Path) -> Tile | Unjoined:
    structure = read_structure(path)
    refusal = (
        structure if isinstance(structure, Unreadable) else refuse_by_header(structure, limits)
    )
    if isinstance(structure, Unreadable) or refusal is not None:
        said = refusal.sentence if refusal is not None else ""
        return Unjoined(
            Trouble.UNREADABLE, f"Tile {number} ({path.name}) cannot be read. {said}", number
        )
    if structure.bits_per_sample < min(TOP_LEVEL):
        return Unjoined(
            Trouble.DEPTH,
            f"Tile {number} ({path.name}) has {structure.bits_per_sample} bit per channel: too few "
            "levels to compare. Export it with 16 bits and join again.",
            number,
        )
    extra = refuse_extra_channels(structure)
    if extra is not None:
        return Unjoined(
            Trouble.CHANNELS,
            f"Tile {number} ({path.name}) cannot be joined. {extra.sentence}",
            number,
        )
    bands = structure.bands - structure.extra_bands
    if bands not in (1, 3) or structure.colour not in ("grey", "rgb", "ycbcr"):
        return Unjoined(
            Trouble.CHANNELS,
            f"Tile {number} ({path.name}) has {structure.bands} channels ({structure.colour}); "
            "grey and RGB tiles are joined. Export it as one of these.",
            number,
        )
    if min(structure.width_px, structure.height_px) < LEAST_SIDE_PX:
        return Unjoined(
            Trouble.TOO_SMALL,
            f"Tile {number} ({path.name}) is {structure.width_px} × {structure.height_px} px; "
            f"below {LEAST_SIDE_PX} px a side no overlap can be told from chance. "
            "Check that it is the full picture and not a preview.",
            number,
        )
    tile = Tile(number, path, structure, bands, scratch)
    try:
        demand_whole_parts(path, structure)
    except pyvips.Error as error:
        return damaged(tile, error)
    return tile


def reduction_of(tiles: Sequence[Tile], *, side_px: int) -> int:
    """Return by what whole number all tiles are reduced so that the shorter sides are near side_px.

    The smallest tile decides, so that a small plate among large ones keeps its detail.
    """
    shorter = min(min(tile.width_px, tile.height_px) for tile in tiles)
    return max(1, round(shorter / side_px))


def reduce_tile(tile: Tile, factor: int) -> Grey | Unjoined:
    """Return the grey tile averaged over squares of ``factor`` px; levels from 0 to 1.

    The centre of the reduced pixel (u, v) is x = factor·u + (factor − 1)/2, y likewise.
    """
    width, height = tile.width_px // factor, tile.height_px // factor
    reduced = np.empty((height, width), np.float32)
    step = max(1, BAND_ROWS // factor)
    try:
        source = tile.rows()
        for top in range(0, height, step):
            count = min(step, height - top)
            rows = source.fetch(top * factor, count * factor)[:, : width * factor]
            if rows.dtype == np.uint8:
                rows = rows.astype(np.float32)
            small = cv2.resize(rows, (width, count), interpolation=cv2.INTER_AREA)
            reduced[top : top + count] = small if small.ndim == 2 else small.mean(axis=2)
        if rest := tile.height_px - height * factor:
            # no reduced row is made of these, but the file is read to its end here or nowhere
            source.fetch(height * factor, rest)
    except pyvips.Error as error:
        return damaged(tile, error)
    reduced /= np.float32(tile.top_level)
    return reduced


def damaged(tile: Tile, error: pyvips.Error) -> Unjoined:
    """Return the refusal for a tile whose pixels break off."""
    refusal = explain(error)
    return Unjoined(
        Trouble.UNREADABLE,
        f"Tile {tile.number} ({tile.path.name}) cannot be read to its end. {refusal.sentence}",
        tile.number,
        refusal.detail,
    )


class RowReader:
    """Gives rows of a picture in ever later windows and keeps only what the window needs."""

    def __init__(self, source: RowSource) -> None:
        self._source = source
        self._start = 0
        self._rows: Pixels | None = None

    def window(self, top: int, bottom: int) -> Pixels:
        """Return rows ``top`` to ``bottom`` (not included); shape (rows, width, bands).

        Both may only grow from call to call. Raises ``pyvips.Error`` at a damaged place.
        """
        if top < self._start:
            raise ValueError("rows are only given once, from top to bottom")
        held = self._start + (0 if self._rows is None else len(self._rows))
        parts = []
        if self._rows is not None and top < held:
            parts.append(self._rows[top - self._start :])
        at, last = held, min(bottom, self._source.height_px)
        while at < last:
            count = min(BAND_ROWS, self._source.height_px - at)
            rows = self._source.fetch(at, count)
            if at + count > top:
                parts.append(rows[max(0, top - at) :])
            at += count
        self._start = top
        self._rows = np.concatenate(parts) if len(parts) > 1 else parts[0]
        return self._rows[: bottom - top]


def walk_rows(tile: Tile, *, until: int) -> Iterator[tuple[int, Grey]]:
    """Yield the first row's number and bands of rows in grey down to row ``until``."""
    source = tile.rows()
    for top in range(0, min(until + 1, source.height_px), BAND_ROWS):
        rows = source.fetch(top, min(BAND_ROWS, source.height_px - top))
        yield top, rows[..., 0] if rows.shape[2] == 1 else rows.mean(axis=2, dtype=np.float32)
