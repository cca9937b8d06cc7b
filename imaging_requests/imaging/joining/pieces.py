"""Who shows where: the canvas cut into rectangles that the same tiles can show."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from imaging_requests.imaging.joining.canvas import BLANK_PX, Canvas, Laid
from imaging_requests.imaging.joining.words import Grey

CELL_PX = 64


@dataclass(frozen=True, slots=True)
class Piece:
    """Columns of a strip of rows and the tiles that may show there.

    ``tiles``: positions in ``canvas.laid``; none is a hole. ``is_whole``: the one tile covers all
    of it, so nothing has to be weighed.
    """

    left: int
    right: int
    tiles: tuple[int, ...]
    is_whole: bool


def pieces_of_strip(canvas: Canvas, top: int, bottom: int) -> list[Piece]:
    """Cut rows ``top`` to ``bottom`` into runs of columns that the same tiles can show.

    Where one tile is deeper than all others by more than the feather everywhere in a cell, it shows
    alone.
    """
    lefts = np.arange(0, canvas.width_px, CELL_PX)
    rights = np.minimum(lefts + CELL_PX, canvas.width_px) - 1
    numbers = [
        number
        for number, tile in enumerate(canvas.laid)
        if tile.area.top < bottom and tile.area.bottom >= top
    ]
    if not numbers:
        return [Piece(0, canvas.width_px, (), False)]
    x = np.stack([lefts, rights, lefts, rights]).astype(np.float64)
    y = np.array([[top], [top], [bottom - 1], [bottom - 1]], np.float64)
    deepest = np.empty((len(numbers), len(lefts)))
    shallowest = np.empty_like(deepest)
    for row, number in enumerate(numbers):
        tile = canvas.laid[number]
        touches = (tile.area.left <= rights) & (tile.area.right >= lefts)
        shallowest[row] = np.where(touches, tile.depth(x, y).min(0), -2 * BLANK_PX)
        deepest[row] = np.where(touches, _bound(tile, x, y), -2 * BLANK_PX)
    shown, is_whole = _shown(deepest, shallowest, canvas.feather_px)
    changes = (shown[:, 1:] != shown[:, :-1]).any(axis=0) | (is_whole[1:] != is_whole[:-1])
    starts = [0, *(int(cell) + 1 for cell in np.flatnonzero(changes))]
    ends = [*starts[1:], len(lefts)]
    return [
        Piece(
            int(lefts[start]),
            int(rights[end - 1]) + 1,
            tuple(
                number
                for number, is_there in zip(numbers, shown[:, start], strict=True)
                if is_there
            ),
            bool(is_whole[start]),
        )
        for start, end in zip(starts, ends, strict=True)
    ]


def _bound(tile: Laid, x: Grey, y: Grey) -> Grey:
    """Return what the depth stays below in each cell: the least of four slopes' maxima."""
    u, v = tile.on_tile(x, y)
    box = tile.box
    slopes = (u - box.left, box.right - u, v - box.top, box.bottom - v)
    bound: Grey = np.minimum.reduce([np.broadcast_to(s.max(0), x.shape[1:]) for s in slopes]) + 1
    return bound


def _shown(
    deepest: Grey, shallowest: Grey, feather: float
) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Return which tiles may show in each cell, and whether the one tile covers it all."""
    there = deepest > -BLANK_PX
    best = shallowest.argmax(axis=0)
    least = shallowest.max(axis=0)
    is_clear = least > 0
    shown = there & ((least - deepest < feather) | ~is_clear)
    cells = np.arange(len(best))
    shown[best, cells] |= there[best, cells]
    return shown, is_clear & (shown.sum(axis=0) == 1)


def shares_on(
    canvas: Canvas, tiles: tuple[int, ...], x: NDArray[Any], y: NDArray[Any]
) -> NDArray[np.float32]:
    """Return the share of each tile at canvas places; shape (tiles, rows, columns).

    ``x``: columns, ``y``: rows. The shares of a place sum to 1, or to 0 where nothing is.
    """
    across, down = x[None, :].astype(np.float64), y[:, None].astype(np.float64)
    depths = np.stack([canvas.laid[number].depth(across, down) for number in tiles])
    shares = depths - depths.max(axis=0)
    shares /= canvas.feather_px
    shares += 1
    np.clip(shares, 0, 1, out=shares)
    shares[depths <= -BLANK_PX] = 0
    total = shares.sum(axis=0)
    weighed = np.divide(shares, total, out=np.zeros_like(shares), where=total > 0)
    return np.asarray(weighed, np.float32)
