"""Is this the object it is said to be? A coarse likeness between whole-face pictures.

A picture is described by its lightness on a coarse grid, without its mean and length; the
likeness of two is the correlation of the two descriptions (Pearson's r, 1 for the same pattern, 0
for none). Exposure and contrast fall out, composition remains. It compares pictures of the same
technique family and face only, and it never decides alone: what fits another object better is put
before a person.

>>> import numpy as np
>>> ramp = np.tile(np.arange(64, dtype=np.uint8), (48, 1))
>>> round(likeness(describe(ramp), describe(ramp)), 3)
1.0
>>> round(likeness(describe(ramp), describe(ramp[:, ::-1])), 3)
-1.0
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum

import cv2
import numpy as np
from numpy.typing import NDArray

GRID = 24
MARGIN = 0.12
Description = NDArray[np.float32]


class Recognised(StrEnum):
    """Whether a picture shows the object it is said to show."""

    PASS = "pass"
    WARN = "warn"
    FAIL = "fail"
    CANNOT_TELL = "cannot_tell"


@dataclass(frozen=True, slots=True, kw_only=True)
class RecognitionLimits:
    """Ratios and the least likeness, all without unit."""

    pass_ratio: float
    warn_ratio: float
    least_likeness: float


@dataclass(frozen=True, slots=True)
class Recognition:
    """The answer with what it rests on; ``other`` names the best of the other objects."""

    verdict: Recognised
    own: float | None
    best_other: float | None
    other: str


def describe(grey: NDArray[np.uint8]) -> Description:
    """Describe a grey picture, (rows, columns), 0 to 255, by 24 x 24 values of length 1.

    The margin, where the target and the ground lie, is left out. A picture without any pattern
    has the description 0, which is like nothing.

    Raises:
        ValueError: The picture is not two-dimensional or smaller than 8 x 8.
    """
    if grey.ndim != 2 or min(grey.shape) < 8:
        raise ValueError(f"A grey picture of at least 8 x 8 is needed, got shape {grey.shape}.")
    rows, columns = grey.shape
    top, left = int(rows * MARGIN), int(columns * MARGIN)
    inner = grey[top : rows - top, left : columns - left].astype(np.float32)
    small = cv2.resize(inner, (GRID, GRID), interpolation=cv2.INTER_AREA)
    flat = np.asarray(small, np.float32).ravel() - np.float32(small.mean())
    length = float(np.linalg.norm(flat))
    described: Description = flat / length if length > 1e-3 else np.zeros_like(flat)
    return described


def likeness(one: Description, other: Description) -> float:
    """Correlation of two descriptions, -1 to 1."""
    return float(np.dot(one, other))


def recognise(
    picture: Description,
    *,
    own: Description | None,
    others: Mapping[str, Description],
    limits: RecognitionLimits,
) -> Recognition:
    """Compare a picture with its object's reference and with those of other objects.

    Fails when another object fits clearly and better than its own; cannot tell when nothing fits
    clearly. While its own has no reference yet, a clear likeness to another only warns: pendants,
    copies and versions are as like as that, and nothing speaks for the object itself.
    """
    likes = {key: likeness(picture, each) for key, each in others.items()}
    other = max(likes, key=lambda key: likes[key], default="")
    best = likes.get(other)
    mine = likeness(picture, own) if own is not None else None
    fits_other = best is not None and best >= limits.least_likeness
    if mine is None:
        unsure = Recognised.WARN if fits_other else Recognised.CANNOT_TELL
        return Recognition(unsure, mine, best, other)
    if mine < limits.least_likeness:
        is_other = fits_other and best is not None and best > mine
        verdict = Recognised.FAIL if is_other else Recognised.CANNOT_TELL
        return Recognition(verdict, mine, best, other)
    ratio = mine / best if best is not None and best > 0 else float("inf")
    if ratio >= limits.pass_ratio:
        verdict = Recognised.PASS
    elif ratio >= limits.warn_ratio:
        verdict = Recognised.WARN
    else:
        verdict = Recognised.FAIL if ratio < 1 else Recognised.WARN
    return Recognition(verdict, mine, best, other)
