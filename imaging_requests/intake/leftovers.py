"""Find places for frames whose clock does not lead to one, by their pictures. Pure.

What the layout in the order of time leaves over (clock missing, never set, or wrong) and the places
that stay empty are one assignment problem: a pair is worth 1, and what the picture says for the
place (−1 to 1) on top. It is allowed only if camera and lens are not known to be others, and the
exposure is the step that the place asks for, about the base of frames that lie on the line. The
best assignment places a frame only if its worth falls by the margin when that pair is forbidden, if
the picture speaks for the place strongly enough, and more strongly than for every other tile that
the frame could show, filled or not. The instant is then that of its neighbours.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime

import numpy as np
from numpy.typing import NDArray

from imaging_requests.imaging.likeness.assignment import assign
from imaging_requests.imaging.likeness.pattern import Grey
from imaging_requests.intake.decisions import Timed
from imaging_requests.intake.layout import AGAINST, Base, Shot, Spot, Tile, fits
from imaging_requests.intake.likes import Pictures, Said
from imaging_requests.intake.limits import PlacingLimits
from imaging_requests.intake.sheets import LineSheet

MOST_AT_ONCE = 400
GUESSES = 4
HOUR_S = 3600.0


@dataclass(frozen=True, slots=True)
class Lying:
    """A frame that lies on a place for certain."""

    spot: Spot
    at: datetime
    pattern: Grey | None
    base: Base | None


@dataclass(frozen=True, slots=True)
class Guess:
    """A place that could be right: what the picture says, and when it would have been taken."""

    spot: Spot
    says: float
    at: datetime | None


@dataclass(frozen=True, slots=True)
class Found:
    """What can be said of one frame; `guesses` best first. `is_sure`: the first may be believed.

    `hours_off`: the clock would be right if it had been this many whole hours slow.
    """

    guesses: tuple[Guess, ...] = ()
    is_sure: bool = False
    hours_off: int = 0


@dataclass(slots=True)
class Ground:
    """The lines with what lies on them and what is open."""

    lines: Sequence[LineSheet]
    lying: Sequence[Lying]
    open_spots: Sequence[Spot]
    pictures: Pictures
    limits: PlacingLimits
    by_line: dict[int, LineSheet] = field(init=False)
    bases: dict[int, Base] = field(init=False)
    siblings: dict[Tile, list[Grey]] = field(init=False)
    order: dict[int, list[Lying]] = field(init=False)

    def __post_init__(self) -> None:
        self.by_line = {line.line_id: line for line in self.lines}
        self.bases, self.siblings, self.order = {}, defaultdict(list), defaultdict(list)
        for line in self.lines:
            if line.layout.base is not None:
                self.bases[line.line_id] = line.layout.base
        for each in self.lying:
            if each.base is not None:
                self.bases.setdefault(each.spot.line_id, each.base)
            if each.pattern is not None:
                self.siblings[tile_of(each.spot)].append(each.pattern)
            self.order[each.spot.line_id].append(each)
        for lying in self.order.values():
            lying.sort(key=lambda each: each.spot)

    def instant_at(self, spot: Spot) -> datetime | None:
        """Return when a place was shot, from frames beside it on the line; None without any."""
        lying = self.order.get(spot.line_id, [])
        before = [each.at for each in lying if each.spot < spot]
        after = [each.at for each in lying if each.spot > spot]
        if before and after:
            return before[-1] + (after[0] - before[-1]) / 2
        return before[-1] if before else after[0] if after else None

    def takes(self, shot: Shot, spot: Spot) -> bool:
        """Tell whether camera and exposure allow a place; a bracket needs a known base."""
        layout, base = self.by_line[spot.line_id].layout, self.bases.get(spot.line_id)
        if base is None and layout.is_bracket:
            return False
        return fits(shot, spot, layout, base, self.limits.tolerance_ev)


def tile_of(spot: Spot) -> Tile:
    """Return the tile of a place."""
    return spot.line_id, spot.tile_y, spot.tile_x


def find(
    frames: Sequence[tuple[Timed, Shot]], said: Mapping[int, Said], ground: Ground
) -> dict[int, Found]:
    """Return what can be said of each frame; `Shot.likes` is not looked at, `said` is."""
    spots = list(ground.open_spots)
    says = _says(frames, said, ground)
    rows = [_Row(timed, shot, says[timed.frame_id]) for timed, shot in frames]
    worth = np.full((len(rows), len(spots)), -np.inf)
    for number, row in enumerate(rows):
        for column, spot in enumerate(spots):
            if row.may_lie(spot, ground):
                worth[number, column] = 1 + row.says.get(tile_of(spot), 0.0)
    chosen: dict[int, tuple[Spot, float]] = {}
    for part_rows, columns in _parts(worth):
        if max(len(part_rows), len(columns)) > MOST_AT_ONCE:
            continue
        for number, each in zip(part_rows, assign(worth[np.ix_(part_rows, columns)]), strict=True):
            if each.column is not None:
                chosen[number] = (spots[columns[each.column]], each.margin)
    return {
        row.timed.frame_id: _found(row, worth[number], spots, chosen.get(number), ground)
        for number, row in enumerate(rows)
    }


@dataclass(frozen=True, slots=True)
class _Row:
    """A frame with what its picture says of every tile."""

    timed: Timed
    shot: Shot
    says: Mapping[Tile, float]

    def may_lie(self, spot: Spot, ground: Ground) -> bool:
        """Tell whether nothing forbids a place."""
        return self.says.get(tile_of(spot), 0.0) > AGAINST and ground.takes(self.shot, spot)


def _says(
    frames: Sequence[tuple[Timed, Shot]], said: Mapping[int, Said], ground: Ground
) -> dict[int, dict[Tile, float]]:
    """Return what the pictures say of every tile: siblings first, else the reference."""
    says = {each.frame_id: dict(said.get(each.frame_id, Said()).by_tile) for each, _ in frames}
    upright = {
        each.frame_id: each.sheet.pattern
        for each, _ in frames
        if each.sheet.pattern is not None and not said.get(each.frame_id, Said()).turn
    }
    for frame_id, by_tile in ground.pictures.siblings(upright, ground.siblings).items():
        says[frame_id] |= by_tile
    return says


def _parts(worth: NDArray[np.float64]) -> Iterator[tuple[list[int], list[int]]]:
    """Split a table into parts that have no possible pair between them."""
    possible = np.isfinite(worth)
    left = set(np.flatnonzero(possible.any(axis=1)).tolist())
    while left:
        rows, columns, new = set[int](), set[int](), {min(left)}
        while new:
            rows |= new
            columns |= set(np.flatnonzero(possible[sorted(new)].any(axis=0)).tolist())
            new = set(np.flatnonzero(possible[:, sorted(columns)].any(axis=1)).tolist()) - rows
        left -= rows
        yield sorted(rows), sorted(columns)


def _found(
    row: _Row,
    worth: NDArray[np.float64],
    spots: Sequence[Spot],
    chosen: tuple[Spot, float] | None,
    ground: Ground,
) -> Found:
    possible = [spots[column] for column in np.argsort(-worth, kind="stable")]
    possible = possible[: int(np.isfinite(worth).sum())]
    if chosen is not None and row.says.get(tile_of(chosen[0]), 0.0) > 0:
        spot, margin = chosen
        hours = _hours_off(row, spot, ground)
        others = [other for other in possible if other != spot]
        guesses = _guesses(row, [spot, *others], ground)
        return Found(guesses, _is_sure(row, spot, margin, ground) and not hours, hours or 0)
    late = sorted(
        (abs(hours), index, hours, spot)
        for index, spot in enumerate(possible)
        if (hours := _hours_off(row, spot, ground))
    )
    if late:
        _, _, hours, spot = late[0]
        others = [other for other in possible if other != spot]
        return Found(_guesses(row, [spot, *others], ground), hours_off=hours)
    return Found(_guesses(row, possible, ground))


def _guesses(row: _Row, spots: Sequence[Spot], ground: Ground) -> tuple[Guess, ...]:
    return tuple(
        Guess(spot, row.says.get(tile_of(spot), 0.0), ground.instant_at(spot))
        for spot in spots[:GUESSES]
    )


def _is_sure(row: _Row, spot: Spot, margin: float, ground: Ground) -> bool:
    needed, tile = ground.limits.picture, tile_of(spot)
    says = row.says.get(tile, 0.0)
    if margin < needed.margin or says < needed.least or ground.instant_at(spot) is None:
        return False
    rivals = {
        other
        for other, other_says in row.says.items()
        if other != tile and other_says > says - needed.lead and other[0] in ground.by_line
    }
    return not any(
        tile_of(place) in rivals and ground.takes(row.shot, place)
        for line_id in {rival[0] for rival in rivals}
        for place in ground.by_line[line_id].expected
    )


def _hours_off(row: _Row, spot: Spot, ground: Ground) -> int | None:
    """Return by how many whole hours the clock would have been slow; None if by no whole hour."""
    at, clock = row.timed.at, ground.limits.clock
    there = ground.instant_at(spot)
    if at is None or there is None:
        return None
    late_s = (there - at).total_seconds()
    hours = round(late_s / HOUR_S)
    if not hours or abs(hours) > clock.most_hours:
        return None
    return hours if abs(late_s - hours * HOUR_S) <= clock.hour_slack_min * 60 else None
