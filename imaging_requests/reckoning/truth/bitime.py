"""Two times: pick the records that were known at ``u`` and say what held at ``t``.

Every fact is versioned. Among the records of one key, the one with the latest ``recorded_at``
not after ``u`` counts; at equal instants the later one in the tuple. A withdrawn record takes
the fact back. The remaining records are then read at the valid instant ``t``.

>>> from datetime import UTC, datetime
>>> from .facts import Event
>>> def day(n): return datetime(2026, 3, n, tzinfo=UTC)
>>> first = Event(key="i", recorded_at=day(2), order=1, row=2, table_version=1, ended_at=day(2))
>>> fixed = Event(key="i", recorded_at=day(5), order=1, row=2, table_version=1, ended_at=day(1))
>>> known([first, fixed], day(3))[0].ended_at.day, known([first, fixed], day(5))[0].ended_at.day
(2, 1)
>>> known([first, fixed], day(1))
[]
>>> holds(day(2), starts_at=day(1), ends_at=day(2)), holds(day(1), starts_at=day(1), ends_at=None)
(False, True)
"""

from __future__ import annotations

from collections.abc import Hashable, Iterable
from datetime import datetime
from typing import Protocol, TypeVar


class Recorded(Protocol):
    """What every versioned record has."""

    @property
    def key(self) -> Hashable: ...

    @property
    def recorded_at(self) -> datetime: ...

    @property
    def withdrawn(self) -> bool: ...


R = TypeVar("R", bound=Recorded)


def known(records: Iterable[R], u: datetime) -> list[R]:
    """The records that count at knowledge time ``u``, in the order of their first mention.

    Records learnt after ``u`` are ignored; the latest record of a key replaces the earlier
    ones; withdrawn facts are dropped.
    """
    if not records:
        return []
    latest: dict[Hashable, R] = {}
    for record in records:
        if record.recorded_at <= u:
            held = latest.get(record.key)
            if held is None or held.recorded_at <= record.recorded_at:
                latest[record.key] = record
    return [record for record in latest.values() if not record.withdrawn]


def holds(t: datetime, *, starts_at: datetime, ends_at: datetime | None) -> bool:
    """Whether the half-open interval ``starts_at <= t < ends_at`` contains ``t``."""
    return starts_at <= t and (ends_at is None or t < ends_at)
