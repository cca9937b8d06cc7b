"""The canvas of a joined picture: its size, where tiles lie on it, and who shows at each place.

At every place the tile shows whose own edge is farthest away; where two are nearly as far, they are
blended over a narrow feather. So seams run through the middle of overlaps, contours are never shown
doubled over more than the feather, and blank borders show only where nothing else does.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from imaging_requests.imaging.joining.structure_map import Box
from imaging_requests.imaging.joining.words import Grey, Matrix

SNAP_PX = 0.02
"""A shift this near to whole pixels is taken as whole: then levels are copied, not resampled."""
BLANK_PX = 1e6
FEATHER_SHARE = 0.8


@dataclass(frozen=True, slots=True)
class Laid:
    """A tile on the canvas.

    ``matrix``: px of the tile as it should lie → canvas px. ``size``: width, height. ``box``: the
    part inside blank borders. ``area``: canvas rows and columns it can reach, clipped. ``back``:
    the matrix from canvas px to px of the tile.
    """

    index: int
    matrix: Matrix
    size: tuple[int, int]
    box: Box
    area: Box
    is_shift: bool
    back: Matrix

    def on_tile(self, x: Grey, y: Grey) -> tuple[Grey, Grey]:
        """Return canvas places in px of the tile; what depends on x or y alone keeps its shape."""
        back = self.back
        if self.is_shift:
            return x + back[0, 2], y + back[1, 2]
        return (
            back[0, 0] * x + back[0, 1] * y + back[0, 2],
            back[1, 0] * x + back[1, 1] * y + back[1, 2],
        )

    def depth(self, x: Grey, y: Grey) -> Grey:
        """Return how far inside its own edge the tile is at canvas places, in tile px.

        ``x``, ``y``: shapes that go together, such as (1, columns) and (rows, 1). Below −1e6 beyond
        the tile (nothing there), between −1e6 and 0 in its blank border.
        """
        u, v = self.on_tile(x, y)
        box = self.box
        inside = np.minimum(
            np.minimum(u - box.left, box.right - u), np.minimum(v - box.top, box.bottom - v)
        )
        width, height = self.size
        on_tile = (u > -0.5) & (u < width - 0.5) & (v > -0.5) & (v < height - 0.5)
        depth: Grey = np.where(inside >= 0, inside + 1, inside - BLANK_PX / 2)
        return np.where(on_tile, depth, -2 * BLANK_PX)


@dataclass(frozen=True, slots=True)
class Canvas:
    """The size of the joined picture in px, its tiles and the width of the feather."""

    width_px: int
    height_px: int
    laid: tuple[Laid, ...]
    feather_px: float


def lay_out(
    matrices: Mapping[int, Matrix],
    sizes: Mapping[int, tuple[int, int]],
    boxes: Mapping[int, Box],
    *,
    scale: float = 1.0,
    feather_px: float,
    least_overlap_px: float,
) -> Canvas:
    """Put tiles on a canvas that just holds them.

    ``scale``: px of the canvas per px of the common plane. Shifts within 0.02 px of whole ones are
    made whole. ``least_overlap_px``: the narrowest overlap; the feather stays inside it.
    """
    scaled = {index: np.diag([scale, scale, 1.0]) @ matrix for index, matrix in matrices.items()}
    corners = {index: _corners(matrix, sizes[index]) for index, matrix in scaled.items()}
    low = np.min([points.min(0) for points in corners.values()], axis=0)
    # whole pixels, so that a tile that lay on whole pixels still does
    first = scaled[min(scaled)]
    anchor = first[:2, 2] - np.round(first[:2, 2]) if scale == 1 else np.zeros(2)
    origin = np.floor(low - anchor + 1e-6) + anchor
    moved = {index: _snapped(matrix, origin) for index, matrix in scaled.items()}
    high = np.max([_corners(matrix, sizes[i]).max(0) for i, matrix in moved.items()], axis=0)
    width, height = (int(np.ceil(value - 1e-6)) + 1 for value in high)
    laid = []
    for index, matrix in sorted(moved.items()):
        points = _corners(matrix, sizes[index])
        left, top = np.ceil(points.min(0) - 0.5).astype(int)
        right, bottom = np.floor(points.max(0) + 0.5).astype(int)
        area = Box(
            max(0, int(left)),
            max(0, int(top)),
            min(width - 1, int(right)),
            min(height - 1, int(bottom)),
        )
        is_shift = bool(np.allclose(matrix[:2, :2], np.eye(2), atol=1e-12))
        laid.append(
            Laid(index, matrix, sizes[index], boxes[index], area, is_shift, np.linalg.inv(matrix))
        )
    feather = float(max(1.0, min(feather_px, FEATHER_SHARE * least_overlap_px)))
    return Canvas(width, height, tuple(laid), feather)


def _corners(matrix: Matrix, size: tuple[int, int]) -> Matrix:
    width, height = size
    points = np.array([[x, y, 1.0] for x in (0, width - 1) for y in (0, height - 1)])
    corners: Matrix = (points @ matrix.T)[:, :2]
    return corners


def _snapped(matrix: Matrix, origin: Matrix) -> Matrix:
    moved = matrix.copy()
    moved[:2, 2] -= origin
    if np.allclose(moved[:2, :2], np.eye(2), atol=1e-12):
        whole = np.round(moved[:2, 2])
        near = np.abs(moved[:2, 2] - whole) <= SNAP_PX
        moved[:2, 2] = np.where(near, whole, moved[:2, 2])
    return moved
