"""Read a test frame: density, keystone, level of the patch, shadow of the gauge.

What lies where on the target strip is known in mm. Four round marks are found near where they would
lie in the planned set-up; the map from mm to px that they give leads to everything else.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from .recall import Measured

LEAST_LIKENESS = 0.6
FINE = 4


@dataclass(frozen=True, slots=True, kw_only=True)
class Layout:
    """Where things lie around the face, mm.

    Attributes:
        marks: Middles of four round marks: white discs with a dark middle.
        mark_radii: Radius of the disc and of its middle.
        patch: Reference patch: x, y, width, height.
        pin: Foot of the gauge's pin for the light used; None without a gauge.
        away: Unit vector in which its shadow falls.
        pin_radius, bed_mm: Of the pin, and the longest shadow that the bed receives.
        middle: Where the picture's middle should be.
    """

    marks: tuple[tuple[float, float], ...]
    mark_radii: tuple[float, float]
    patch: tuple[float, float, float, float]
    middle: tuple[float, float]
    pin: tuple[float, float] | None = None
    away: tuple[float, float] = (1.0, 0.0)
    pin_radius: float = 1.5
    bed_mm: float = 120.0


@dataclass(frozen=True, slots=True, kw_only=True)
class FrameReading:
    """What was read, over what heights and widths, and why something is missing.

    ``height_mm`` and ``width_mm`` belong to the keystones of ``measured``.
    """

    measured: Measured
    height_mm: float
    width_mm: float
    reason: str


def read_test_frame(
    light: NDArray[Any], layout: Layout, *, mm_to_px: NDArray[np.float64], reach_mm: float
) -> FrameReading:
    """Read a test frame.

    Args:
        light: Linear light, (rows, columns).
        mm_to_px: 3 × 3, where the planned set-up would show the face, mm → px.
        reach_mm: How far a mark may lie from there.

    Returns:
        The reading; with a reason instead of numbers if the marks were not found.

    >>> layout = Layout(marks=((0, 0), (9, 0), (0, 9), (9, 9)), mark_radii=(4, 2),
    ...                 patch=(3, 3, 2, 2), middle=(5, 5))
    >>> read_test_frame(np.zeros((9, 9)), layout, mm_to_px=np.eye(3), reach_mm=2).reason
    'Mark 1 was not found within 2 mm of its place. Check that the strip is in the picture.'
    """
    grey = np.sqrt(np.maximum(np.asarray(light, np.float32), 0))
    found = []
    for number, mark in enumerate(layout.marks, start=1):
        at = _find_mark(grey, mark, layout, mm_to_px, reach_mm)
        if at is None:
            return FrameReading(
                measured=Measured(),
                height_mm=0.0,
                width_mm=0.0,
                reason=f"Mark {number} was not found within {reach_mm:g} mm of its place. Check "
                "that the strip is in the picture.",
            )
        found.append(at)
    marks = np.array(layout.marks, np.float64)
    middle = np.array(layout.middle)
    matrix, _ = cv2.findHomography(marks - middle, np.array(found), 0)
    if matrix is None:
        return FrameReading(
            measured=Measured(), height_mm=0.0, width_mm=0.0, reason="The marks lie in a line."
        )
    matrix = matrix / matrix[2, 2]
    height, width = np.ptp(marks[:, 1]), np.ptp(marks[:, 0])
    return FrameReading(
        measured=Measured(
            px_per_mm=_density(matrix),
            keystone=float(-matrix[2, 1] * height),
            side_keystone=float(-matrix[2, 0] * width),
            level=_level(light, layout, matrix),
            shadow_mm=_shadow_mm(light, layout, matrix),
        ),
        height_mm=float(height),
        width_mm=float(width),
        reason="",
    )


def _density(matrix: NDArray[np.float64]) -> float:
    """Px per mm in the middle, where x and y are 0: the root of the area's enlargement."""
    at = matrix[:2, 2]
    slopes = matrix[:2, :2] - np.outer(at, matrix[2, :2])
    return float(np.sqrt(abs(np.linalg.det(slopes))))


def _find_mark(
    grey: NDArray[np.float32],
    mark: tuple[float, float],
    layout: Layout,
    mm_to_px: NDArray[np.float64],
    reach_mm: float,
) -> tuple[float, float] | None:
    """Best place of a drawn mark in the reach around its expected place, to parts of a pixel."""
    at = mm_to_px @ [mark[0], mark[1], 1.0]
    x, y = at[:2] / at[2]
    density = float(np.sqrt(abs(np.linalg.det(mm_to_px[:2, :2]))))
    drawn = _drawn_mark(layout.mark_radii, density)
    half = drawn.shape[0] // 2
    reach = round(reach_mm * density) + half
    left, top = max(0, round(x) - reach), max(0, round(y) - reach)
    part = grey[top : round(y) + reach + 1, left : round(x) + reach + 1]
    if min(part.shape) < drawn.shape[0] + 2:
        return None
    scores = cv2.matchTemplate(np.ascontiguousarray(part), drawn, cv2.TM_CCOEFF_NORMED)
    _, best, _, place = cv2.minMaxLoc(scores)
    if best < LEAST_LIKENESS:
        return None
    dx, dy = _vertex(scores, place, 0), _vertex(scores, place, 1)
    return left + place[0] + half + dx, top + place[1] + half + dy


def _drawn_mark(radii: tuple[float, float], density: float) -> NDArray[np.float32]:
    """A white disc with a dark middle on a dark ground, each pixel by its share."""
    half = int(np.ceil(radii[0] * density * 1.25))
    side = (2 * half + 1) * FINE
    place = (np.arange(side) + 0.5) / FINE - half - 0.5
    far = np.hypot(place[:, None], place[None, :]) / density
    fine = ((far <= radii[0]) & (far > radii[1])).astype(np.float32)
    size = (2 * half + 1, 2 * half + 1)
    return np.asarray(cv2.resize(fine, size, interpolation=cv2.INTER_AREA), np.float32)


def _vertex(scores: NDArray[Any], place: Sequence[int], axis: int) -> float:
    """Top of the parabola through the best score and its neighbours along x (0) or y (1)."""
    x, y = place
    line = scores[y, :] if axis == 0 else scores[:, x]
    at = x if axis == 0 else y
    if not 0 < at < len(line) - 1:
        return 0.0
    before, peak, after = (float(value) for value in line[at - 1 : at + 2])
    bend = before - 2 * peak + after
    return 0.0 if bend >= 0 else 0.5 * (before - after) / bend


def _to_px(matrix: NDArray[np.float64], layout: Layout, points: NDArray[Any]) -> NDArray[Any]:
    moved = np.column_stack([points - np.array(layout.middle), np.ones(len(points))]) @ matrix.T
    return np.asarray(moved[:, :2] / moved[:, 2:])


def _level(light: NDArray[Any], layout: Layout, matrix: NDArray[np.float64]) -> float | None:
    """Mean light of the inner half of the reference patch."""
    x, y, width, height = layout.patch
    box = np.array(
        [[x + width / 4, y + height / 4], [x + 3 * width / 4, y + 3 * height / 4]], np.float64
    )
    (left, top), (right, bottom) = np.round(_to_px(matrix, layout, box)).astype(int)
    part = light[max(0, top) : bottom + 1, max(0, left) : right + 1]
    return float(part.mean()) if part.size else None


def _shadow_mm(light: NDArray[Any], layout: Layout, matrix: NDArray[np.float64]) -> float | None:
    """Length of the pin's shadow: where the bed grows bright again, half way between both.

    The bed beyond the shadow is as bright as the last tenth of it; a shadow that reaches the end of
    the bed cannot be measured.
    """
    if layout.pin is None:
        return None
    steps = np.arange(layout.pin_radius * 1.5, layout.bed_mm, 0.05)
    along = np.array(layout.pin) + steps[:, None] * np.array(layout.away)
    at = _to_px(matrix, layout, along).astype(np.float32)
    rows, columns = light.shape[:2]
    inside = (at >= 0).all(axis=1) & (at[:, 0] < columns - 1) & (at[:, 1] < rows - 1)
    if int(inside.sum()) < 100:
        return None
    at, steps = at[inside], steps[inside]
    line = cv2.remap(np.asarray(light, np.float32), at[:, 0], at[:, 1], cv2.INTER_LINEAR).ravel()
    bright, dark = float(np.median(line[-len(line) // 10 :])), float(np.min(line))
    if bright < 4 * dark:
        return None
    beyond = line > (bright + dark) / 2
    start = int(np.argmax(~beyond))
    ends = np.nonzero(beyond[start:])[0]
    return float(steps[start + ends[0]]) if len(ends) else None
