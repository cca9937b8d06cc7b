"""Single pixels that stand out: hot pixels of long exposures, dead pixels of an infrared sensor.

A pixel is a speck if it lies beyond all eight neighbours by more than twice the range that these
have among themselves. Texture, edges and noise have neighbours that go along; a defect has none.
"""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from imaging_requests.imaging.measure.sampling import as_light

RING = np.array([[1, 1, 1], [1, 0, 1], [1, 1, 1]], np.uint8)
BEYOND = 2.0


def count_specks(
    values: NDArray[Any], *, least: float, is_bright_only: bool = False
) -> float | None:
    """Share of pixels, 0 to 1, that are specks in any channel.

    Args:
        values: Levels as a share of full scale, (rows, columns) or (rows, columns, channels), full
            resolution; not modified.
        least: Smallest distance beyond the neighbours that counts, as a share of full scale.
        is_bright_only: Look for hot pixels only.

    Returns:
        The share, or None for less than 5 × 5 px.

    >>> still = np.random.default_rng(1).normal(0.3, 0.004, (200, 200)).astype(np.float32)
    >>> still[50, 50], still[120, 30] = 0.9, 0.0
    >>> count_specks(still, least=0.05), count_specks(still, least=0.05, is_bright_only=True)
    (5e-05, 2.5e-05)
    """
    field = as_light(values)
    if field is None or min(field.shape[:2]) < 5:
        return None
    found = np.zeros(field.shape[:2], bool)
    for plane in [field] if field.ndim == 2 else cv2.split(field):
        high, low = cv2.dilate(plane, RING), cv2.erode(plane, RING)
        margin = np.maximum(np.float32(BEYOND) * (high - low), np.float32(least))
        found |= plane > high + margin
        if not is_bright_only:
            found |= plane < low - margin
    return float(found.mean())
