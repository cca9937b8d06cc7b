"""Words of a comparison: the four grades, and what one row of the table found."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

VISIBLE = ("VF", "VC")
RAKING = "RK"
ULTRAVIOLET = "UV"
INFRARED = "IR"
X_RAY = "XR"
TECHNIQUES = (*VISIBLE, RAKING, ULTRAVIOLET, INFRARED, X_RAY)


class Comparability(StrEnum):
    """How far two pictures can be compared; not to be mixed with the grade of an entry.

    >>> worst([Comparability.A, Comparability.C, Comparability.B]).value
    'C'
    """

    A = "A"
    B = "B"
    C = "C"
    N = "N"

    @property
    def meaning(self) -> str:
        """What may be done with a pair of this grade."""
        return _MEANING[self]

    @property
    def rank(self) -> int:
        """0 for A to 3 for N."""
        return _ORDER.index(self)


_ORDER = tuple(Comparability)
_MEANING = {
    Comparability.A: "measurable",
    Comparability.B: "visible comparison",
    Comparability.C: "indicative, side by side only",
    Comparability.N: "not compared",
}


def worst(grades: list[Comparability]) -> Comparability:
    """The worst of some grades.

    Raises:
        ValueError: There is none.
    """
    if not grades:
        raise ValueError("The worst of no grade at all is not defined.")
    return max(grades, key=lambda grade: grade.rank)


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """What one row of the table found.

    Attributes:
        row: Name of the row, as data and pages know it.
        grade: What the row alone allows.
        reason: Half a sentence in lower case that says what was found, with its numbers.
        is_known: False when the row could not be judged for want of facts.
    """

    row: str
    grade: Comparability
    reason: str
    is_known: bool = True


def unknown(row: str, reason: str) -> Finding:
    """A row that cannot be judged: indicative at best, never better.

    >>> unknown("camera", "the camera was not recorded").grade.value
    'C'
    """
    return Finding(row=row, grade=Comparability.C, reason=reason, is_known=False)


def by_limits(difference: float, limits: tuple[float, float]) -> Comparability:
    """Grade A up to the first limit, B up to the second, C beyond; limits belong to the better.

    Differences are compared with a tolerance of 1e-9 for what arithmetic adds.

    >>> [by_limits(d, (0.5, 3.0)).value for d in (0.5, 0.51, 3.0, 3.1)]
    ['A', 'B', 'B', 'C']
    """
    size = abs(difference) - 1e-9
    if size <= limits[0]:
        return Comparability.A
    return Comparability.B if size <= limits[1] else Comparability.C
