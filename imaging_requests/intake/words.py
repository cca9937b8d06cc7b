"""Lines, places and gaps in words for people. Pure."""

from __future__ import annotations

import re
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from itertools import groupby

from imaging_requests.intake.layout import Spot

DIRECTIONS = {"L": "from the left", "R": "from the right", "T": "from the top", "B": "from below"}
NAMED_AT_MOST = 3
NUMBERS = re.compile(r"(\d+)")


@dataclass(frozen=True, slots=True)
class Grid:
    """What a shot line asks for: tiles across and down, exposures in EV, focus slices."""

    across: int
    down: int
    exposures_ev: tuple[float, ...]
    slices: int

    @property
    def tiles(self) -> int:
        """Number of tiles."""
        return self.across * self.down


def ev_words(ev: float) -> str:
    """Return an exposure offset as people write it.

    >>> ev_words(1.0), ev_words(0), ev_words(-2 / 3)
    ('+1', '0', '−0.67')
    """
    text = f"{abs(ev):.2f}".rstrip("0").rstrip(".")
    if text == "0":
        return "0"
    return f"{'+' if ev > 0 else '−'}{text}"


def listed(parts: Sequence[str], last: str = "and") -> str:
    """Join words: "a", "a and b", "a, b and c"."""
    if len(parts) < 2:
        return "".join(parts)
    return f"{', '.join(parts[:-1])} {last} {parts[-1]}"


def line_words(*, number: str, technique: str, face: str, variant: str) -> str:
    """Name a shot line: object, face, technique, and what varies.

    >>> line_words(number="AR 0070", technique="Raking light", face="Front", variant="L")
    'AR 0070 front, raking light from the left'
    """
    is_plain_word = technique[1:2].islower()
    named = technique[:1].lower() + technique[1:] if is_plain_word else technique
    how = f" {DIRECTIONS.get(variant, variant)}" if variant else ""
    return f"{number} {face.lower()}, {named.replace(', ', ' ')}{how}"


def spot_words(spot: Spot, grid: Grid) -> str:
    """Name a place by what tells it from the others of its line.

    >>> spot_words(Spot(1, 0, 1, 0, 1.0), Grid(2, 1, (-1.0, 0.0, 1.0), 1))
    'tile 2 of 2, exposure +1'
    """
    parts = []
    if grid.tiles > 1:
        parts.append(f"tile {spot.tile_y * grid.across + spot.tile_x + 1} of {grid.tiles}")
    if grid.slices > 1:
        parts.append(f"focus slice {spot.focus_slice + 1} of {grid.slices}")
    if len(grid.exposures_ev) > 1:
        parts.append(f"exposure {ev_words(spot.ev)}")
    return ", ".join(parts) or "the one frame"


def gap_words(expected: Sequence[Spot], filled: Collection[Spot], grid: Grid) -> list[str]:
    """Say what is missing of a line, tile by tile.

    >>> bracket = [Spot(1, 0, 0, 0, ev) for ev in (-1.0, 0.0, 1.0)]
    >>> gap_words(bracket, bracket[:2], Grid(1, 1, (-1.0, 0.0, 1.0), 1))
    ['exposure +1 is missing; have −1 and 0']
    """
    empty: list[Spot] = []
    broken: list[str] = []
    for _, together in groupby(expected, key=lambda s: (s.tile_y, s.tile_x, s.focus_slice)):
        spots = list(together)
        present = [spot for spot in spots if spot in filled]
        missing = [spot for spot in spots if spot not in filled]
        if not present:
            empty.append(spots[0])
        elif missing:
            broken.append(_bracket_words(missing, present, grid))
    return [*_empty_words(empty, grid, has_any=bool(filled)), *broken]


def _bracket_words(missing: Sequence[Spot], present: Sequence[Spot], grid: Grid) -> str:
    gone = [ev_words(spot.ev) for spot in missing]
    here = listed([ev_words(spot.ev) for spot in present])
    what = f"exposure {gone[0]} is" if len(gone) == 1 else f"exposures {listed(gone)} are"
    name = _tile_words(missing[0], grid)
    return f"{f'{name}: ' if name else ''}{what} missing; have {here}"


def _tile_words(spot: Spot, grid: Grid) -> str:
    plain = Grid(grid.across, grid.down, (), grid.slices)
    return spot_words(spot, plain) if grid.tiles > 1 or grid.slices > 1 else ""


def _empty_words(spots: Sequence[Spot], grid: Grid, *, has_any: bool) -> list[str]:
    if not spots:
        return []
    if not has_any:
        return ["nothing has come yet"]
    if len(spots) == 1:
        return [f"{_tile_words(spots[0], grid)} is missing"]
    if grid.slices > 1:
        return [f"{len(spots)} focus slices are missing, from {_tile_words(spots[0], grid)} on"]
    numbers = [str(spot.tile_y * grid.across + spot.tile_x + 1) for spot in spots]
    if len(numbers) > NAMED_AT_MOST:
        return [f"{len(numbers)} of {grid.tiles} tiles are missing, from tile {numbers[0]} on"]
    return [f"tiles {listed(numbers)} of {grid.tiles} are missing"]


def name_order(name: str) -> tuple[tuple[int, int, str], ...]:
    """Return what to sort file names by, so that numbers in them count as numbers.

    >>> sorted(["IMG_10.tif", "img_9.tif", "IMG_2.tif"], key=name_order)
    ['IMG_2.tif', 'img_9.tif', 'IMG_10.tif']
    """
    parts = [part for part in NUMBERS.split(name.casefold()) if part]
    return tuple((0, int(each), "") if each.isdecimal() else (1, 0, each) for each in parts)
