"""Find small parts of the reference in the moving picture, near where a first map puts them."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from .features import RIM_PX, Channels, describe
from .matrices import Matrix, Points, Weights, apply, inverse
from .pictures import Picture

BLOCK_PX = 48
CELLS = 14
#: Size up to which a level is described as a whole.
PLANE_PX = 2_500_000
#: Beyond so many parts of a larger level every second one is enough for a first look.
MANY_PARTS = 96


@dataclass(frozen=True, eq=False)
class Matches:
    """Parts of the reference found in the moving picture, one row each.

    Attributes:
        moving, reference: (n, 2) px of the full sizes, row by row the same point.
        offset_px: (n, 2) departure from the map that was the start, px of the level.
        score: (n,) normalised correlation of the channels at the best place, -1 to 1.
        distinct: (n,) score above the best place elsewhere in the search.
        cell: (n, 2) column and row of the cell of the grid the part stands for.
        surfaces: (n, side, side) score at every offset of the search, the middle is offset 0.
        structure: (n,) how strong the structure of the moving picture is where the map puts the
            part, 0 for an even surface, 1 for clear edges everywhere.
        level_px: px of the reference that one px of the level stands for.
        asked: How many parts were looked for.
    """

    moving: Points
    reference: Points
    offset_px: Points
    score: Weights
    distinct: Weights
    cell: NDArray[np.int64]
    surfaces: NDArray[np.float32]
    structure: Weights
    level_px: float
    asked: int

    def __len__(self) -> int:
        return len(self.score)


@dataclass(frozen=True, slots=True)
class Part:
    """A part of the reference: its centre in px of the full size, and its cell."""

    x: float
    y: float
    column: int
    row: int


def choose_parts(reference: Picture, *, cells: int = CELLS) -> list[Part]:
    """Choose the part with the most structure in each cell of a grid over the reference.

    Structure is the smaller eigenvalue of the structure tensor (Shi and Tomasi 1994): slopes in
    more than one direction. Cells without any are left out.
    """
    small, to_small = reference.reduced(640)
    tensor = cv2.cornerMinEigenVal(cv2.GaussianBlur(small, (0, 0), 1.0), 15, ksize=3)
    tensor = np.sqrt(np.maximum(tensor, 0))
    rows, columns = small.shape
    across = max(3, round(cells * columns / max(rows, columns)))
    down = max(3, round(cells * rows / max(rows, columns)))
    least = 0.02 * float(np.quantile(tensor, 0.95)) + 1e-12
    back = inverse(to_small)
    parts = []
    for row in range(down):
        top, bottom = rows * row // down, rows * (row + 1) // down
        for column in range(across):
            left, right = columns * column // across, columns * (column + 1) // across
            cell = tensor[top:bottom, left:right]
            if cell.size == 0 or float(cell.max()) <= least:
                continue
            y, x = np.unravel_index(int(np.argmax(cell)), cell.shape)
            at = apply(back, np.array([[left + float(x), top + float(y)]]))[0]
            parts.append(Part(float(at[0]), float(at[1]), column, row))
    return parts


class Matcher:
    """Looks for parts of one reference level in the moving picture; keeps their descriptions.

    A level of up to `PLANE_PX` px is described as a whole, and so is the moving picture laid on
    its grid: parts and their surroundings overlap, so that is cheaper than one by one. Of a larger
    level only the parts themselves are looked at.
    """

    def __init__(
        self,
        reference: Picture,
        moving: Picture,
        parts: list[Part],
        *,
        level: int,
        block_px: int = BLOCK_PX,
        search_px: int = 8,
        is_whole_search: bool = True,
    ) -> None:
        """Prepare the parts at one level.

        Args:
            is_whole_search: Look only for parts whose whole search lies inside the moving picture;
                else the place that the map gives is enough, and the rim goes on outside.
        """
        self._margin = (search_px if is_whole_search else 0) + RIM_PX
        self._reference, self._moving = reference, moving
        self._level, self._block, self._search = level, block_px, search_px
        self._to_level = reference.to_level(level)
        rows, columns = reference.levels[level].shape[:2]
        self._is_plane = rows * columns <= PLANE_PX
        self._is_many = not self._is_plane and len(parts) > MANY_PARTS
        self._cell = np.array([(part.column, part.row) for part in parts], np.int64).reshape(-1, 2)
        centres = np.array([(part.x, part.y) for part in parts], np.float64).reshape(-1, 2)
        size = block_px + 2 * RIM_PX
        corner = np.rint(apply(self._to_level, centres) - size / 2).astype(np.int64)
        most = np.maximum(np.array([columns, rows]) - size, 0)
        #: Top left corner of each block, px of the level.
        self._corner = np.clip(corner, 0, most) + RIM_PX
        if min(rows, columns) < size:
            self._corner, self._cell = self._corner[:0], self._cell[:0]
        self._known: dict[int, Channels] = {}

    @property
    def level_px(self) -> float:
        """px of the reference that one px of this level stands for."""
        return float(1 / self._to_level[0, 0])

    def match(self, to_reference: Matrix, *, is_first: bool = False) -> Matches:
        """Look for every part near the place where the map puts it.

        Args:
            is_first: The map will be bettered and the parts looked for again, so that of many
                parts one by one every second is enough.
        """
        from_level = inverse(self._to_level)
        to_moving = inverse(to_reference) @ from_level
        shown = self._is_shown(to_moving)
        if is_first and self._is_many:
            shown &= self._cell.sum(axis=1) % 2 == 0
        seen = np.flatnonzero(shown)
        side = 2 * self._search + 1
        surfaces = np.zeros((len(seen), side, side), np.float32)
        structure = np.zeros(len(seen))
        middle = slice(self._search, self._search + self._block)
        floor = self._floor_of_moving(to_moving)
        laid = self._laid(to_moving, floor) if self._is_plane and len(seen) else None
        for row, number in enumerate(seen.tolist()):
            window = (
                self._window(number, to_moving, floor) if laid is None else self._cut(laid, number)
            )
            found = cv2.matchTemplate(window, self._describe(number), cv2.TM_CCOEFF_NORMED)
            surfaces[row] = found
            inner = window[middle, middle]
            structure[row] = cv2.norm(inner.reshape(len(inner), -1), cv2.NORM_L2SQR)
        np.nan_to_num(surfaces, copy=False, posinf=0.0)
        at = np.asarray(self._corner[seen] + (self._block - 1) / 2, np.float64)
        offset, score, distinct = _peaks(surfaces)
        return Matches(
            moving=apply(to_moving, at + offset),
            reference=apply(from_level, at),
            offset_px=offset,
            score=score,
            distinct=distinct,
            cell=self._cell[seen],
            surfaces=surfaces,
            structure=structure / self._block**2,
            level_px=self.level_px,
            asked=len(seen),
        )

    def _is_shown(self, to_moving: Matrix) -> NDArray[np.bool_]:
        """Whether the moving picture shows the whole surroundings of each part."""
        margin = self._margin
        far = self._block + margin - 1
        shown = np.ones(len(self._corner), bool)
        last = np.array([self._moving.width_px - 1, self._moving.height_px - 1])
        for corner in ((-margin, -margin), (far, -margin), (far, far), (-margin, far)):
            points = (self._corner + np.array(corner)).astype(np.float64)
            at = apply(to_moving, points)
            front = points @ to_moving[2, :2] + to_moving[2, 2] > 0
            shown &= front & np.all((at >= 0) & (at <= last), axis=1)
        return shown

    def _laid(self, to_moving: Matrix, floor: float) -> Channels:
        """Describe the moving picture laid on the grid of the level, with a margin around."""
        rows, columns = self._reference.levels[self._level].shape[:2]
        margin = self._search + RIM_PX
        shift = np.array([[1.0, 0.0, -margin], [0.0, 1.0, -margin], [0.0, 0.0, 1.0]])
        values = self._moving.lay(to_moving @ shift, columns + 2 * margin, rows + 2 * margin)
        return describe(values, floor=floor)

    def _cut(self, laid: Channels, number: int) -> Channels:
        """The surroundings of a part in a picture that was laid on the level with a margin."""
        left, top = (self._corner[number] + RIM_PX).tolist()
        size = self._block + 2 * self._search
        return laid[top : top + size, left : left + size]

    def _window(self, number: int, to_moving: Matrix, floor: float) -> Channels:
        """The surroundings of a part, sampled from the moving picture by themselves."""
        margin = self._search + RIM_PX
        left, top = (self._corner[number] - margin).tolist()
        shift = np.array([[1.0, 0.0, left], [0.0, 1.0, top], [0.0, 0.0, 1.0]])
        size = self._block + 2 * margin
        values = self._moving.sample(to_moving @ shift, size, size)
        return np.ascontiguousarray(describe(values, floor=floor)[RIM_PX:-RIM_PX, RIM_PX:-RIM_PX])

    def _floor_of_moving(self, to_moving: Matrix) -> float:
        """The noise floor where the middle of the level lies in the moving picture."""
        rows, columns = self._reference.levels[self._level].shape[:2]
        middle = np.array([[columns / 2, rows / 2], [columns / 2 + 1, rows / 2]])
        ends = apply(to_moving, middle)
        step = float(np.linalg.norm(ends[1] - ends[0]))
        level = int(np.clip(round(np.log2(max(step, 1e-6))), 0, len(self._moving.levels) - 1))
        return self._moving.floor(level)

    def _describe(self, number: int) -> Channels:
        """Return a part's channels."""
        left, top = self._corner[number].tolist()
        if self._is_plane:
            whole = self._reference.described(self._level)
            return whole[top : top + self._block, left : left + self._block]
        if number not in self._known:
            values = self._reference.levels[self._level]
            size = self._block + 2 * RIM_PX
            left, top = left - RIM_PX, top - RIM_PX
            crop = np.asarray(values[top : top + size, left : left + size], np.float32)
            channels = describe(crop, floor=self._reference.floor(self._level))
            self._known[number] = np.ascontiguousarray(channels[RIM_PX:-RIM_PX, RIM_PX:-RIM_PX])
        return self._known[number]


def _peaks(surfaces: NDArray[np.float32]) -> tuple[Points, Weights, Weights]:
    """Return offset of each best place from the middle, its score, and how far it stands out.

    The best place is refined by a parabola through it and its neighbours along x and along y,
    unless it lies on the rim.
    """
    count, side = surfaces.shape[:2]
    each, last = np.arange(count), side - 1
    place = np.argmax(surfaces.reshape(count, -1), axis=1) if count else np.zeros(0, np.int64)
    y, x = place // side, place % side
    best = surfaces[each, y, x].astype(np.float64)
    near = np.clip(np.stack((x - 1, x + 1, y - 1, y + 1)), 0, last)
    dx = _vertex(surfaces[each, y, near[0]], best, surfaces[each, y, near[1]])
    dy = _vertex(surfaces[each, near[2], x], best, surfaces[each, near[3], x])
    dx[(x == 0) | (x == last)] = 0.0
    dy[(y == 0) | (y == last)] = 0.0
    steps = np.arange(side)
    is_near = (np.abs(steps[None, :, None] - y[:, None, None]) <= 3) & (
        np.abs(steps[None, None, :] - x[:, None, None]) <= 3
    )
    others = np.where(is_near, -1.0, surfaces).max(axis=(1, 2)) if count else best
    offset = np.stack((x - last / 2 + dx, y - last / 2 + dy), axis=1)
    return offset, best, np.asarray(best - others, np.float64)


def _vertex(before: NDArray[np.float32], at: Weights, after: NDArray[np.float32]) -> Weights:
    curve = before.astype(np.float64) - 2 * at + after
    safe = np.where(curve >= -1e-9, -1.0, curve)
    moved = np.clip(0.5 * (before.astype(np.float64) - after) / safe, -0.5, 0.5)
    return np.asarray(np.where(curve >= -1e-9, 0.0, moved), np.float64)
