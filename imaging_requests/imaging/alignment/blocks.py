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
    """Looks for parts of one reference level in the moving picture; keeps their descriptions."""

    def __init__(
        self,
        reference: Picture,
        moving: Picture,
        parts: list[Part],
        *,
        level: int,
        block_px: int = BLOCK_PX,
        search_px: int = 8,
    ) -> None:
        self._reference, self._moving = reference, moving
        self._parts, self._level = parts, level
        self._block, self._search = block_px, search_px
        self._to_level = reference.to_level(level)
        self._known: dict[Part, tuple[Channels, float, float] | None] = {}

    @property
    def level_px(self) -> float:
        """px of the reference that one px of this level stands for."""
        return float(1 / self._to_level[0, 0])

    def match(self, to_reference: Matrix) -> Matches:
        """Look for every part near the place where the map puts it."""
        to_moving = inverse(to_reference)
        from_level = inverse(self._to_level)
        found: list[tuple[float, ...]] = []
        surfaces: list[NDArray[np.float32]] = []
        asked = 0
        for part in self._parts:
            known = self._describe(part)
            if known is None:
                continue
            channels, x, y = known
            margin = self._search + RIM_PX
            shift = np.array([[1.0, 0.0, x - margin], [0.0, 1.0, y - margin], [0.0, 0.0, 1.0]])
            size = self._block + 2 * margin
            values = self._moving.sample(to_moving @ from_level @ shift, size, size)
            if values is None:
                continue
            asked += 1
            floor = self._floor_of_moving(to_moving @ from_level @ shift)
            window = describe(values, floor=floor)[RIM_PX:-RIM_PX, RIM_PX:-RIM_PX]
            raw = cv2.matchTemplate(np.ascontiguousarray(window), channels, cv2.TM_CCOEFF_NORMED)
            scores: NDArray[np.float32] = np.nan_to_num(np.asarray(raw, np.float32), posinf=0.0)
            surfaces.append(scores)
            centre = (self._block - 1) / 2
            found.append((x + centre, y + centre, *_peak(scores), part.column, part.row))
        side = 2 * self._search + 1
        rows = np.array(found, np.float64).reshape(-1, 8)
        at, offset = rows[:, :2], rows[:, 2:4]
        return Matches(
            moving=apply(to_moving @ from_level, at + offset),
            reference=apply(from_level, at),
            offset_px=offset,
            score=rows[:, 4],
            distinct=rows[:, 5],
            cell=rows[:, 6:8].astype(np.int64),
            surfaces=np.array(surfaces, np.float32).reshape(len(surfaces), side, side),
            level_px=self.level_px,
            asked=asked,
        )

    def _floor_of_moving(self, to_moving: Matrix) -> float:
        step = float(np.sqrt(abs(np.linalg.det(to_moving[:2, :2]))))
        level = int(np.clip(round(np.log2(max(step, 1e-6))), 0, len(self._moving.levels) - 1))
        return self._moving.floor(level)

    def _describe(self, part: Part) -> tuple[Channels, float, float] | None:
        """Return a part's channels and the top left corner of its block, px of the level."""
        if part not in self._known:
            values = self._reference.levels[self._level]
            rows, columns = values.shape[:2]
            size = self._block + 2 * RIM_PX
            centre = apply(self._to_level, np.array([[part.x, part.y]]))[0]
            left = int(np.clip(round(float(centre[0]) - size / 2), 0, max(0, columns - size)))
            top = int(np.clip(round(float(centre[1]) - size / 2), 0, max(0, rows - size)))
            crop = np.asarray(values[top : top + size, left : left + size], np.float32)
            if crop.shape != (size, size):
                self._known[part] = None
            else:
                whole = describe(crop, floor=self._reference.floor(self._level))
                inner = np.ascontiguousarray(whole[RIM_PX:-RIM_PX, RIM_PX:-RIM_PX])
                self._known[part] = (inner, float(left + RIM_PX), float(top + RIM_PX))
        return self._known[part]


def _peak(scores: NDArray[np.float32]) -> tuple[float, float, float, float]:
    """Return offset of the best place from the middle, its score, and how far it stands out.

    The best place is refined by a parabola through it and its neighbours along x and along y,
    unless it lies on the rim.
    """
    y, x = np.unravel_index(int(np.argmax(scores)), scores.shape)
    last_y, last_x = scores.shape[0] - 1, scores.shape[1] - 1
    best = float(scores[y, x])
    dx = dy = 0.0
    if 0 < x < last_x:
        dx = _vertex(float(scores[y, x - 1]), best, float(scores[y, x + 1]))
    if 0 < y < last_y:
        dy = _vertex(float(scores[y - 1, x]), best, float(scores[y + 1, x]))
    others = scores.copy()
    others[max(0, y - 3) : y + 4, max(0, x - 3) : x + 4] = -1
    return x - last_x / 2 + dx, y - last_y / 2 + dy, best, best - float(others.max())


def _vertex(before: float, at: float, after: float) -> float:
    curve = before - 2 * at + after
    return 0.0 if curve >= -1e-9 else float(np.clip(0.5 * (before - after) / curve, -0.5, 0.5))
