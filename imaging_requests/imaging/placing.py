"""Where a picture lies on the face of an object, in millimetres.

Face coordinates: origin at the top left corner of the unframed face as its viewer sees it, x to
the right, y down, in mm. The back of a flat object is the front turned over, so ``x_B = W − x_F``
and ``y_B = y_F``. A placement is a 3 × 3 matrix that takes a pixel (x, y, 1) to face mm (divide by
the third component); (0, 0) is the centre of the top left pixel.

A placement that was measured may hold a slight keystone. A viewer that can only shift, turn and
enlarge shows the similarity that fits best to the part in view; how far it is off there, in mm, is
part of the answer.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Placement = tuple[float, float, float, float, float, float, float, float, float]
Point = tuple[float, float]
#: Points along each side of the grid on which a similarity is fitted.
FIT_POINTS = 5


@dataclass(frozen=True, slots=True, kw_only=True)
class Box:
    """A rectangle; mm on a face or px in a picture."""

    x: float
    y: float
    width: float
    height: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Similarity:
    """Shift, turn and enlargement: ``mm = scale · R(turn) · px + (x_mm, y_mm)``.

    ``scale`` is in mm per px, ``turn_deg`` is clockwise as seen, ``worst_mm`` how far the exact
    placement lies away at the worst point of the part it was fitted to.
    """

    scale: float
    turn_deg: float
    x_mm: float
    y_mm: float
    worst_mm: float

    def at(self, x_px: float, y_px: float) -> Point:
        """Return the face mm of a pixel."""
        turn = math.radians(self.turn_deg)
        cos, sin = self.scale * math.cos(turn), self.scale * math.sin(turn)
        return cos * x_px - sin * y_px + self.x_mm, sin * x_px + cos * y_px + self.y_mm


def mirror_x(x_mm: float, width_mm: float) -> float:
    """Take x of the front to x of the back, or back again: ``W − x``.

    >>> mirror_x(30.0, 740.0), mirror_x(mirror_x(30.0, 740.0), 740.0)
    (710.0, 30.0)
    """
    return width_mm - x_mm


def to_face(placement: Sequence[float], x_px: float, y_px: float) -> Point:
    """Take a pixel to face mm.

    ``placement``: nine numbers, row by row. Raises ``ValueError`` for a pixel beyond the horizon
    of the placement, where the third component is not positive.

    >>> to_face((0.5, 0, -20, 0, 0.5, -20, 0, 0, 1), 100, 60)
    (30.0, 10.0)
    """
    a, b, c, d, e, f, g, h, i = placement
    w = g * x_px + h * y_px + i
    if w <= 0:
        raise ValueError("This pixel lies beyond the horizon of the placement.")
    return (a * x_px + b * y_px + c) / w, (d * x_px + e * y_px + f) / w


def to_pixel(placement: Sequence[float], x_mm: float, y_mm: float) -> Point:
    """Take face mm to a pixel; the inverse of ``to_face``.

    >>> to_pixel((0.5, 0, -20, 0, 0.5, -20, 0, 0, 1), 30.0, 10.0)
    (100.0, 60.0)
    """
    back = np.linalg.inv(np.asarray(placement, np.float64).reshape(3, 3))
    return to_face([float(each) for each in (back / back[2, 2]).ravel()], x_mm, y_mm)


def by_plan(
    *,
    face_mm: tuple[float, float],
    margin_mm: float,
    strip_mm: float,
    size_px: tuple[int, int],
    px_per_mm: float,
    tile: tuple[int, int] = (0, 0),
    tiles: tuple[int, int] = (1, 1),
) -> Placement:
    """Place one frame as the plan of its capture lays it out; nothing is measured.

    The plan covers the face, ``margin_mm`` all round and ``strip_mm`` of targets below. One tile
    lies in the middle; several begin and end with the covered area, evenly spread.

    ``face_mm``: width, height of the face. ``size_px``: width, height of the frame. ``tile``:
    (across, down) from 0. ``tiles``: how many across and down. Raises ``ValueError`` if a size or
    the density is not above zero.

    >>> by_plan(face_mm=(740, 920), margin_mm=20, strip_mm=60, size_px=(1560, 2040), px_per_mm=2)
    (0.5, 0.0, -19.75, 0.0, 0.5, -19.75, 0.0, 0.0, 1.0)
    """
    if px_per_mm <= 0 or min(*face_mm, *size_px, *tiles) <= 0:
        raise ValueError("Sizes and density must be above zero.")
    covered = (face_mm[0] + 2 * margin_mm, face_mm[1] + 2 * margin_mm + strip_mm)
    step = 1.0 / px_per_mm
    starts = []
    for length, pixels, index, count in zip(covered, size_px, tile, tiles, strict=True):
        room = length - pixels * step
        start = room / 2 if count == 1 else room * index / (count - 1)
        starts.append(start - margin_mm + step / 2)
    return (step, 0.0, starts[0], 0.0, step, starts[1], 0.0, 0.0, 1.0)


def for_edges(placement: Sequence[float]) -> Placement:
    """Return the placement for coordinates that begin at the corner of the first pixel.

    Viewers count from the outer corner of the top left pixel, half a pixel before its centre.

    >>> for_edges((0.5, 0, -19.75, 0, 0.5, -19.75, 0, 0, 1))[2]
    -20.0
    """
    a, b, c, d, e, f, g, h, i = (float(each) for each in placement)
    return (a, b, c - (a + b) / 2, d, e, f - (d + e) / 2, g, h, i - (g + h) / 2)


def nearest_similarity(placement: Sequence[float], part: Box) -> Similarity:
    """Fit shift, turn and enlargement to a placement over a part of the picture.

    Least squares over a grid of points (Umeyama 1991 without reflection, formula from memory).
    ``part``: in px of the picture. A picture that is seen mirrored is not fitted: its residual is
    large.

    >>> fit = nearest_similarity((0.5, 0, 3, 0, 0.5, 4, 0, 0, 1), Box(x=0, y=0, width=9, height=9))
    >>> round(fit.scale, 6), round(fit.turn_deg, 6), round(fit.worst_mm, 6)
    (0.5, 0.0, 0.0)
    """
    pixels = np.array(list(_grid(part)), np.float64)
    face = np.array([to_face(placement, x, y) for x, y in pixels], np.float64)
    around_px, around_mm = pixels - pixels.mean(axis=0), face - face.mean(axis=0)
    spread = float((around_px**2).sum()) or 1.0
    along = float((around_px * around_mm).sum()) / spread
    across = float((_turned(around_px) * around_mm).sum()) / spread
    shift = face.mean(axis=0) - _moved(pixels.mean(axis=0)[None], along, across)[0]
    off = face - (_moved(pixels, along, across) + shift)
    return Similarity(
        scale=math.hypot(along, across),
        turn_deg=math.degrees(math.atan2(across, along)),
        x_mm=float(shift[0]),
        y_mm=float(shift[1]),
        worst_mm=float(np.hypot(off[:, 0], off[:, 1]).max()),
    )


def _grid(part: Box) -> Iterator[Point]:
    for row in range(FIT_POINTS):
        for column in range(FIT_POINTS):
            yield (
                part.x + part.width * column / (FIT_POINTS - 1),
                part.y + part.height * row / (FIT_POINTS - 1),
            )


def _turned(points: NDArray[np.float64]) -> NDArray[np.float64]:
    return np.stack([-points[:, 1], points[:, 0]], axis=1)


def _moved(points: NDArray[np.float64], along: float, across: float) -> NDArray[np.float64]:
    return along * points + across * _turned(points)
