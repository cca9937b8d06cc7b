"""What a measure of an object can be: the studio's own numbers, told from outside.

The numbers are versioned data of an outer room, which registers who knows them when it starts.
Before any are published only what is no measure at all is refused.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime


@dataclass(frozen=True, slots=True, kw_only=True)
class Limit:
    """Between which values a measure is believed, in its own unit; None is no limit."""

    at_least: float | None = None
    at_most: float | None = None


Lookup = Callable[[datetime], Mapping[str, Limit]]

_lookups: list[Lookup] = []


def tell_limits(lookup: Lookup) -> None:
    """Register who knows the limits that count at an instant."""
    _lookups[:] = [lookup]


def limits_at(at: datetime) -> Mapping[str, Limit]:
    """Return the limit of each measure by the name of its fact; empty before any is known."""
    return _lookups[0](at) if _lookups else {}
