"""Lay a picture on its face: from px to millimetres of the face by the outline."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .matrices import Matrix, Model, Points, fit


@dataclass(frozen=True, kw_only=True, eq=False)
class FaceMap:
    """A map from px to face mm, the error to be expected, and what is odd about it."""

    px_to_face_mm: Matrix
    residual_mm: float
    proportion_percent: float


def map_outline(
    corners_px: Points, *, width_mm: float, height_mm: float, error_px: float
) -> FaceMap:
    """Lay the four corners of an outline on those of the face.

    Face mm: origin at the upper left corner as the viewer of the face sees it, x to the right, y
    down. Four corners determine a homography exactly, so its error is that of the corners.

    Args:
        corners_px: Upper left, upper right, lower right, lower left, (4, 2) px.
        error_px: How far a corner may lie off.

    Returns:
        The map; `proportion_percent` says by how much the outline is too wide (or, negative, too
        high) for the face, which a frame left on or another object would explain.

    Raises:
        ValueError: A size is not positive, or the corners lie on a line.

    >>> box = np.array([[10.0, 20], [110, 20], [110, 70], [10, 70]])
    >>> found = map_outline(box, width_mm=200, height_mm=100, error_px=1.5)
    >>> (found.px_to_face_mm.round(6) + 0.0).tolist(), found.residual_mm
    ([[2.0, 0.0, -20.0], [0.0, 2.0, -40.0], [0.0, 0.0, 1.0]], 3.0)
    """
    if width_mm <= 0 or height_mm <= 0:
        raise ValueError("The face needs a positive width and height in mm.")
    face = np.array([[0, 0], [width_mm, 0], [width_mm, height_mm], [0, height_mm]], np.float64)
    sides = np.linalg.norm(np.roll(corners_px, -1, axis=0) - corners_px, axis=1)
    across, down = (sides[0] + sides[2]) / 2, (sides[1] + sides[3]) / 2
    density = float((across / width_mm + down / height_mm) / 2)
    return FaceMap(
        px_to_face_mm=fit(Model.HOMOGRAPHY, corners_px, face),
        residual_mm=error_px / density,
        proportion_percent=float(100 * ((across / down) / (width_mm / height_mm) - 1)),
    )


def mm_per_px(px_to_face_mm: Matrix, width_px: int, height_px: int) -> float:
    """Return how many mm of the face one px stands for in the middle of a picture.

    >>> mm_per_px(np.diag([0.25, 0.25, 1.0]), 400, 300)
    0.25
    """
    x, y = width_px / 2, height_px / 2
    third = px_to_face_mm[2, 0] * x + px_to_face_mm[2, 1] * y + px_to_face_mm[2, 2]
    return float(np.sqrt(abs(np.linalg.det(px_to_face_mm) / third**3)))
