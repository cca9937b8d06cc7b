"""The order of tiles on their grid, found from what their sides show.

A planned order is believed where neighbours meet; tiles that fit nowhere near are tried on every
open place and lying in all eight ways. Without a plan the picture grows from the surest link, as a
person lays a puzzle. Every place is a statement with its evidence and its strongest rival; a place
without clear evidence is left open, not guessed.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from imaging_requests.imaging.joining.lanes import Lanes
from imaging_requests.imaging.joining.pair_score import PairScorer
from imaging_requests.imaging.joining.settings import JoinSettings
from imaging_requests.imaging.joining.structure_map import Shown
from imaging_requests.imaging.joining.words import (
    ALL_TURNS,
    UPRIGHT,
    Link,
    Place,
    Side,
    Turn,
)

STEPS = {Side.RIGHT: (1, 0), Side.BELOW: (0, 1)}
SIZE_TOLERANCE = 0.1
"""A turned tile must have the place's shape within this share."""


@dataclass(frozen=True, slots=True)
class Lying:
    """Which tile lies on a place, and how."""

    tile: int
    turn: Turn


@dataclass(frozen=True, slots=True)
class Meeting:
    """A link between the tiles of two neighbouring places."""

    first: int
    second: int
    side: Side
    link: Link


@dataclass(slots=True)
class Order:
    """What lies where; ``evidence``, ``rival``: sums of z by tile. ``open_tiles`` fit nowhere."""

    columns: int
    rows: int
    places: dict[Place, Lying] = field(default_factory=dict)
    meetings: list[Meeting] = field(default_factory=list)
    evidence: dict[int, float] = field(default_factory=dict)
    rival: dict[int, float] = field(default_factory=dict)
    open_tiles: list[int] = field(default_factory=list)

    def place_of(self, tile: int) -> Place | None:
        """Return where a tile lies."""
        return next((place for place, lying in self.places.items() if lying.tile == tile), None)


class Orderer:
    """Lays tiles on places by the scores of their sides."""

    def __init__(self, shown: Sequence[Shown], settings: JoinSettings) -> None:
        sides = [side for tile in shown for side in tile.map.shape]
        self._shown, self._settings = shown, settings
        self._usual, self._deep = (
            PairScorer(settings, longest=max(sides), most_overlap=most)
            for most in (settings.most_overlap, settings.deepest_overlap)
        )
        self._turned: dict[tuple[int, Turn], Shown] = {}
        self._links: dict[tuple[Lying, Lying, Side], Link] = {}

    def link(self, first: Lying, second: Lying, side: Side) -> Link:
        """Return the score of two tiles, each as it lies."""
        key = (first, second, side)
        found = self._links.get(key)
        if found is None:
            found = self._scored(self._usual, first, second, side)
            if found.z < self._settings.least_z and first.turn == second.turn == UPRIGHT:
                deep = self._scored(self._deep, first, second, side)
                found = deep if deep.z >= self._settings.sure_z else found
            self._links[key] = found
        return found

    def _scored(self, scorer: PairScorer, first: Lying, second: Lying, side: Side) -> Link:
        return scorer.score(
            self._as(first), self._as(second), side, first_key=first, second_key=second
        )

    def _as(self, lying: Lying) -> Shown:
        key = (lying.tile, lying.turn)
        if key not in self._turned:
            self._turned[key] = self._shown[lying.tile].turned(lying.turn)
        return self._turned[key]

    def around(self, places: Mapping[Place, Lying], place: Place, lying: Lying) -> float:
        """Return the evidence for laying a tile on a place: the sum of z of the links that count.

        A link below the least evidence counts nothing: a blank stretch speaks neither way.
        """
        return sum(link.z for link in self._links_at(places, place, lying))

    def _links_at(
        self, places: Mapping[Place, Lying], place: Place, lying: Lying
    ) -> Iterable[Link]:
        least = self._settings.least_z
        for side, (dx, dy) in STEPS.items():
            after = places.get(Place(place.column + dx, place.row + dy))
            before = places.get(Place(place.column - dx, place.row - dy))
            if after is not None and (link := self.link(lying, after, side)).z >= least:
                yield link
            if before is not None and (link := self.link(before, lying, side)).z >= least:
                yield link

    def fits(self, lying: Lying) -> bool:
        """Whether a turned tile has about the shape of the upright ones."""
        usual_rows, usual_columns = self._shown[0].map.shape
        rows, columns = self._shown[lying.tile].map.shape
        if lying.turn.swaps_sides:
            rows, columns = columns, rows
        return bool(
            abs(rows / usual_rows - 1) <= SIZE_TOLERANCE
            and abs(columns / usual_columns - 1) <= SIZE_TOLERANCE
        )


def find_order(
    shown: Sequence[Shown],
    *,
    settings: JoinSettings,
    grid: tuple[int, int] | None,
    planned: Mapping[Place, int] | None = None,
    is_fixed: bool = False,
    lanes: Lanes,
) -> tuple[Order, Orderer]:
    """Return the order of tiles and the orderer that holds all scores.

    ``planned``: which tile was meant for which place; None if nobody knows. ``grid``: columns and
    rows; None takes what the links show. ``is_fixed``: a person decided the places; only
    evidence is gathered for them.
    """
    orderer = Orderer(shown, settings)
    tiles = [number for number, tile in enumerate(shown) if not tile.is_empty]
    settled: dict[Place, Lying] = {}
    if planned is not None:
        settled = _settle_plan(orderer, planned, settings, lanes)
    if planned is not None and is_fixed:
        settled = {
            place: Lying(tile, UPRIGHT) for place, tile in planned.items() if tile in set(tiles)
        }
    elif len(settled) * 2 < len(tiles):
        settled = _grow_freely(orderer, tiles, grid, settings)
    if planned is None and grid is None:
        grid = _extent(settled)
    columns, rows = grid if grid is not None else _extent(settled)
    left = (
        []
        if is_fixed
        else [tile for tile in tiles if tile not in {lying.tile for lying in settled.values()}]
    )
    _fill(orderer, settled, left, columns, rows, settings)
    order = Order(columns=columns, rows=rows, places=settled)
    laid = {lying.tile for lying in settled.values()}
    order.open_tiles = [number for number in range(len(shown)) if number not in laid]
    _weigh(orderer, order)
    return order, orderer


def _settle_plan(
    orderer: Orderer, planned: Mapping[Place, int], settings: JoinSettings, lanes: Lanes
) -> dict[Place, Lying]:
    """Return the largest part of the plan whose neighbours meet.

    Each pair is one question, not the best of many, so the least evidence counts.
    """
    places = {place: Lying(tile, UPRIGHT) for place, tile in planned.items()}
    meets: dict[Place, list[Place]] = {place: [] for place in places}
    asked = [
        (place, Place(place.column + dx, place.row + dy), side)
        for place in places
        for side, (dx, dy) in STEPS.items()
        if Place(place.column + dx, place.row + dy) in places
    ]
    links = lanes.each(lambda ask: orderer.link(places[ask[0]], places[ask[1]], ask[2]), asked)
    for (place, there, _), link in zip(asked, links, strict=True):
        if link.z >= settings.least_z:
            meets[place].append(there)
            meets[there].append(place)
    parts = _parts(meets)
    best = max(parts, key=len, default=set())
    return {place: places[place] for place in best} if len(best) > 1 else {}


def _parts(meets: Mapping[Place, Sequence[Place]]) -> list[set[Place]]:
    """Return the connected parts.

    >>> a, b, c = Place(0, 0), Place(1, 0), Place(2, 0)
    >>> sorted(len(part) for part in _parts({a: [b], b: [a], c: []}))
    [1, 2]
    """
    unseen, parts = set(meets), []
    while unseen:
        waiting, part = [unseen.pop()], set()
        while waiting:
            place = waiting.pop()
            part.add(place)
            for other in meets[place]:
                if other in unseen:
                    unseen.discard(other)
                    waiting.append(other)
        parts.append(part)
    return parts


def _grow_freely(
    orderer: Orderer, tiles: Sequence[int], grid: tuple[int, int] | None, settings: JoinSettings
) -> dict[Place, Lying]:
    """Lay a puzzle from all pairs: the surest link first; parts that collide stay apart."""
    links = [
        (orderer.link(Lying(a, UPRIGHT), Lying(b, UPRIGHT), side).z, a, b, side)
        for a in tiles
        for b in tiles
        if a != b
        for side in Side
    ]
    part_of: dict[int, dict[int, Place]] = {tile: {tile: Place(0, 0)} for tile in tiles}
    for z, a, b, side in sorted(links, key=lambda item: (-item[0], item[1], item[2])):
        if z < settings.sure_z:
            break
        one, other = part_of[a], part_of[b]
        if one is other:
            continue
        dx, dy = STEPS[side]
        shift_x = one[a].column + dx - other[b].column
        shift_y = one[a].row + dy - other[b].row
        moved = {tile: Place(p.column + shift_x, p.row + shift_y) for tile, p in other.items()}
        merged = one | moved
        if len(set(merged.values())) < len(merged) or not _fits_grid(merged.values(), grid):
            continue
        for tile in merged:
            part_of[tile] = merged
    best = max(part_of.values(), key=len, default={})
    if len(best) < 2:
        return {}
    left = min(place.column for place in best.values())
    top = min(place.row for place in best.values())
    return {
        Place(place.column - left, place.row - top): Lying(tile, UPRIGHT)
        for tile, place in sorted(best.items())
    }


def _fits_grid(places: Iterable[Place], grid: tuple[int, int] | None) -> bool:
    if grid is None:
        return True
    held = list(places)
    across = max(p.column for p in held) - min(p.column for p in held) + 1
    down = max(p.row for p in held) - min(p.row for p in held) + 1
    return across <= grid[0] and down <= grid[1]


def _extent(places: Iterable[Place]) -> tuple[int, int]:
    held = list(places)
    if not held:
        return 0, 0
    return max(place.column for place in held) + 1, max(place.row for place in held) + 1


def _fill(
    orderer: Orderer,
    settled: dict[Place, Lying],
    left: list[int],
    columns: int,
    rows: int,
    settings: JoinSettings,
) -> None:
    """Lay the tiles that are left on open places, the clearest first, until nothing is clear.

    If what lies so far is smaller than the grid, where in the grid it belongs is not known: it may
    grow to every side, and is moved to the top left when all is laid.
    """
    while left:
        open_places = _open_beside(settled, columns, rows)
        found = [
            (orderer.around(settled, place, lying), place, lying)
            for place in open_places
            for tile in left
            for lying in (Lying(tile, turn) for turn in ALL_TURNS)
            if orderer.fits(lying)
        ]
        found.sort(key=lambda item: (-item[0], item[1], item[2].tile, item[2].turn))
        if not found or found[0][0] < settings.sure_z:
            break
        _, place, lying = found[0]
        settled[place] = lying
        left.remove(lying.tile)
    least_column = min((place.column for place in settled), default=0)
    least_row = min((place.row for place in settled), default=0)
    if least_column or least_row:
        if least_column > 0 or least_row > 0:
            return
        moved = {
            Place(place.column - least_column, place.row - least_row): lying
            for place, lying in settled.items()
        }
        settled.clear()
        settled.update(moved)


def _open_beside(settled: Mapping[Place, Lying], columns: int, rows: int) -> list[Place]:
    """Return the open places beside laid ones that keep the whole within the grid."""
    found = set()
    for place in settled:
        for dx, dy in ((1, 0), (-1, 0), (0, 1), (0, -1)):
            there = Place(place.column + dx, place.row + dy)
            if there not in settled and _fits_grid([*settled, there], (columns, rows)):
                found.add(there)
    return sorted(found)


def _weigh(orderer: Orderer, order: Order) -> None:
    """Collect the meetings and each tile's evidence and strongest rival."""
    for place in sorted(order.places):
        lying = order.places[place]
        for side, (dx, dy) in STEPS.items():
            there = order.places.get(Place(place.column + dx, place.row + dy))
            if there is not None:
                link = orderer.link(lying, there, side)
                order.meetings.append(Meeting(lying.tile, there.tile, side, link))
        others = {there: laid for there, laid in order.places.items() if there != place}
        order.evidence[lying.tile] = orderer.around(others, place, lying)
        rivals = [orderer.around(others, place, Lying(tile, UPRIGHT)) for tile in order.open_tiles]
        order.rival[lying.tile] = max(rivals, default=0.0)
