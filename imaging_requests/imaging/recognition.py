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
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from imaging_requests.imaging.files.data_values import take_number

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


@dataclass(frozen=True, slots=True, kw_only=True)
class StructureLimits:
    """Likenesses of structure in other light, −1 to 1: own from which on, other from which on.

    `surely`: the object's own reference must fit at least so well. `lead`: by how much it must fit
    better than any other. `not_own`: what fits its own less does not show it, if another object
    fits at least `other_surely` and leads by `other_lead`.
    """

    surely: float
    lead: float
    not_own: float
    other_surely: float
    other_lead: float

    @classmethod
    def from_settings(cls, data: Mapping[str, Any], name: str) -> StructureLimits:
        """Read the limits of one kind of picture from a data file.

        >>> import json, pathlib
        >>> data = json.loads(pathlib.Path("fixtures/checks/recognition-2.json").read_text("utf-8"))
        >>> StructureLimits.from_settings(data, "front_ultraviolet").surely
        0.68
        """
        return cls(
            surely=take_number(data, f"structure.{name}.surely"),
            lead=take_number(data, f"structure.{name}.lead"),
            not_own=take_number(data, f"structure.{name}.not_own"),
            other_surely=take_number(data, f"structure.{name}.other_surely"),
            other_lead=take_number(data, f"structure.{name}.other_lead"),
        )


#: Light that leaves the structure of the visible reference nearly as it is.
ALIKE = ("VF", "VC", "RK")


def kind_of(technique: str, face: str, *, is_tiled: bool) -> str:
    """Name the kind of picture whose limits count.

    >>> kind_of("UV", "F", is_tiled=False), kind_of("RK", "B", is_tiled=True)
    ('front_ultraviolet', 'back_visible')
    """
    side = "back" if face == "B" else "tile" if is_tiled else "front"
    if technique in ALIKE:
        return f"{side}_visible"
    return f"{side}_{'infrared' if technique == 'IR' else 'ultraviolet'}"


KINDS = tuple(
    f"{side}_{light}"
    for side in ("front", "back", "tile")
    for light in ("visible", "ultraviolet", "infrared")
)


def judge_structure(
    own: float | None, others: Mapping[str, float], limits: StructureLimits
) -> Recognition:
    """Say by likenesses of structure whether a picture shows its object.

    A pass needs a good fit that leads; a fail needs another object that surely fits where its own
    surely does not. What fits another while its own has no reference is a warning.

    >>> limits = StructureLimits(
    ...     surely=0.5, lead=0.1, not_own=0.3, other_surely=0.6, other_lead=0.3
    ... )
    >>> judge_structure(0.8, {"AR 2": 0.2}, limits).verdict.value
    'pass'
    >>> judge_structure(0.1, {"AR 2": 0.8}, limits).verdict.value
    'fail'
    >>> judge_structure(0.4, {"AR 2": 0.5}, limits).verdict.value
    'cannot_tell'
    """
    other = max(others, key=lambda key: others[key], default="")
    best = others.get(other)
    fits_other = best is not None and best >= limits.other_surely
    if own is None:
        verdict = Recognised.WARN if fits_other else Recognised.CANNOT_TELL
    elif own >= limits.surely:
        leads = best is None or own >= best + limits.lead
        verdict = Recognised.PASS if leads else Recognised.WARN
    elif fits_other and best is not None and own < limits.not_own:
        is_other = best >= own + limits.other_lead
        verdict = Recognised.FAIL if is_other else Recognised.CANNOT_TELL
    else:
        verdict = Recognised.CANNOT_TELL
    return Recognition(verdict, own, best, other)
