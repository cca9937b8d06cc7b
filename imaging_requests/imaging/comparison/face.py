"""Where the face lies in a pair of pictures: by its map, or by its outline; the ground is no part.

A share "of the face" may be told only of a face whose place is known. The outline that the pictures
show is believed if it has the recorded size of the face, or, where no size is recorded, if both
pictures show the same one.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from imaging_requests.imaging.alignment.matrices import apply, inverse
from imaging_requests.imaging.measure.outline import NoOutline, find_outline

from .laying import Matrix, polygon_mask
from .limits import MapLimits
from .reading import Light

Mask = NDArray[np.bool_]
Corners = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Face:
    """A face on the raster of the earlier picture: all of it, and what lies within its rim."""

    whole: Mask
    inner: Mask


def find_corners(
    lights: tuple[Light, Light],
    *,
    matrix: Matrix,
    px_per_mm: float,
    size_mm: tuple[float, float] | None,
    limits: MapLimits,
) -> Corners | str:
    """Find the corners of the face by the outline that the pictures themselves show.

    Args:
        lights: The earlier and the later picture, reduced.
        matrix: px of the later file → px of the earlier file.
        px_per_mm: Density of the earlier file.
        size_mm: Recorded width and height of the face; None if they are not known.

    Returns:
        Corners in px of the earlier file, (4, 2); or why they are not known, as part of a sentence.
    """
    to_file = (lights[0].to_file(), matrix @ lights[1].to_file())
    seen = [find_outline(each.values) for each in lights]
    outlines = [
        apply(back, found.corners)
        for found, back in zip(seen, to_file, strict=True)
        if not isinstance(found, NoOutline)
    ]
    first = seen[0]
    if not outlines:
        assert isinstance(first, NoOutline), "no outline was found in either picture"
        return f"no outline of it was found. {first.because}"
    if size_mm is None:
        margin_px = limits.outline_margin_mm * px_per_mm
        agree = len(outlines) == 2 and _apart(*outlines) <= margin_px
        return outlines[0] if agree else "its size is not recorded and one outline alone may err"
    for corners in outlines:
        if _off_percent(corners / px_per_mm, size_mm) <= limits.outline_off_percent:
            return corners
    width, height = _size(outlines[0] / px_per_mm)
    return (
        f"the outline that was found measures {width:.0f} × {height:.0f} mm and not the recorded "
        f"{size_mm[0]:.0f} × {size_mm[1]:.0f} mm"
    )


def face_of(corners_px: Corners, light: Light, *, px_per_mm: float, limits: MapLimits) -> Face:
    """Lay the corners of a face, px of the file, on the raster of its reduced light."""
    at = apply(inverse(light.to_file()), corners_px)
    shape = (light.values.shape[0], light.values.shape[1])
    margin = limits.outline_margin_mm * px_per_mm / light.step
    return Face(
        whole=polygon_mask(at, shape, margin_px=0), inner=polygon_mask(at, shape, margin_px=margin)
    )


def _size(corners_mm: Corners) -> tuple[float, float]:
    """Mean width and height of an outline.

    >>> _size(np.array([[0, 0], [200, 0], [200, 100], [0, 100.0]]))
    (200.0, 100.0)
    """
    sides = np.linalg.norm(np.roll(corners_mm, -1, axis=0) - corners_mm, axis=1)
    return float((sides[0] + sides[2]) / 2), float((sides[1] + sides[3]) / 2)


def _off_percent(corners_mm: Corners, size_mm: tuple[float, float]) -> float:
    return max(
        100 * abs(found / known - 1)
        for found, known in zip(_size(corners_mm), size_mm, strict=True)
    )


def _apart(one: Corners, other: Corners) -> float:
    return float(np.linalg.norm(one - other, axis=1).max())
