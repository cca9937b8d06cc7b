"""Put even patches in rows and columns: a grid that perspective has bent a little.

From a patch the neighbours are looked for one side length away; each found neighbour carries the
step on, so the grid may shrink and lean from one end to the other. At the end a homography through
all members tells where missing ones should lie, and takes in those that are there.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from imaging_requests.imaging.measure.regions import Patches

SIZE_RATIO = 1.7
REACH = (0.85, 1.9)
"""Distance of two neighbours' middles, in side lengths."""
OFF = 0.28
"""How far from its expected middle a neighbour may lie, in steps."""
LEAN = 0.30
"""How far the direction of a neighbour may be off the patch's own sides, in radians."""
LEAST_MEMBERS = 6
DIRECTIONS = ((1, 0), (0, 1), (-1, 0), (0, -1))

Cell = tuple[int, int]


@dataclass(frozen=True, slots=True)
class Lattice:
    """Patches by column and row, and the homography from (column, row) to px."""

    members: dict[Cell, int]
    to_px: NDArray[np.float64]
    residual_steps: float


def find_lattices(patches: Patches, *, least: int = LEAST_MEMBERS) -> Iterator[Lattice]:
    """Yield the grids among patches, those of many members first; no patch is used twice.

    Handedness is kept: rows run 90° clockwise from columns, as y does from x in a picture.
    """
    grown: list[dict[Cell, int]] = []
    taken: set[int] = set()
    for seed in np.argsort(-patches.sides.prod(axis=1)):
        if int(seed) in taken:
            continue
        members = _grow(patches, int(seed), taken)
        if len(members) >= least:
            taken.update(members.values())
            grown.append(members)
    for members in sorted(grown, key=len, reverse=True):
        lattice = _settle(patches, members)
        if lattice is not None and len(lattice.members) >= least:
            yield lattice


def project(matrix: NDArray[np.float64], points: NDArray[np.float64]) -> NDArray[np.float64]:
    """Apply a 3 × 3 matrix to points, shape (n, 2).

    >>> project(np.diag([2.0, 3.0, 1.0]), np.array([[1.0, 1.0]])).tolist()
    [[2.0, 3.0]]
    """
    ones = np.concatenate([points, np.ones((len(points), 1))], axis=1) @ matrix.T
    return np.asarray(ones[:, :2] / ones[:, 2:])


def _grow(patches: Patches, seed: int, taken: set[int]) -> dict[Cell, int]:
    """Members of the grid around a seed, by cell."""
    members = {(0, 0): seed}
    used = {seed}
    steps = _first_steps(patches, seed)
    if steps is None:
        return members
    waiting = deque([((0, 0), steps)])
    while waiting:
        cell, (across, down) = waiting.popleft()
        middle = patches.centres[members[cell]]
        for dx, dy in DIRECTIONS:
            neighbour = (cell[0] + dx, cell[1] + dy)
            if neighbour in members:
                continue
            step = dx * across + dy * down
            index = _nearest(patches, middle + step, OFF * float(np.hypot(*step)), seed)
            if index is None or index in used or index in taken:
                continue
            members[neighbour] = index
            used.add(index)
            moved = (patches.centres[index] - middle) * (dx + dy)
            new = (0.5 * across + 0.5 * moved, down) if dx else (across, 0.5 * down + 0.5 * moved)
            waiting.append((neighbour, new))
    return members


def _first_steps(
    patches: Patches, seed: int
) -> tuple[NDArray[np.float64], NDArray[np.float64]] | None:
    """Steps along columns and rows from a patch to its nearest neighbours."""
    offsets = patches.centres - patches.centres[seed]
    distance = np.hypot(offsets[:, 0], offsets[:, 1])
    side = float(patches.sides[seed].mean())
    near = (distance > REACH[0] * side) & (distance < REACH[1] * side) & _alike(patches, seed)
    candidates = np.flatnonzero(near)
    if not len(candidates):
        return None
    for index in candidates[np.argsort(distance[candidates])]:
        turn = np.arctan2(offsets[index, 1], offsets[index, 0]) - patches.angles[seed]
        quarter = round(float(turn / (np.pi / 2)))
        if abs(float(turn) - quarter * np.pi / 2) > LEAN:
            continue
        x, y = offsets[index]
        for _ in range(quarter % 4):
            x, y = y, -x
        across = np.array([x, y])
        return across, np.array([-across[1], across[0]])
    return None


def _alike(patches: Patches, seed: int) -> NDArray[np.bool_]:
    ratio = np.sqrt(patches.sides.prod(axis=1) / patches.sides[seed].prod())
    return np.asarray((ratio < SIZE_RATIO) & (ratio > 1 / SIZE_RATIO))


def _nearest(patches: Patches, point: NDArray[np.float64], within: float, seed: int) -> int | None:
    distance = np.hypot(*(patches.centres - point).T)
    index = int(np.argmin(np.where(_alike(patches, seed), distance, np.inf)))
    return index if distance[index] <= within else None


def _settle(patches: Patches, members: dict[Cell, int]) -> Lattice | None:
    """Fit a homography, drop what does not lie on it, take in what does."""
    for _ in range(2):
        matrix = _fit(patches, members)
        if matrix is None:
            return None
        cells = np.array(list(members), np.float64)
        off = np.hypot(*(project(matrix, cells) - patches.centres[list(members.values())]).T)
        step = _step_px(matrix, cells.mean(axis=0))
        kept = {
            cell: index
            for (cell, index), far in zip(members.items(), off, strict=True)
            if far <= OFF * step
        }
        members = _fill(patches, kept, matrix, step)
    matrix = _fit(patches, members)
    if matrix is None:
        return None
    cells = np.array(list(members), np.float64)
    off = np.hypot(*(project(matrix, cells) - patches.centres[list(members.values())]).T)
    step = _step_px(matrix, cells.mean(axis=0))
    return Lattice(members, matrix, float(np.sqrt((off**2).mean()) / step))


def _fit(patches: Patches, members: dict[Cell, int]) -> NDArray[np.float64] | None:
    cells = np.array(list(members), np.float64)
    if len(cells) < 4 or np.linalg.matrix_rank(cells - cells.mean(axis=0), tol=0.3) < 2:
        return None
    matrix, _ = cv2.findHomography(cells, patches.centres[list(members.values())], 0)
    return None if matrix is None else np.asarray(matrix, np.float64)


def _fill(
    patches: Patches, members: dict[Cell, int], matrix: NDArray[np.float64], step: float
) -> dict[Cell, int]:
    """Take in patches that lie where the grid or its next rim expects one."""
    if not members:
        return members
    full = dict(members)
    used = set(members.values())
    seed = next(iter(members.values()))
    cells = np.array(list(members))
    (left, top), (right, bottom) = cells.min(axis=0) - 1, cells.max(axis=0) + 1
    for row in range(int(top), int(bottom) + 1):
        for column in range(int(left), int(right) + 1):
            if (column, row) in full:
                continue
            point = project(matrix, np.array([[column, row]], np.float64))[0]
            index = _nearest(patches, point, 0.5 * OFF * step, seed)
            if index is not None and index not in used:
                full[column, row] = index
                used.add(index)
    return full


def _step_px(matrix: NDArray[np.float64], at: NDArray[np.float64]) -> float:
    around = project(matrix, at + np.array([[0, 0], [1, 0], [0, 1]]))
    return float(np.hypot(*(around[1:] - around[0]).T).mean())
