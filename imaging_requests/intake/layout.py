"""Lay frames out on the places of shot lines, and place only what leaves no doubt. Pure.

The frames of a drop are taken in the order of their instants, the places in the order of the
shot list: line by line, tile by tile (left to right, then down), focus slice by focus slice. The
exposures of one tile may come in any order, but their steps must be those required, about a base
that the whole line shares. A way of laying the frames out is worth 1 for every frame that it
places, and what the pictures say for or against each place (−1 to 1) on top; a place against which
the picture speaks fully is none. A frame has a certain place only if every way that is worth the
most, or less than the margin below it, puts it there; else the places that such ways give it are
its options, and a person decides. Without pictures this means: every way that places the most
frames must agree.

The search is dynamic programming over (group, exposures filled, base): a forward pass, bounded by
what can still be reached, and a backward pass that tells which steps lie on a best way.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from itertools import accumulate, groupby, islice

BASE_STEP_EV = 0.01
MARGIN = 0.5
AGAINST = -1.0
SMALLEST = 1e-9
LEAST_STATES = 200_000
STATES_PER_FRAME = 400
#: A tile: shot line, from the top, from the left.
Tile = tuple[int, int, int]
#: (states kept per group, groups looked ahead, states kept in all) of the quick search, first
#: cheap, then thorough.
BEAMS = ((3, 4, 40), (3, 4, 10_000), (8, 12, 10_000))


class TooManyWaysError(Exception):
    """The frames fit in too many ways to be compared; a person must narrow it down."""


@dataclass(frozen=True, slots=True, order=True)
class Spot:
    """One place of a shot line: tile (from the top left), exposure offset in EV, focus slice."""

    line_id: int
    tile_y: int
    tile_x: int
    focus_slice: int
    ev: float


@dataclass(frozen=True, slots=True)
class Base:
    """The exposure about which a bracket is made: amount at offset 0 in EV, f-number, ISO."""

    amount_ev: float
    f_number: float | None
    iso: int | None


@dataclass(frozen=True, slots=True)
class Line:
    """A shot line with the places still free, in the order in which they are shot.

    `is_bracket`: more than one exposure is required. `base`: known from frames placed already.
    `body_serial`, `lens_serial`: what the set-up card names; empty if it names none.
    """

    line_id: int
    free: tuple[Spot, ...]
    is_bracket: bool
    base: Base | None = None
    body_serial: str = ""
    lens_serial: str = ""


@dataclass(frozen=True, slots=True)
class Shot:
    """One frame: when it was taken, how much exposure it got in EV, and with what.

    `likes`: what its picture says for (1) or against (−1) each tile; 0 where it says nothing.
    """

    frame_id: int
    at: datetime
    amount_ev: float | None = None
    f_number: float | None = None
    iso: int | None = None
    body_serial: str = ""
    lens_serial: str = ""
    likes: Mapping[Tile, float] = field(default_factory=dict)

    def likes_spot(self, spot: Spot) -> float:
        """What the picture says for a place."""
        return self.likes.get((spot.line_id, spot.tile_y, spot.tile_x), 0.0)


@dataclass(frozen=True, slots=True)
class Finding:
    """Where a frame belongs. `spot` only without doubt; `options` else, in shooting order.

    `may_be_extra`: some best way leaves this frame over.
    """

    frame_id: int
    spot: Spot | None
    options: tuple[Spot, ...] = ()
    may_be_extra: bool = False


@dataclass(frozen=True, slots=True)
class _Group:
    line: Line
    spots: tuple[Spot, ...]
    places_after: int


#: (group, bits of the exposures filled in it, base of its line)
_State = tuple[int, int, Base | None]
_Layer = dict[_State, float]


def fits(shot: Shot, spot: Spot, line: Line, base: Base | None, tolerance_ev: float) -> bool:
    """Tell whether a frame may lie on a place, given the base of the line if it is known."""
    if is_other_camera(shot, line) or shot.likes_spot(spot) <= AGAINST:
        return False
    if shot.amount_ev is None:
        return not line.is_bracket
    if base is None:
        return True
    if line.is_bracket and (shot.f_number, shot.iso) != (base.f_number, base.iso):
        return False
    return abs(shot.amount_ev - spot.ev - base.amount_ev) <= tolerance_ev


def is_other_camera(shot: Shot, line: Line) -> bool:
    """Tell whether body or lens are known to be others than the set-up card names."""
    pairs = ((line.body_serial, shot.body_serial), (line.lens_serial, shot.lens_serial))
    return any(named and own and named != own for named, own in pairs)


def lay_out(
    shots: Sequence[Shot],
    lines: Sequence[Line],
    *,
    tolerance_ev: float,
    most_states: int | None = None,
) -> dict[int, Finding]:
    """Return a finding for each frame.

    Raises `TooManyWaysError` when more than `most_states` partial layouts would have to be kept:
    200,000, or with more than 500 frames 400 for each.
    """
    if most_states is None:
        most_states = max(LEAST_STATES, STATES_PER_FRAME * len(shots))
    groups = _groups(lines)
    ordered = sorted(shots, key=lambda shot: (shot.at, shot.frame_id))
    if not groups or not ordered:
        return {shot.frame_id: Finding(shot.frame_id, None, may_be_extra=True) for shot in shots}
    findings = _search(ordered, groups, tolerance_ev, most_states)
    return _without_ties(ordered, findings, tolerance_ev, {line.line_id: line for line in lines})


def _search(
    shots: Sequence[Shot], groups: tuple[_Group, ...], tolerance_ev: float, most_states: int
) -> dict[int, Finding]:
    """Search with a cheap bound first, since it is enough for nearly every drop."""
    for beam in BEAMS[:-1]:
        try:
            return _Search(shots, groups, tolerance_ev, most_states, *beam).findings()
        except TooManyWaysError:
            continue
    return _Search(shots, groups, tolerance_ev, most_states, *BEAMS[-1]).findings()


def _groups(lines: Iterable[Line]) -> tuple[_Group, ...]:
    found: list[tuple[Line, tuple[Spot, ...]]] = []
    for line in lines:
        for _, together in groupby(line.free, key=lambda s: (s.tile_y, s.tile_x, s.focus_slice)):
            found.append((line, tuple(together)))
    groups: list[_Group] = []
    after = 0
    for line, spots in reversed(found):
        groups.append(_Group(line, spots, after))
        after += len(spots)
    return tuple(reversed(groups))


class _Search:
    """Forward and backward pass over the frames in the order of their instants."""

    def __init__(
        self,
        shots: Sequence[Shot],
        groups: tuple[_Group, ...],
        tolerance_ev: float,
        most_states: int,
        width: int,
        ahead: int,
        most: int,
    ) -> None:
        self.shots, self.groups, self.tolerance_ev = shots, groups, tolerance_ev
        self.left = most_states
        gains = [1 + max(0.0, *shot.likes.values(), 0.0) for shot in shots]
        self.most_gain = max(gains)
        self.gains_after = [*reversed(list(accumulate(reversed(gains)))), 0.0]
        self.reachable = self._beam(width, ahead, most)

    def findings(self) -> dict[int, Finding]:
        layers = self._forward()
        enough = max(layers[-1].values()) - MARGIN + SMALLEST
        after: _Layer = dict.fromkeys(layers[-1], 0)
        found: dict[int, Finding] = {}
        for index in range(len(self.shots) - 1, -1, -1):
            options, is_extra, after = self._backward(index, layers[index], after, enough)
            frame_id = self.shots[index].frame_id
            certain = options[0] if len(options) == 1 and not is_extra else None
            found[frame_id] = Finding(
                frame_id, certain, () if certain else tuple(options), may_be_extra=is_extra
            )
        return found

    def _start(self) -> _State:
        return (0, 0, self.groups[0].line.base)

    def _beam(self, width: int, ahead: int, most: int) -> float:
        """Follow the few most promising ways: a worth that can surely be had."""
        layer: _Layer = {self._start(): 0}
        for shot in self.shots:
            following: _Layer = dict(layer)
            for state, worth in layer.items():
                for later in islice(self._later(state), ahead):
                    for _, after, gain in self._placements(shot, later):
                        if following.get(after, -1) < worth + gain:
                            following[after] = worth + gain
            layer = _most_promising(following, width, most)
        return max(layer.values()) - MARGIN

    def _later(self, state: _State) -> Iterator[_State]:
        """Yield a state and all that follow from leaving the rest of its group empty."""
        yield state
        group, _, base = state
        for following in range(group + 1, len(self.groups)):
            if self.groups[following].line is not self.groups[following - 1].line:
                base = self.groups[following].line.base
            yield (following, 0, base)

    def _placements(self, shot: Shot, state: _State) -> Iterator[tuple[Spot, _State, float]]:
        group, filled, base = state
        line = self.groups[group].line
        for position, spot in enumerate(self.groups[group].spots):
            if filled & 1 << position or not fits(shot, spot, line, base, self.tolerance_ev):
                continue
            after = (group, filled | 1 << position, base or _base_of(shot, spot))
            yield spot, after, 1 + shot.likes_spot(spot)

    def _can_reach(self, state: _State, worth: float, index: int) -> bool:
        group, filled, _ = state
        room = len(self.groups[group].spots) - filled.bit_count() + self.groups[group].places_after
        most = min(self.gains_after[index], room * self.most_gain)
        return worth + most >= self.reachable - SMALLEST

    def _spread(self, layer: _Layer, index: int) -> _Layer:
        """Add the states that follow from moving on to later groups without placing anything."""
        spread: _Layer = {}
        for state, worth in layer.items():
            for later in self._later(state):
                if not self._can_reach(later, worth, index):
                    break
                if spread.get(later, -1) < worth:
                    spread[later] = worth
        self.left -= len(spread)
        if self.left < 0:
            raise TooManyWaysError
        return spread

    def _forward(self) -> list[_Layer]:
        layers = [self._spread({self._start(): 0}, 0)]
        for index, shot in enumerate(self.shots):
            following: _Layer = {}
            for state, worth in layers[-1].items():
                if following.get(state, -1) < worth:
                    following[state] = worth
                for _, after, gain in self._placements(shot, state):
                    if following.get(after, -1) < worth + gain:
                        following[after] = worth + gain
            layers.append(self._spread(following, index + 1))
        return layers

    def _backward(
        self, index: int, layer: _Layer, after: _Layer, enough: float
    ) -> tuple[list[Spot], bool, _Layer]:
        """Find what a frame does on the best ways, and what each state can still gain."""
        before: _Layer = {}
        options: set[Spot] = set()
        is_extra = False
        for state in sorted(layer, key=lambda state: -state[0]):
            worth = layer[state]
            value = -1.0
            if state in after:
                value = after[state]
                is_extra = is_extra or worth + value > enough
            for spot, following, gain in self._placements(self.shots[index], state):
                if following not in after:
                    continue
                gained = after[following] + gain
                value = max(value, gained)
                if worth + gained > enough:
                    options.add(spot)
            for later in self._next(state):
                value = max(value, before.get(later, -1.0))
            if value >= 0:
                before[state] = value
        return sorted(options), is_extra, before

    def _next(self, state: _State) -> Iterator[_State]:
        steps = self._later(state)
        next(steps)
        following = next(steps, None)
        if following is not None:
            yield following


def _most_promising(layer: _Layer, width: int, most: int) -> _Layer:
    """Keep a few states of every group, and of all those at most so many that placed most."""
    kept: list[tuple[_State, float]] = []
    ranked = sorted(layer.items(), key=lambda item: (item[0][0], -item[1]))
    for _, states in groupby(ranked, key=lambda item: item[0][0]):
        kept += islice(states, width)
    if len(kept) > most:
        kept = sorted(kept, key=lambda item: (-item[1], item[0][0]))[:most]
    return dict(kept)


def _base_of(shot: Shot, spot: Spot) -> Base | None:
    if shot.amount_ev is None:
        return None
    amount = round((shot.amount_ev - spot.ev) / BASE_STEP_EV) * BASE_STEP_EV
    return Base(round(amount, 2), shot.f_number, shot.iso)


def _without_ties(
    ordered: Sequence[Shot],
    findings: dict[int, Finding],
    tolerance_ev: float,
    lines: dict[int, Line],
) -> dict[int, Finding]:
    """Take certainty away where two frames of the same second could be exchanged."""
    settled = dict(findings)
    for _, tied in groupby(ordered, key=lambda shot: shot.at):
        same = [shot for shot in tied if findings[shot.frame_id].spot is not None]
        for shot in same:
            own = findings[shot.frame_id].spot
            others = [
                other.frame_id
                for other in same
                if other is not shot and _could_swap(shot, other, findings, tolerance_ev, lines)
            ]
            if own is None or not others:
                continue
            spots = {own, *(spot for other in others if (spot := findings[other].spot))}
            settled[shot.frame_id] = Finding(shot.frame_id, None, tuple(sorted(spots)))
    return settled


def _could_swap(
    one: Shot,
    other: Shot,
    findings: dict[int, Finding],
    tolerance_ev: float,
    lines: dict[int, Line],
) -> bool:
    mine, theirs = findings[one.frame_id].spot, findings[other.frame_id].spot
    if mine is None or theirs is None:
        return False
    if mine.line_id == theirs.line_id and mine.ev != theirs.ev:
        amounts = (one.amount_ev, other.amount_ev)
        return None in amounts
    base = _base_of(other, theirs)
    lost = one.likes_spot(mine) - one.likes_spot(theirs)
    lost += other.likes_spot(theirs) - other.likes_spot(mine)
    return lost < MARGIN and fits(one, theirs, lines[theirs.line_id], base, tolerance_ev)
