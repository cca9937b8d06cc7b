"""The outline of a face on the dark easel: corners, distance from the rim, keystone.

The easel's level is taken from the rim of the picture; the face is the large area that differs from
it. Along each side the outermost step of light is looked for on many lines across the side, and a
straight line is laid through them that stray points do not move.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from imaging_requests.imaging.measure.sampling import as_light, largest

LEAST_FACE_SHARE = 0.08
LEAST_HITS = 0.45
RIM_SHARE = 0.004
LINES = 120
MOST_OFF_PX = 1.5


@dataclass(frozen=True, slots=True)
class Outline:
    """Corners of a face: upper left, upper right, lower right, lower left, px, shape (4, 2).

    ``hits``: share of lines across the sides on which the edge was seen, the worst side's.
    """

    corners: NDArray[np.float64]
    hits: float

    def side_lengths(self) -> tuple[float, float, float, float]:
        """Lengths of the top, right, bottom and left side, px."""
        sides = np.hypot(*(np.roll(self.corners, -1, axis=0) - self.corners).T)
        return float(sides[0]), float(sides[1]), float(sides[2]), float(sides[3])

    def keystone_percent(self) -> float:
        """Largest difference in length of two opposite sides, in percent of their mean.

        >>> box = Outline(np.array([[0, 0], [100, 0], [101, 80], [0, 80.0]]), 1.0)
        >>> round(box.keystone_percent(), 2)
        1.0
        """
        top, right, bottom, left = self.side_lengths()
        pairs = ((top, bottom), (left, right))
        return max(200 * abs(a - b) / (a + b) for a, b in pairs)

    def px_per_mm(self, width_mm: float, height_mm: float) -> float:
        """Density from the known size of the face, mean of both directions."""
        top, right, bottom, left = self.side_lengths()
        return float(((top + bottom) / 2 / width_mm + (left + right) / 2 / height_mm) / 2)

    def margins_px(self, width_px: int, height_px: int) -> tuple[float, float, float, float]:
        """Least distance of the face from the left, top, right and bottom rim, px."""
        x, y = self.corners[:, 0], self.corners[:, 1]
        return (
            float(x.min() + 0.5),
            float(y.min() + 0.5),
            float(width_px - 0.5 - x.max()),
            float(height_px - 0.5 - y.max()),
        )

    def mask(self, shape: tuple[int, int]) -> NDArray[np.bool_]:
        """Where the face lies, (rows, columns)."""
        field = np.zeros(shape, np.uint8)
        cv2.fillConvexPoly(field, np.round(self.corners).astype(np.int32), 1)
        return field > 0


@dataclass(frozen=True, slots=True)
class NoOutline:
    """No outline was found, and why."""

    because: str


def find_outline(light: NDArray[Any], *, below: float | None = None) -> Outline | NoOutline:
    """Find the outline of one face with a margin of easel around it.

    Args:
        light: Linear light, (rows, columns) or (rows, columns, 3); not modified.
        below: Row below which lies no face (the target strip); none if None.

    Returns:
        The outline, or why there is none. Never raises because of the picture.

    >>> picture = np.zeros((120, 160), np.float32)
    >>> picture[20:100, 30:130] = 0.3
    >>> find_outline(picture).corners.round(1).tolist()
    [[29.5, 19.5], [129.5, 19.5], [129.5, 99.5], [29.5, 99.5]]
    """
    field = as_light(light)
    if field is None or min(field.shape[:2]) < 40:
        return NoOutline("The picture is too small or holds values that are no numbers.")
    toned = cv2.sqrt(np.maximum(field, 0))
    limit = field.shape[0] if below is None else int(np.clip(below, 40, field.shape[0]))
    toned = toned[:limit]
    rim = max(1, round(RIM_SHARE * max(toned.shape[:2])))
    border = np.concatenate(
        [
            toned[:rim].reshape(-1, *toned.shape[2:]),
            toned[:, :rim].reshape(-1, *toned.shape[2:]),
            toned[:, -rim:].reshape(-1, *toned.shape[2:]),
        ]
    )
    easel = np.median(border, axis=0)
    spread = float(np.median(np.abs(border - easel)))
    off = np.abs(toned - easel)
    off = largest(off)
    step = max(0.035, 6 * spread)
    face = (off > step).astype(np.uint8)
    if float((np.abs(border - easel) > step).mean()) > 0.25:
        return NoOutline("The face reaches the rim of the picture, or the ground is not even.")
    box = _largest(face)
    if box is None:
        return NoOutline("There is no large area that stands out from the ground.")
    return _refine(off, box, step)


def _largest(face: NDArray[np.uint8]) -> NDArray[np.float64] | None:
    """Corners of the smallest turned rectangle around the largest area, in order."""
    reach = max(3, min(face.shape) // 250)
    closed = cv2.morphologyEx(face, cv2.MORPH_CLOSE, np.ones((reach, reach), np.uint8))
    opened = cv2.morphologyEx(closed, cv2.MORPH_OPEN, np.ones((reach, reach), np.uint8))
    count, labels, stats, _ = cv2.connectedComponentsWithStats(opened, connectivity=4)
    if count < 2:
        return None
    label = 1 + int(np.argmax(stats[1:, cv2.CC_STAT_AREA]))
    if stats[label, cv2.CC_STAT_WIDTH] * stats[label, cv2.CC_STAT_HEIGHT] < (
        LEAST_FACE_SHARE * face.size
    ):
        return None
    outlines, _ = cv2.findContours(
        (labels == label).astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_SIMPLE
    )
    points = cv2.boxPoints(cv2.minAreaRect(max(outlines, key=cv2.contourArea)))
    return _ordered(np.asarray(points, np.float64))


def _ordered(points: NDArray[np.float64]) -> NDArray[np.float64]:
    """Upper left, upper right, lower right, lower left."""
    middle = points.mean(axis=0)
    angles = np.arctan2(points[:, 1] - middle[1], points[:, 0] - middle[0])
    around = points[np.argsort(angles)]
    first = int(np.argmin(around.sum(axis=1)))
    return np.roll(around, -first, axis=0)


def _refine(off: NDArray[Any], box: NDArray[np.float64], step: float) -> Outline | NoOutline:
    """Straight lines through the outermost steps of light along each side, and their corners."""
    size = float(min(np.hypot(*(box[1] - box[0])), np.hypot(*(box[2] - box[1]))))
    reach = max(5.0, 0.012 * size)
    lines, hits = [], []
    middle = box.mean(axis=0)
    for side in range(4):
        start, end = box[side], box[(side + 1) % 4]
        along = (end - start) / max(float(np.hypot(*(end - start))), 1e-9)
        inward = np.array([-along[1], along[0]])
        if float(inward @ (middle - start)) < 0:
            inward = -inward
        points = _edge_points(off, start, end, inward, reach, step)
        share = len(points) / LINES
        if share < LEAST_HITS:
            return NoOutline("One side of the face does not stand out from the ground.")
        line, agreeing = _straight(points)
        if agreeing * share < LEAST_HITS:
            return NoOutline("One side of the face is not straight or hardly stands out.")
        lines.append(line)
        hits.append(agreeing * share)
    corners = []
    for side in range(4):
        corner = _meet(lines[side - 1], lines[side])
        if corner is None:
            return NoOutline("The sides of the face do not meet.")
        corners.append(corner)
    return Outline(np.array(corners), min(hits))


def _edge_points(
    off: NDArray[Any],
    start: NDArray[np.float64],
    end: NDArray[np.float64],
    inward: NDArray[np.float64],
    reach: float,
    step: float,
) -> NDArray[np.float64]:
    """Where the light first rises above the ground coming from outside, half way up the step."""
    shares = np.linspace(0.04, 0.96, LINES)
    feet = start + shares[:, None] * (end - start)
    depth = np.arange(-reach, reach + 0.25, 0.5)
    x = (feet[:, :1] + depth * inward[0]).astype(np.float32)
    y = (feet[:, 1:] + depth * inward[1]).astype(np.float32)
    profiles = cv2.remap(
        off.astype(np.float32), x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
    )
    found = []
    for number, profile in enumerate(profiles):
        above = np.flatnonzero(profile > step)
        if not len(above) or above[0] < 2:
            continue
        first = int(above[0])
        top = float(profile[first : first + 5].max())
        outside = np.sort(profile[:first])
        ground = float(outside[(first - 1) // 2] + outside[first // 2]) / 2
        half = (ground + top) / 2
        at = first - 1
        while at < len(profile) - 1 and profile[at] < half:
            at += 1
        low, high = float(profile[at - 1]), float(profile[at])
        share = (half - low) / (high - low) if high > low else 0.5
        found.append(feet[number] + inward * (depth[at - 1] + 0.5 * share))
    return np.array(found).reshape(-1, 2)


def _straight(
    points: NDArray[np.float64],
) -> tuple[tuple[NDArray[np.float64], NDArray[np.float64]], float]:
    """Point and direction of a line, and the share of points that lie on it."""
    kept = np.ones(len(points), bool)
    point, direction = points.mean(axis=0), np.array([1.0, 0.0])
    best, most = None, -1
    for i in range(0, len(points) // 2, 3):
        base, other = points[i], points[len(points) // 2 + i]
        run = other - base
        normal = np.array([-run[1], run[0]]) / max(float(np.hypot(*run)), 1e-9)
        near = np.abs((points - base) @ normal) <= MOST_OFF_PX
        if int(near.sum()) > most:
            most, best = int(near.sum()), near
    if best is not None:
        kept = best
    for _ in range(3):
        point = points[kept].mean(axis=0)
        _, _, axes = np.linalg.svd(points[kept] - point, full_matrices=False)
        direction = axes[0]
        normal = np.array([-direction[1], direction[0]])
        kept = np.abs((points - point) @ normal) <= MOST_OFF_PX
        if kept.sum() < 8:
            break
    return (point, direction), float(kept.mean())


def _meet(
    one: tuple[NDArray[np.float64], NDArray[np.float64]],
    other: tuple[NDArray[np.float64], NDArray[np.float64]],
) -> NDArray[np.float64] | None:
    matrix = np.column_stack([one[1], -other[1]])
    if abs(float(np.linalg.det(matrix))) < 0.2:
        return None
    share = np.linalg.solve(matrix, other[0] - one[0])
    return np.asarray(one[0] + share[0] * one[1])


def silhouette_difference_mm(
    front: NDArray[np.float64], back: NDArray[np.float64]
) -> tuple[float, float]:
    """How well the silhouette of a back fits that of the front, mirrored and as it is.

    Both outlines are turned and shifted on each other (no scaling); the answer is the largest
    distance of a corner in mm for the mirrored front, as a back shows it, and for the front as it
    is, as a mirrored file of the back would show it.

    Args:
        front, back: Corners in mm, upper left, upper right, lower right, lower left, shape (4, 2).

    >>> front = np.array([[0, 0], [100, 0], [100, 80], [3, 80.0]])
    >>> back = np.array([[0, 0], [100, 0], [97, 80], [0, 80.0]])
    >>> [round(value, 1) for value in silhouette_difference_mm(front, back)]
    [0.0, 1.2]
    """
    mirrored = (front * (-1, 1))[[1, 0, 3, 2]]
    return _misfit(mirrored, back), _misfit(front, back)


def _misfit(one: NDArray[np.float64], other: NDArray[np.float64]) -> float:
    a, b = one - one.mean(axis=0), other - other.mean(axis=0)
    u, _, v = np.linalg.svd(a.T @ b)
    sign = np.sign(np.linalg.det(u @ v))
    turn = u @ np.diag([1.0, sign]) @ v
    return float(np.hypot(*(a @ turn - b).T).max())
