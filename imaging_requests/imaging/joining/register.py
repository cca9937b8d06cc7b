"""From opened tiles to where each lies: reduced search, close look, one solution."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np

from imaging_requests.imaging.joining.lanes import Lanes
from imaging_requests.imaging.joining.ordering import Meeting, Order, find_order
from imaging_requests.imaging.joining.patches import Patch, PatchPlan, cut_patches, plan_patches
from imaging_requests.imaging.joining.refine import Found, locate
from imaging_requests.imaging.joining.settings import JoinSettings
from imaging_requests.imaging.joining.solve import Model, Solution, solve
from imaging_requests.imaging.joining.structure_map import Box, Shown, show_structure
from imaging_requests.imaging.joining.tiles import Tile, reduce_tile, reduction_of
from imaging_requests.imaging.joining.words import (
    UPRIGHT,
    Grey,
    Matrix,
    Place,
    Trouble,
    Turn,
    Unjoined,
)

LEAST_WEIGHT = 0.1
DOUBT_REDUCED_PX = 2.5
SECOND_DOUBT_PX = 2.0


@dataclass(frozen=True, slots=True)
class Meet:
    """How an overlap turned out: patches that show structure, found, and agreeing."""

    meeting: Meeting
    planned: int
    found: int
    agreeing: int
    is_proven: bool


@dataclass(frozen=True, slots=True)
class Registration:
    """Where the tiles lie.

    ``matrices``: by tile index, from px of the tile *as it should lie* to the common plane.
    ``turns``: how the tile lies in its file. ``left_out``: tile index → why it has no place.
    ``reduced``: grey tiles as they should lie, levels 0 to 1, by index.
    """

    order: Order
    matrices: dict[int, Matrix]
    turns: dict[int, Turn]
    solution: Solution
    found: tuple[Found, ...]
    meets: tuple[Meet, ...]
    left_out: dict[int, str]
    boxes: dict[int, Box]
    sizes: dict[int, tuple[int, int]]
    reduced: dict[int, Grey]
    factor: int
    twins: tuple[tuple[int, int], ...]


def register(
    tiles: Sequence[Tile],
    *,
    settings: JoinSettings,
    grid: tuple[int, int] | None,
    planned: Mapping[Place, int] | None,
    fixed: Mapping[Place, tuple[int, Turn]] | None = None,
    lanes: Lanes,
) -> Registration | Unjoined:
    """Find where every tile lies.

    ``planned``: tile index by place, if the order is known or believed. ``fixed``: places and turns
    that a person decided; nothing else is tried then. Returns a value with a reason if fewer than
    two tiles meet.
    """
    factor = reduction_of(tiles, side_px=settings.reduced_side_px)
    reduced: list[Grey] = []
    for small in lanes.each(partial(reduce_tile, factor=factor), tiles):
        if isinstance(small, Unjoined):
            return small
        reduced.append(small)
    turns = dict.fromkeys(range(len(tiles)), UPRIGHT)
    if fixed is not None:
        turns |= dict(fixed.values())
        planned = {place: index for place, (index, _) in fixed.items()}
    lying = [turns[index].apply(small) for index, small in enumerate(reduced)]
    shown = lanes.each(partial(show_structure, blank_share=settings.blank_share), lying)
    twins = find_twins(shown, settings.twin_likeness)
    order, _ = find_order(
        shown,
        settings=settings,
        grid=grid,
        planned=planned,
        is_fixed=fixed is not None,
        lanes=lanes,
    )
    for laid in order.places.values():
        turns[laid.tile] = laid.turn if fixed is None else turns[laid.tile]
        if fixed is None and not laid.turn.is_upright:
            lying[laid.tile] = laid.turn.apply(reduced[laid.tile])
            shown[laid.tile] = show_structure(lying[laid.tile], blank_share=settings.blank_share)
    left_out = {
        index: (
            "shows no structure to join by"
            if shown[index].is_empty
            else "fits beside no other tile: it may show another object, another side or a part "
            "that no neighbour overlaps"
        )
        for index in order.open_tiles
    }
    sizes = {
        index: _size(tiles[index], turns[index])
        for index in sorted(laid.tile for laid in order.places.values())
    }
    boxes = {index: _full(shown[index].content, factor, *sizes[index]) for index in sizes}
    patches = _patches(tiles, order, turns, boxes, factor, lanes)
    if isinstance(patches, Unjoined):
        return patches
    near = partial(locate, least_z=settings.patch_z)
    found = [one for one in lanes.each(near, patches) if one is not None]
    connected = _connected(sizes, found, settings)
    for index in sizes.keys() - connected:
        left_out[index] = "meets no neighbour when looked at closely"
    sizes = {index: size for index, size in sizes.items() if index in connected}
    if len(sizes) < 2:
        return _nothing_fits(tiles, left_out)
    found = [one for one in found if one.first in sizes and one.second in sizes]
    solution = solve(found, sizes, start=_start(order, sizes, factor))
    if solution.model is not Model.SHIFT:
        found = _again(patches, solution, sizes, settings, lanes)
        solution = solve(found, sizes, start=solution.matrices)
    for place in [p for p, laid in order.places.items() if laid.tile not in sizes]:
        del order.places[place]
    return Registration(
        order=order,
        matrices=solution.matrices,
        turns={index: turns[index] for index in sizes},
        solution=solution,
        found=tuple(found),
        meets=_meets(order, patches, found, solution, settings),
        left_out=dict(sorted(left_out.items())),
        boxes={index: boxes[index] for index in sizes},
        sizes=sizes,
        reduced={index: lying[index] for index in sizes},
        factor=factor,
        twins=twins,
    )


def find_twins(shown: Sequence[Shown], likeness: float) -> tuple[tuple[int, int], ...]:
    """Return pairs of tiles that show the very same: one exposure delivered twice."""
    found = []
    for a, one in enumerate(shown):
        for b in range(a + 1, len(shown)):
            other = shown[b]
            if one.is_empty or other.is_empty or one.map.shape != other.map.shape:
                continue
            energy = float(np.vdot(one.map, one.map)) * float(np.vdot(other.map, other.map))
            if float(np.vdot(one.map, other.map)) >= likeness * energy**0.5:
                found.append((a, b))
    return tuple(found)


def _nothing_fits(tiles: Sequence[Tile], left_out: Mapping[int, str]) -> Unjoined:
    blank = [index for index, why in left_out.items() if "structure" in why]
    if len(blank) == len(tiles):
        said = "None of the tiles shows any structure to join by."
    else:
        said = "No two tiles show the same part at their sides."
    return Unjoined(
        Trouble.NOTHING_FITS,
        f"The tiles cannot be joined. {said} Check that all show the same object from the same "
        "side and overlap by 3 % or more, then join again.",
    )


def _size(tile: Tile, turn: Turn) -> tuple[int, int]:
    size = (tile.width_px, tile.height_px)
    return (size[1], size[0]) if turn.swaps_sides else size


def _full(box: Box, factor: int, width: int, height: int) -> Box:
    """Return a box of a reduced tile in full px; what the reduction cut off belongs to it."""
    right = box.right * factor + factor - 1
    bottom = box.bottom * factor + factor - 1
    return Box(
        box.left * factor,
        box.top * factor,
        width - 1 if right + factor >= width - 1 else right,
        height - 1 if bottom + factor >= height - 1 else bottom,
    )


def _patches(
    tiles: Sequence[Tile],
    order: Order,
    turns: Mapping[int, Turn],
    boxes: Mapping[int, Box],
    factor: int,
    lanes: Lanes,
) -> list[Patch] | Unjoined:
    plans: list[PatchPlan] = []
    for number, meeting in enumerate(order.meetings):
        cos, sin = np.cos(meeting.link.turn_rad), np.sin(meeting.link.turn_rad)
        guess = np.array(
            [
                [cos, -sin, meeting.link.dx * factor],
                [sin, cos, meeting.link.dy * factor],
                [0, 0, 1],
            ]
        )
        plans += plan_patches(
            meeting=number,
            first=meeting.first,
            second=meeting.second,
            side=meeting.side,
            first_box=boxes[meeting.first],
            second_box=boxes[meeting.second],
            second_on_first=guess,
            doubt_px=DOUBT_REDUCED_PX * factor + 2,
        )
    return cut_patches(tiles, plans, turns, lanes)


def _connected(
    sizes: Mapping[int, tuple[int, int]], found: Sequence[Found], settings: JoinSettings
) -> set[int]:
    """Return the largest set of tiles held together by enough found patches."""
    counts: dict[tuple[int, int], int] = {}
    for one in found:
        pair = (one.first, one.second)
        counts[pair] = counts.get(pair, 0) + 1
    part = {index: {index} for index in sizes}
    for (a, b), count in counts.items():
        if count >= settings.least_patches and part[a] is not part[b]:
            part[a] |= part[b]
            for index in part[b]:
                part[index] = part[a]
    return max(part.values(), key=len, default=set())


def _start(order: Order, sizes: Mapping[int, tuple[int, int]], factor: int) -> dict[int, Matrix]:
    """Chain the links from tile to tile, the surest first, as a rough beginning."""
    first = next(iter(sizes))
    start = {first: np.eye(3)}
    links = sorted(
        (m for m in order.meetings if m.first in sizes and m.second in sizes),
        key=lambda m: -m.link.z,
    )
    while len(start) < len(sizes):
        for meeting in links:
            if (meeting.first in start) == (meeting.second in start):
                continue
            step = np.eye(3)
            step[:2, 2] = meeting.link.dx * factor, meeting.link.dy * factor
            if meeting.first in start:
                start[meeting.second] = start[meeting.first] @ step
            else:
                start[meeting.first] = start[meeting.second] @ np.linalg.inv(step)
            break
        else:
            break
    return start


def _again(
    patches: Sequence[Patch],
    solution: Solution,
    sizes: Mapping[int, tuple[int, int]],
    settings: JoinSettings,
    lanes: Lanes,
) -> list[Found]:
    """Look at every patch once more, with the turns that are known now."""

    def look(patch: Patch) -> Found | None:
        plan = patch.plan
        guess = np.linalg.inv(solution.matrices[plan.second]) @ solution.matrices[plan.first]
        return locate(patch, guess=guess, least_z=settings.patch_z, doubt_px=SECOND_DOUBT_PX)

    held = [p for p in patches if p.plan.first in sizes and p.plan.second in sizes]
    return [one for one in lanes.each(look, held) if one is not None]


def _meets(
    order: Order,
    patches: Sequence[Patch],
    found: Sequence[Found],
    solution: Solution,
    settings: JoinSettings,
) -> tuple[Meet, ...]:
    lengths = np.hypot(solution.residuals[:, 0], solution.residuals[:, 1])
    made = []
    for number, meeting in enumerate(order.meetings):
        if meeting.first not in solution.matrices or meeting.second not in solution.matrices:
            continue
        planned = sum(patch.plan.meeting == number for patch in patches)
        mine = [k for k, one in enumerate(found) if one.meeting == number]
        agreeing = [
            k
            for k in mine
            if lengths[k] <= settings.agree_px and solution.weights[k] >= LEAST_WEIGHT
        ]
        made.append(
            Meet(
                meeting,
                planned,
                len(mine),
                len(agreeing),
                len(agreeing) >= settings.least_patches
                and len(agreeing) >= settings.least_share * len(mine),
            )
        )
    return tuple(made)
