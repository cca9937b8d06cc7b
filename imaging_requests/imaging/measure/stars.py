"""Stars of published guidelines: which grade a measured value reaches.

The guidelines grade a picture by its worst value. One to four stars each have a limit; a limit that
is not printed, or printed the wrong way round, holds nothing back below the next one.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from imaging_requests.imaging.files.data_values import DataError, take, take_version

MOST_STARS = 4
KINDS = ("below", "at_most", "above")


@dataclass(frozen=True, slots=True)
class Grades:
    """Limits of one value for one to four stars. ``title``: what is graded, in words."""

    title: str
    limits: Mapping[str, tuple[float | None, ...]]

    def stars(self, value: float) -> int:
        """How many stars a value reaches: 4 down to 0.

        >>> colour = Grades("colour, mean", {"below": (10, 6, 4, 2)})
        >>> [colour.stars(value) for value in (1.9, 3.2, 4.0, 12)]
        [4, 3, 2, 0]
        """
        reached = (
            stars
            for stars in range(MOST_STARS, 0, -1)
            if all(_holds(kind, value, limits[stars - 1]) for kind, limits in self.limits.items())
        )
        return next(reached, 0)


@dataclass(frozen=True, slots=True)
class Stars:
    """Grades of a guideline by the rule that measures each value."""

    title: str
    version: int
    grades: Mapping[str, Grades]

    @classmethod
    def from_settings(cls, data: Mapping[str, Any]) -> Stars:
        """Read versioned data; raises ``DataError`` for a grade that is not whole."""
        grades = {name: _grades(name, take(data, name)) for name in data.get("values", {})}
        return cls(str(data.get("title", "")), take_version(data), grades)

    def of(self, measured: Mapping[str, float]) -> dict[str, int]:
        """Stars of each value that the guideline grades, by its rule.

        Args:
            measured: Rule and value, in the unit of the rule; a density is graded by its distance
                from the stated one, either way. What the guideline does not grade is left out.
        """
        return {
            name: self.grades[name].stars(abs(value))
            for name, value in measured.items()
            if name in self.grades
        }


def _holds(kind: str, value: float, limit: float | None) -> bool:
    if limit is None:
        return True
    if kind == "below":
        return value < limit
    return value <= limit if kind == "at_most" else value > limit


def _grades(name: str, value: Any) -> Grades:
    limits = {kind: value[kind] for kind in KINDS if isinstance(value, Mapping) and kind in value}
    is_whole = all(
        isinstance(row, list)
        and len(row) == MOST_STARS
        and all(each is None or isinstance(each, int | float) for each in row)
        for row in limits.values()
    )
    if not limits or not is_whole or "title" not in value:
        raise DataError(f"The grade {name} needs a title and a limit for each of four stars.")
    return Grades(str(value["title"]), {kind: tuple(row) for kind, row in limits.items()})
