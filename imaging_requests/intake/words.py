"""Lines, places and gaps in words for people. Pure."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from itertools import groupby

from imaging_requests.intake.layout import Spot

DIRECTIONS = {"L": "from the left", "R": "from the right", "T": "from the top", "B": "from below"}
ALL_OF = 3


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
    empty: list[str] = []
    broken: list[str] = []
    for _, together in groupby(expected, key=lambda s: (s.tile_y, s.tile_x, s.focus_slice)):
        spots = list(together)
        missing = [spot for spot in spots if spot not in filled]
        name = spot_words(spots[0], Grid(grid.across, grid.down, (), grid.slices))
        if len(missing) == len(spots):
            empty.append(name)
        elif missing:
            broken.append(_bracket_words(name, missing, [s for s in spots if s in filled]))
    return [*_empty_words(empty, has_any=bool(filled)), *broken]


def _bracket_words(name: str, missing: Iterable[Spot], present: Iterable[Spot]) -> str:
    gone = [ev_words(spot.ev) for spot in missing]
    here = listed([ev_words(spot.ev) for spot in present])
    what = f"exposure {gone[0]} is" if len(gone) == 1 else f"exposures {listed(gone)} are"
    where = "" if name == "the one frame" else f"{name}: "
    return f"{where}{what} missing; have {here}"


def _empty_words(names: Sequence[str], *, has_any: bool) -> list[str]:
    if not names:
        return []
    if not has_any:
        return ["nothing has come yet"]
    if len(names) > ALL_OF:
        return [f"{len(names)} tiles are missing: {listed(names[:ALL_OF])} and further ones"]
    return [f"{listed(names)} {'is' if len(names) == 1 else 'are'} missing"]
