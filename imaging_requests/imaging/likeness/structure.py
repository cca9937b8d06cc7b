"""Does a picture show the structure of a reference that was taken in other light?

Lightness changes with the light; where edges lie and which way they run hardly does. Patterns (see
``pattern``) are described by the four channels of ``alignment.features``, and the inner part of
one is looked for in the other at five sizes and shifts of up to a twelfth. The likeness is the
normalised correlation of the channels without their means (Pearson's r over all four).
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from functools import cached_property

import cv2
import numpy as np

from imaging_requests.imaging.alignment.features import Channels, describe, noise_floor
from imaging_requests.imaging.likeness.pattern import MARGIN, WHOLE, Grey, Region

SIZES = (0.92, 0.96, 1.0, 1.04, 1.08)
SHIFT = 0.08
LEAST_INNER_PX = 16
#: Standard deviation of the inner part below which there is noise and no structure, of 255.
FAINT_BELOW = 1.5
BINS = 32


class Structure:
    """The structure of a pattern, described once for all comparisons.

    Raises:
        ValueError: The pattern is not two-dimensional.
    """

    def __init__(self, pattern: Grey) -> None:
        if pattern.ndim != 2:
            raise ValueError(f"A grey pattern is needed, got shape {pattern.shape}.")
        self.pattern = pattern
        self.is_faint = _spread(pattern) < FAINT_BELOW
        self._inner: dict[float, Channels] = {}

    @cached_property
    def around(self) -> Channels:
        """Channels of the whole pattern, (rows, columns, 4)."""
        return _described(self.pattern)

    def inner(self, scale: float) -> Channels:
        """Channels of the inner part of the pattern made so much larger."""
        if scale not in self._inner:
            rows, columns = (max(1, round(length * scale)) for length in self.pattern.shape)
            mode = cv2.INTER_AREA if scale < 1 else cv2.INTER_LINEAR
            small = np.asarray(
                cv2.resize(self.pattern, (columns, rows), interpolation=mode), np.uint8
            )
            top, left = int(rows * MARGIN), int(columns * MARGIN)
            part = _described(small)[top : rows - top, left : columns - left]
            self._inner[scale] = np.ascontiguousarray(part)
        return self._inner[scale]


def structure_likeness(
    picture: Structure,
    reference: Structure,
    region: Region = WHOLE,
    *,
    sizes: Sequence[float] = SIZES,
) -> float | None:
    """Say how well the structure of a picture fits a part of a reference.

    Args:
        picture: What is in doubt.
        reference: The face as a whole.
        region: The part of the reference that the picture is said to show.
        sizes: At which it is looked for; 1 is the size at which the longer sides agree.

    Returns:
        0 to 1, or None if one is too faint or the part too small to be compared. 0 also if the
        shape of the picture is so different that it fits into the part at no size.

    >>> rng = np.random.default_rng(1)
    >>> rough = cv2.resize(rng.integers(0, 255, (9, 12)).astype(np.uint8), (96, 72))
    >>> bool(structure_likeness(Structure(255 - rough), Structure(rough)) > 0.9)
    True
    >>> structure_likeness(Structure(np.zeros((72, 96), np.uint8)), Structure(rough)) is None
    True
    """
    rows, columns = reference.pattern.shape
    high, wide = (region.bottom - region.top) * rows, (region.right - region.left) * columns
    scale = max(high, wide) / max(picture.pattern.shape)
    shorter = min(picture.pattern.shape) * scale * (1 - 2 * MARGIN)
    if picture.is_faint or reference.is_faint or shorter < LEAST_INNER_PX:
        return None
    middle_y, middle_x = region.top * rows + high / 2, region.left * columns + wide / 2
    best = 0.0
    for size in sizes:
        inner = picture.inner(round(scale * size, 4))
        reach_y = inner.shape[0] / 2 + SHIFT * high
        reach_x = inner.shape[1] / 2 + SHIFT * wide
        top, bottom = max(0, round(middle_y - reach_y)), min(rows, round(middle_y + reach_y))
        left, right = max(0, round(middle_x - reach_x)), min(columns, round(middle_x + reach_x))
        part = reference.around[top:bottom, left:right]
        if part.shape[0] < inner.shape[0] or part.shape[1] < inner.shape[1]:
            continue
        found = cv2.matchTemplate(np.ascontiguousarray(part), inner, cv2.TM_CCOEFF_NORMED)
        fits = float(np.clip(found.max(), 0, 1))
        best = max(best, fits)
    return best


def best_exposed(patterns: Iterable[Grey]) -> Grey | None:
    """Return the pattern of a bracket that tells most; None if there is none.

    The measure is the entropy of the histogram in 32 steps, so that clipped values count little.

    >>> dim, good = np.full((8, 8), 3, np.uint8), np.arange(64, dtype=np.uint8).reshape(8, 8) * 4
    >>> best_exposed([dim, good]) is good
    True
    """
    return max(patterns, key=_entropy, default=None)


def _entropy(pattern: Grey) -> float:
    counts = np.bincount(pattern.ravel() // (256 // BINS), minlength=BINS).astype(np.float64)
    share = counts[counts > 0] / pattern.size
    return float(-(share * np.log2(share)).sum())


def _spread(pattern: Grey) -> float:
    rows, columns = pattern.shape
    top, left = int(rows * MARGIN), int(columns * MARGIN)
    return float(pattern[top : rows - top, left : columns - left].std())


def _described(pattern: Grey) -> Channels:
    values = pattern.astype(np.float32)
    return describe(values, floor=noise_floor(values))
