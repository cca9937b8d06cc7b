"""Is a back really a back? Its silhouette must be the mirrored one of the front.

Both silhouettes are given in mm, so that only turn and shift are free, never size. The distance of
two outlines is the root mean square of the distances of points on one to the nearest on the
other, in both directions, after the best turn and shift (iterated closest points, Besl and McKay
1992; from memory). A plain rectangle is its own mirror image and tells nothing.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from .limits import Limits

Outline = NDArray[np.float64]

POINTS = 360
ROUNDS = 60


class Side(StrEnum):
    """What the silhouette says about a picture that is filed as a back."""

    BACK = "back"
    MIRRORED = "mirrored"
    OTHER = "other"
    CANNOT_TELL = "cannot_tell"


@dataclass(frozen=True, slots=True, kw_only=True)
class SilhouetteAnswer:
    """What was found; distances in mm."""

    side: Side
    as_back_mm: float
    as_front_mm: float
    verdict: str
    reason: str


def even_points(outline: Outline, count: int = POINTS) -> Outline:
    """Return points at equal steps along a closed outline, (count, 2).

    >>> square = np.array([[0.0, 0.0], [1.0, 0.0], [1.0, 1.0], [0.0, 1.0]])
    >>> even_points(square, 4).tolist()
    [[0.0, 0.0], [1.0, 0.0], [1.0, 1.0], [0.0, 1.0]]
    """
    closed = np.vstack((outline, outline[:1]))
    steps = np.linalg.norm(np.diff(closed, axis=0), axis=1)
    along = np.concatenate(([0.0], np.cumsum(steps)))
    at = np.linspace(0, along[-1], count, endpoint=False)
    return np.stack((np.interp(at, along, closed[:, 0]), np.interp(at, along, closed[:, 1])), 1)


def distance_mm(one: Outline, other: Outline) -> float:
    """Root mean square distance of two closed outlines after the best turn and shift, mm."""
    fixed, moving = even_points(one), even_points(other)
    fixed, moving = fixed - fixed.mean(axis=0), moving - moving.mean(axis=0)
    for _ in range(ROUNDS):
        target = _feet(moving, fixed)
        middle, aim = moving.mean(axis=0), target.mean(axis=0)
        u, _, v = np.linalg.svd((moving - middle).T @ (target - aim))
        turn = u @ np.diag([1.0, float(np.sign(np.linalg.det(u @ v)))]) @ v
        moved = (moving - middle) @ turn + aim
        if np.allclose(moved, moving, atol=1e-6):
            break
        moving = moved
    forth = _gaps(moving, fixed)
    back = _gaps(fixed, moving)
    return float(np.sqrt(np.mean(np.concatenate((forth, back)) ** 2)))


def _feet(points: Outline, to: Outline) -> NDArray[np.float64]:
    """The nearest place of a closed outline to each point, mm."""
    start, end = to, np.roll(to, -1, axis=0)
    way = end - start
    length = np.maximum(np.sum(way * way, axis=1), 1e-12)
    share = np.clip(np.sum((points[:, None] - start[None]) * way[None], axis=2) / length, 0, 1)
    feet = start[None] + share[..., None] * way[None]
    nearest = np.argmin(np.linalg.norm(points[:, None] - feet, axis=2), axis=1)
    return np.asarray(feet[np.arange(len(points)), nearest], np.float64)


def _gaps(points: Outline, to: Outline) -> NDArray[np.float64]:
    """Distance of each point to the nearest stretch of a closed outline, mm."""
    return np.asarray(np.linalg.norm(points - _feet(points, to), axis=1), np.float64)


def judge_back(front_mm: Outline, back_mm: Outline, *, limits: Limits) -> SilhouetteAnswer:
    """Compare the silhouette of a picture filed as a back with that of the front.

    Args:
        front_mm, back_mm: Closed outlines, (n, 2) with n at least 3, mm, each as its own viewer
            sees it.

    >>> wedge = np.array([[0.0, 0.0], [300.0, 0.0], [280.0, 200.0], [0.0, 210.0]])
    >>> mirrored = wedge * [-1, 1] + [300, 0]
    >>> judge_back(wedge, mirrored, limits=Limits()).side.value
    'back'
    >>> judge_back(wedge, wedge, limits=Limits()).side.value
    'mirrored'
    """
    for outline in (front_mm, back_mm):
        if outline.ndim != 2 or len(outline) < 3 or not np.all(np.isfinite(outline)):
            raise ValueError("An outline needs at least three points in mm.")
    as_back = distance_mm(front_mm * [-1.0, 1.0], back_mm)
    as_front = distance_mm(front_mm, back_mm)
    if min(as_back, as_front) > limits.silhouette_warn_mm:
        side, verdict = Side.OTHER, "fail"
        reason = (
            f"The silhouette fits the front's neither mirrored ({as_back:.1f} mm off) nor as it "
            f"is ({as_front:.1f} mm off): another object, a cut outline, or a frame left on."
        )
    elif abs(as_back - as_front) < limits.silhouette_clear_mm:
        side, verdict = Side.CANNOT_TELL, "cannot_tell"
        reason = "The outline looks the same from both sides, so it does not tell front from back."
    elif as_front < as_back:
        side, verdict = Side.MIRRORED, "fail"
        reason = (
            "This back looks mirrored: its outline matches the front only when it is not flipped. "
            "Nothing is changed in your file."
        )
    else:
        side = Side.BACK
        verdict = "pass" if as_back <= limits.silhouette_pass_mm else "warn"
        reason = "" if verdict == "pass" else f"The silhouettes differ by {as_back:.1f} mm."
    return SilhouetteAnswer(
        side=side, as_back_mm=as_back, as_front_mm=as_front, verdict=verdict, reason=reason
    )
