"""Where to look closely: patches along every overlap, cut from the tiles in one pass each."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pyvips

from imaging_requests.imaging.joining.lanes import Lanes
from imaging_requests.imaging.joining.structure_map import Box
from imaging_requests.imaging.joining.tiles import Tile, damaged, walk_rows
from imaging_requests.imaging.joining.words import Grey, Matrix, Side, Turn, Unjoined

MOST_ACROSS_PX, MOST_ALONG_PX, LEAST_ALONG_PX = 144, 192, 40
AREA_PX = 18_000
LEAST_ACROSS_PX = 8
LEAST_PATCHES, MOST_PATCHES = 6, 12
RIM_PX = 8
CONTEXT_PX = 4
"""So far the template reaches beyond the overlap into its own tile, so that smoothing sees it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PatchPlan:
    """A rectangle of the first tile and the larger one of the second in which it should be found.

    ``guess``: matrix from px of the first tile to px of the second, off by at most ``doubt_px``.
    Boxes are in px of the tiles.
    """

    meeting: int
    first: int
    second: int
    template: Box
    window: Box
    guess: Matrix
    doubt_px: float


@dataclass(frozen=True, slots=True)
class Patch:
    """The pixels of a plan, levels as stored."""

    plan: PatchPlan
    template: Grey
    window: Grey


def plan_patches(
    *,
    meeting: int,
    first: int,
    second: int,
    side: Side,
    first_box: Box,
    second_box: Box,
    second_on_first: Matrix,
    doubt_px: float,
) -> list[PatchPlan]:
    """Lay patches along the overlap of two upright tiles.

    ``first_box``, ``second_box``: parts inside blank borders, full px. ``second_on_first``: matrix
    from px of the second tile to px of the first. ``doubt_px``: how far the guess may be off.
    """
    overlap = _overlap(first_box, second_box, second_on_first)
    across, along = (
        (overlap.width, overlap.height) if side is Side.RIGHT else (overlap.height, overlap.width)
    )
    if across < LEAST_ACROSS_PX or along < LEAST_ACROSS_PX:
        return []
    thickness = min(across, MOST_ACROSS_PX)
    length = int(min(max(AREA_PX / thickness, LEAST_ALONG_PX), MOST_ALONG_PX, along))
    if along // length < LEAST_PATCHES:
        length = max(min(LEAST_ALONG_PX, along), along // LEAST_PATCHES)
    count = int(np.clip(along // length, 1, MOST_PATCHES))
    inverse = np.linalg.inv(second_on_first)
    plans = []
    middle = (across - thickness) // 2
    for start in np.linspace(0, along - length, count).round().astype(int):
        template = (
            _box(overlap.left + middle, overlap.top + start, thickness, length, first_box)
            if side is Side.RIGHT
            else _box(overlap.left + start, overlap.top + middle, length, thickness, first_box)
        )
        window = _window(template, inverse, second_box, doubt_px)
        if window is not None:
            plans.append(
                PatchPlan(
                    meeting=meeting,
                    first=first,
                    second=second,
                    template=template,
                    window=window,
                    guess=inverse,
                    doubt_px=doubt_px,
                )
            )
    return plans


def _overlap(first: Box, second: Box, second_on_first: Matrix) -> Box:
    corners = np.array(
        [
            [second.left, second.top, 1.0],
            [second.right, second.top, 1],
            [second.left, second.bottom, 1],
            [second.right, second.bottom, 1],
        ]
    )
    moved = corners @ second_on_first.T
    # the inner rectangle of a slightly turned one: the second largest coordinate on each side
    xs, ys = np.sort(moved[:, 0]), np.sort(moved[:, 1])
    return Box(
        max(first.left, int(np.ceil(xs[1]))),
        max(first.top, int(np.ceil(ys[1]))),
        min(first.right, int(np.floor(xs[2]))),
        min(first.bottom, int(np.floor(ys[2]))),
    )


def _box(left: int, top: int, width: int, height: int, limit: Box) -> Box:
    return Box(
        max(limit.left, int(left) - CONTEXT_PX),
        max(limit.top, int(top) - CONTEXT_PX),
        min(limit.right, int(left) + width - 1 + CONTEXT_PX),
        min(limit.bottom, int(top) + height - 1 + CONTEXT_PX),
    )


def _window(template: Box, to_second: Matrix, limit: Box, doubt_px: float) -> Box | None:
    corners = np.array(
        [
            [template.left, template.top, 1.0],
            [template.right, template.top, 1],
            [template.left, template.bottom, 1],
            [template.right, template.bottom, 1],
        ]
    )
    moved = corners @ to_second.T
    reach = int(np.ceil(doubt_px)) + RIM_PX
    low, high = np.floor(moved.min(0)).astype(int), np.ceil(moved.max(0)).astype(int)
    box = Box(
        max(limit.left, int(low[0]) - reach),
        max(limit.top, int(low[1]) - reach),
        min(limit.right, int(high[0]) + reach),
        min(limit.bottom, int(high[1]) + reach),
    )
    is_held = box.width >= LEAST_ACROSS_PX and box.height >= LEAST_ACROSS_PX
    return box if is_held else None


def cut_patches(
    tiles: Sequence[Tile], plans: Sequence[PatchPlan], turns: Mapping[int, Turn], lanes: Lanes
) -> list[Patch] | Unjoined:
    """Read every tile once and return the pixels of all plans, in their order.

    The boxes of the plans are those of the tile as it should lie; ``turns`` says how it lies.
    """
    wanted: dict[int, list[tuple[int, bool, Box]]] = {}
    for number, plan in enumerate(plans):
        wanted.setdefault(plan.first, []).append((number, True, plan.template))
        wanted.setdefault(plan.second, []).append((number, False, plan.window))

    def pieces_of(index: int) -> list[Grey] | Unjoined:
        tile, turn = tiles[index], turns[index]
        stored = [_stored(box, tile, turn) for _, _, box in wanted[index]]
        pieces = [np.empty((box.height, box.width), np.float32) for box in stored]
        try:
            _fill(tile, list(zip(stored, pieces, strict=True)))
        except pyvips.Error as error:
            return damaged(tile, error)
        return [turn.apply(piece) for piece in pieces]

    cut: dict[tuple[int, bool], Grey] = {}
    indices = sorted(wanted)
    for index, pieces in zip(indices, lanes.each(pieces_of, indices), strict=True):
        if isinstance(pieces, Unjoined):
            return pieces
        for (number, is_template, _), piece in zip(wanted[index], pieces, strict=True):
            cut[number, is_template] = piece
    return [Patch(plan, cut[number, True], cut[number, False]) for number, plan in enumerate(plans)]


def _stored(box: Box, tile: Tile, turn: Turn) -> Box:
    """Return where a box of the tile as it should lie is found in the file."""
    back = np.linalg.inv(turn.matrix(tile.width_px, tile.height_px))
    corners = np.array([[box.left, box.top, 1.0], [box.right, box.bottom, 1]]) @ back.T
    low, high = corners.min(0).round().astype(int), corners.max(0).round().astype(int)
    return Box(int(low[0]), int(low[1]), int(high[0]), int(high[1]))


def _fill(tile: Tile, held: Sequence[tuple[Box, Grey]]) -> None:
    for top, rows in walk_rows(tile, until=max(box.bottom for box, _ in held)):
        bottom = top + len(rows)
        for box, target in held:
            low, high = max(top, box.top), min(bottom, box.bottom + 1)
            if low < high:
                target[low - box.top : high - box.top] = rows[
                    low - top : high - top, box.left : box.right + 1
                ]
