"""Tiles on the disk: opened, refused with a reason, reduced, and read in bands of rows."""

from __future__ import annotations

import tempfile
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pyvips
from numpy.typing import NDArray

from imaging_requests.imaging.files.decode import explain, open_pixels
from imaging_requests.imaging.files.facts import Structure
from imaging_requests.imaging.files.limits import Limits, refuse_by_header
from imaging_requests.imaging.files.refusals import Unreadable
from imaging_requests.imaging.files.structure import read_structure
from imaging_requests.imaging.joining.words import Grey, Trouble, Unjoined

LEAST_SIDE_PX = 64
"""Below this no overlap can be told from chance."""
BAND_ROWS = 256
TOP_LEVEL = {8: 255, 16: 65_535}
Pixels = NDArray[Any]
"""uint8 or uint16, (rows, columns, channels)."""


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
    return Tile(number, path, structure, bands, scratch)


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
    width = tile.width_px // factor * factor
    height = tile.height_px // factor * factor
    try:
        image = tile.open()
        grey = image.bandmean() if tile.bands > 1 else image
        grey = grey.crop(0, 0, width, height)
        if factor > 1:
            grey = (grey.cast("float") if tile.top_level < 65_535 else grey).shrink(factor, factor)
        found = grey.numpy().astype(np.float32) / np.float32(tile.top_level)
    except pyvips.Error as error:
        return damaged(tile, error)
    reduced: Grey = found.reshape(found.shape[:2])
    return reduced


def damaged(tile: Tile, error: pyvips.Error) -> Unjoined:
    """Return the refusal for a tile whose pixels break off."""
    refusal = explain(error)
    return Unjoined(
        Trouble.UNREADABLE,
        f"Tile {tile.number} ({tile.path.name}) cannot be read. {refusal.sentence}",
        tile.number,
        refusal.detail,
    )


class RowReader:
    """Gives rows of a picture in ever later windows and keeps only what the window needs."""

    def __init__(self, image: pyvips.Image) -> None:
        self._region = pyvips.Region.new(image)
        self._image = image
        self._type = np.uint16 if image.format == "ushort" else np.uint8
        self._start = 0
        self._rows: Pixels = np.zeros((0, image.width, image.bands), self._type)

    def window(self, top: int, bottom: int) -> Pixels:
        """Return rows ``top`` to ``bottom`` (not included); shape (rows, width, bands).

        Both may only grow from call to call. Raises ``pyvips.Error`` at a damaged place.
        """
        if top < self._start:
            raise ValueError("rows are only given once, from top to bottom")
        held = self._start + len(self._rows)
        parts = [self._rows[min(top - self._start, len(self._rows)) :]]
        at = held
        while at < min(bottom, self._image.height):
            count = min(BAND_ROWS, self._image.height - at)
            data = self._region.fetch(0, at, self._image.width, count)
            shape = (count, self._image.width, self._image.bands)
            if at + count > top:
                rows = np.frombuffer(data, self._type).reshape(shape)
                parts.append(rows[max(0, top - at) :])
            at += count
        self._start = max(top, self._start)
        self._rows = np.concatenate(parts) if len(parts) > 1 else parts[0]
        return self._rows[: bottom - self._start]


def walk_rows(tile: Tile, *, until: int) -> Iterator[tuple[int, Grey]]:
    """Yield the first row's number and bands of rows in grey down to row ``until``."""
    image = tile.open()
    region = pyvips.Region.new(image)
    kind = np.uint16 if image.format == "ushort" else np.uint8
    for top in range(0, min(until + 1, image.height), BAND_ROWS):
        count = min(BAND_ROWS, image.height - top)
        data = np.frombuffer(region.fetch(0, top, image.width, count), kind)
        rows = data.reshape(count, image.width, image.bands)
        yield top, rows[..., 0] if image.bands == 1 else rows.mean(axis=2, dtype=np.float32)
