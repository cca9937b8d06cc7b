"""The state line: numbered states of one object, divided by the events that changed it.

State 0 is the object as it came; the n-th event that finished opens state n. Events that ended
at the same instant open their states in the order in which they were first recorded. A state
is in force from the instant its event ended (inclusive), so a picture captured at that very
instant shows the new state.

>>> from datetime import UTC, datetime
>>> from pathlib import Path
>>> import json
>>> from .facts import Event
>>> from .triggers import read_table
>>> tables = {1: read_table(json.loads(Path("fixtures/triggers/table-1.json").read_text("utf-8")))}
>>> def day(n): return datetime(2026, 3, n, tzinfo=UTC)
>>> clean = Event(key="a", recorded_at=day(9), order=1, row=1, table_version=1, ended_at=day(4))
>>> look = Event(key="b", recorded_at=day(9), order=2, row=30, table_version=1, ended_at=day(5))
>>> line = draw_line([look, clean], tables, day(8))
>>> [event.key for event in line.openers], line.state_at(day(3)), line.state_at(day(4))
(['a'], 0, 1)
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import datetime
from operator import itemgetter

from ..records import record
from .facts import Event
from .terms import Anchor, AnchorKind
from .triggers import Row, Tables


@dataclass(frozen=True, slots=True)
class StateLine:
    """``openers[n]`` opened state ``n + 1`` at ``instants[n]``; ``rows[n]`` is its table row."""

    openers: tuple[Event, ...]
    rows: tuple[Row, ...]
    instants: tuple[datetime, ...]

    @property
    def current(self) -> int:
        """Number of the state in force at the end of the line."""
        return len(self.openers)

    def state_at(self, instant: datetime) -> int:
        """Number of the state in force at ``instant``."""
        return bisect_right(self.instants, instant)

    def state_opened_by(self, key: str) -> int | None:
        """Number of the state that the event opened, or ``None``."""
        for number, event in enumerate(self.openers, start=1):
            if event.key == key:
                return number
        return None


@record
@dataclass(frozen=True, slots=True)
class Point:
    """Where an anchor lies: the states ``first`` … ``last``.

    ``reached`` is false while the anchor's state does not exist yet. ``past`` is true once no
    picture taken from now on can belong to it. ``as_of`` is the instant after which an
    intervention that had already started when a picture was captured counts as lying between
    them; ``None`` when that question does not arise. From ``closed_at`` on no picture that is
    captured can count: a treatment that has begun has no "before" any more.
    """

    first: int
    last: int
    reached: bool = True
    past: bool = False
    as_of: datetime | None = None
    closed_at: datetime | None = None


def row_of(event: Event, tables: Tables) -> Row:
    """The table row of an event, from the table version the event was recorded under."""
    return tables[event.table_version].row(event.row)


_WHEN = itemgetter(0, 1)


def draw_line(events: Iterable[Event], tables: Tables, t: datetime) -> StateLine:
    """The state line at ``t`` from known events: those that ended by then and open a state."""
    found = []
    for event in events:
        if event.ended_at is not None and event.ended_at <= t:
            row = row_of(event, tables)
            if row.opens_state:
                found.append((event.ended_at, event.order, event, row))
    found.sort(key=_WHEN)
    return StateLine(
        tuple(item[2] for item in found),
        tuple(item[3] for item in found),
        tuple(item[0] for item in found),
    )


def in_plan(event: Event, t: datetime) -> bool:
    """Whether the event belongs to its treatment's steps at ``t`` (planned and not dropped)."""
    return (event.planned_at is None or event.planned_at <= t) and (
        event.dropped_at is None or event.dropped_at > t
    )


def steps_of(
    events: Iterable[Event], treatment: str | None, t: datetime, *, phase: int | None = None
) -> list[Event]:
    """Interventions of a treatment (or one phase) that are in its plan at ``t``."""
    return [
        event
        for event in events
        if event.treatment == treatment
        and (phase is None or event.phase == phase)
        and in_plan(event, t)
    ]


def locate(anchor: Anchor, line: StateLine, events: Iterable[Event], t: datetime) -> Point:
    """Find the states of every anchor except WIN (surfaces know their own windows).

    * CUR: the state in force.
    * BT: the state in force at the first actual start of the treatment; before that start, the
      state in force, since that is what the treatment will start from. Once it has started,
      pictures captured since do not count for it, whatever the steps leave true.
    * DT: the state after the numbered step, once it ended.
    * AT: the state after the last step, once every planned step ended.
    * FIX: the state in force at the instant, once it has come.
    """
    now = line.current
    if anchor.kind is AnchorKind.CUR:
        return Point(now, now)
    if anchor.kind is AnchorKind.FIX:
        if anchor.instant is None:
            raise ValueError("A FIX anchor needs its instant.")
        if anchor.instant > t:
            return Point(now, now, reached=False)
        return _point(line, line.state_at(anchor.instant), anchor.instant)
    steps = steps_of(events, anchor.treatment, t, phase=anchor.phase)
    if anchor.kind is AnchorKind.BT:
        starts = [s.started_at for s in steps if s.started_at is not None and s.started_at <= t]
        if not starts:
            return Point(now, now)
        start = min(starts)
        return replace(_point(line, line.state_at(start), start), closed_at=start)
    if anchor.kind is AnchorKind.DT:
        steps = [step for step in steps if step.step == anchor.step]
    ended = [s for s in steps if s.ended_at is not None and s.ended_at <= t]
    if not ended or len(ended) < len(steps):
        return Point(now, now, reached=False)
    final = max(ended, key=lambda s: (s.ended_at, s.order))
    assert final.ended_at is not None
    state = line.state_opened_by(final.key)
    if state is None:
        state = line.state_at(final.ended_at)
    return _point(line, state, final.ended_at)


def _point(line: StateLine, state: int, as_of: datetime) -> Point:
    return Point(state, state, past=state < line.current, as_of=as_of)
