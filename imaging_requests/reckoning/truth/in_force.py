"""Which version of the trigger table judges an event: the one in force when it began.

A step that has not begun is judged by the table in force now, so that a table published today
reaches every plan; once it has begun, its table stays. Only versions that were published by the
instant of knowledge are known. A version that has left out the row of an event does not judge it:
the newest one before it that has the row does.

>>> from datetime import UTC
>>> from types import SimpleNamespace as Table
>>> def day(n): return datetime(2026, 3, n, tzinfo=UTC)
>>> tables = {1: Table(rows={2}), 2: Table(rows={2})}
>>> published = ((day(1), 1), (day(9), 2))
>>> plan = Event(key="i-7", recorded_at=day(2), order=7, row=2, table_version=1)
>>> [judged(plan, published, tables, t=day(n), u=day(20)).table_version for n in (8, 9)]
[1, 2]
>>> begun = replace(plan, started_at=day(8))
>>> judged(begun, published, tables, t=day(10), u=day(20)).table_version
1
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime

from .facts import Event
from .triggers import Tables

#: The versions of the table with the instants of their publication, the oldest first.
Published = Sequence[tuple[datetime, int]]


def judged(
    event: Event, published: Published, tables: Tables, *, t: datetime, u: datetime
) -> Event:
    """The event under the table that counts for it at ``t`` as known at ``u``.

    An event that began before the first publication is judged by the first table; without any
    publication the event's own version stays.
    """
    began = event.started_at
    at = min(began if began is not None and began <= t else t, u)
    number = event.table_version
    is_first = True
    for published_at, candidate in published:
        if published_at > at and not is_first:
            break
        if candidate in tables and event.row in tables[candidate].rows:
            number, is_first = candidate, False
    return event if number == event.table_version else replace(event, table_version=number)
