"""What a formula is called, how it reads, its unit and where it was taken from."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True, slots=True)
class Formula:
    """A formula as people look it up.

    ``mark``: "published" (read in the source), "derived" (follows from the source by arithmetic) or
    "memory" (from memory, to be checked before anything rests on it).
    """

    function: Callable[..., Any]
    name: str
    expression: str
    unit: str
    source: str
    mark: str


def demand_positive(**values: float) -> None:
    """Refuse quantities that must lie above zero, by name.

    Raises:
        ValueError: A value is zero, negative, infinite or no number.

    >>> demand_positive(aperture=8.0)
    """
    for name, value in values.items():
        if not 0 < value < float("inf"):
            raise ValueError(f"{name} must be above zero and finite, got {value:g}.")
