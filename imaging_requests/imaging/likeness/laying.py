"""Lay small pictures of tiles together to one small picture of the whole face.

What is enough to recognise a face by needs no joined picture: every tile is made so large as the
part that it shows, and neighbours meet in the middle of their overlap.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import ceil, floor

import cv2
import numpy as np

from imaging_requests.imaging.likeness.pattern import LONGER_PX, Grey, Region


def lay_together(tiles: Sequence[tuple[Grey, Region]], longest_px: int = LONGER_PX) -> Grey:
    """Return a small grey picture of a face, (rows, columns), 0 to 255.

    Args:
        tiles: Pattern of each tile and the part of the face that it shows, fractions 0 to 1. Where
            several overlap, the one whose middle is nearest counts.
        longest_px: Longer side of what is returned; without it that of a pattern.

    Raises:
        ValueError: There is no tile, or a part of the face is shown by none.

    >>> dark, light = np.full((96, 60), 40, np.uint8), np.full((96, 60), 200, np.uint8)
    >>> whole = lay_together([(dark, Region(0, 0, 0.6, 1)), (light, Region(0.4, 0, 1, 1))])
    >>> whole.shape, int(whole[48, 44]), int(whole[48, 51])
    ((92, 96), 40, 200)
    """
    if not tiles:
        raise ValueError("A face needs at least one tile.")
    wide = float(np.median([tile.shape[1] / (part.right - part.left) for tile, part in tiles]))
    high = float(np.median([tile.shape[0] / (part.bottom - part.top) for tile, part in tiles]))
    factor = longest_px / max(wide, high)
    rows, columns = max(1, round(high * factor)), max(1, round(wide * factor))
    whole = np.zeros((rows, columns), np.uint8)
    nearest = np.full((rows, columns), np.inf, np.float32)
    for tile, part in tiles:
        top, bottom = floor(part.top * rows), min(rows, ceil(part.bottom * rows))
        left, right = floor(part.left * columns), min(columns, ceil(part.right * columns))
        size = (right - left, bottom - top)
        laid = cv2.resize(tile, size, interpolation=cv2.INTER_AREA)
        away_y = np.abs(np.arange(size[1], dtype=np.float32) - (size[1] - 1) / 2) / size[1]
        away_x = np.abs(np.arange(size[0], dtype=np.float32) - (size[0] - 1) / 2) / size[0]
        away = np.maximum(away_y[:, None], away_x[None, :])
        seen = nearest[top:bottom, left:right]
        is_nearer = away < seen
        whole[top:bottom, left:right][is_nearer] = laid[is_nearer]
        seen[is_nearer] = away[is_nearer]
    if np.isinf(nearest).any():
        raise ValueError("A part of the face is shown by no tile.")
    return whole
