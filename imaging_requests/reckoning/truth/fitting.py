"""Does a step fit what lies on the object? Nothing comes off that is not on, nothing goes on twice.

The history of surfaces (:mod:`.surfaces`) reads recorded steps generously, because what happened
has happened. A step that is still to be done is asked about first: taking off a facing, a lining
or a backing board that no record puts there is most often a slip in the kind of step, the face or
the direction, and it would open or destroy a surface that never was.

>>> from datetime import UTC, datetime
>>> from pathlib import Path
>>> import json
>>> from .facts import Event
>>> from .triggers import read_table
>>> table = read_table(json.loads(Path("fixtures/triggers/table-1.json").read_text("utf-8")))
>>> def step(key, row): return Event(key=key, recorded_at=datetime(2026, 5, 1, tzinfo=UTC),
...                                  order=1, row=row, table_version=1)
>>> lined = step("a", 11)
>>> misfit([], step("b", 12), {1: table}, layers=("F.1", "B.1"), two_sided=False)
Misfit(thing='lining', face='B', is_on=False, since=None)
>>> misfit([lined], step("b", 12), {1: table}, layers=("F.1", "B.1"), two_sided=False)
>>> misfit([lined], step("b", 11), {1: table}, layers=("F.1", "B.1"), two_sided=False)
Misfit(thing='lining', face='B', is_on=True, since='a')
>>> misfit([], step("b", 12), {1: table}, layers=("F.1", "B.1", "B.2"), two_sided=False)
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field

from .facts import Event
from .stateline import row_of
from .surfaces import acts_on
from .terms import face_of
from .triggers import Row, SurfaceAct, Tables

FACING, BOARD, LINING = "facing", "backing board", "lining"


@dataclass(frozen=True, slots=True)
class Misfit:
    """What a step would put on a second time (``is_on``) or take off although none is on.

    ``since`` is the key of the event that put on the one there is; ``None`` if it has been there
    from the beginning, or if there is none.
    """

    thing: str
    face: str
    is_on: bool
    since: str | None


@dataclass(slots=True)
class _Worn:
    """What one face wears: the key of the event that put each on, ``None`` from the beginning."""

    on: dict[str, list[str | None]] = field(default_factory=lambda: defaultdict(list))

    def strip(self) -> None:
        """Take the covers as removed, as a lining or a new support makes them."""
        self.on[FACING].clear()
        self.on[BOARD].clear()


def way_of(event: Event, row: Row) -> tuple[str, bool] | None:
    """Return what an event puts on (true) or takes off (false); ``None`` if it does neither.

    A row that stands for both ways says nothing before the event tells its direction.
    """
    if row.act in (SurfaceAct.COVER, SurfaceAct.UNCOVER):
        return FACING, row.act is SurfaceAct.COVER
    if row.act in (SurfaceAct.LINE, SurfaceAct.UNLINE):
        return LINING, row.act is SurfaceAct.LINE
    if row.act is SurfaceAct.BOARD and event.puts_on is not None:
        return BOARD, event.puts_on
    return None


def misfit(
    before: Iterable[Event],
    event: Event,
    tables: Tables,
    *,
    layers: Iterable[str],
    two_sided: bool,
) -> Misfit | None:
    """Return why ``event`` cannot follow the events ``before`` it, or ``None`` if it can.

    ``before`` stands in the order in which the events happen; ``layers`` are the surfaces at the
    beginning, as :func:`.surfaces.follow` takes them.
    """
    row = row_of(event, tables)
    way = way_of(event, row)
    if way is None:
        return None
    thing, puts_on = way
    face = acts_on(event, row, two_sided=two_sided)
    on = _worn(before, tables, layers=layers, two_sided=two_sided)[face].on[thing]
    if bool(on) != puts_on:
        return None
    return Misfit(thing, face, puts_on, on[-1] if on else None)


def _worn(
    events: Iterable[Event], tables: Tables, *, layers: Iterable[str], two_sided: bool
) -> dict[str, _Worn]:
    faces: dict[str, _Worn] = defaultdict(_Worn)
    seen: set[str] = set()
    for code in layers:
        face = face_of(code)
        if face in seen:
            faces[face].on[LINING].append(None)
        seen.add(face)
    for event in events:
        row = row_of(event, tables)
        if row.act is not None:
            _wear(faces[acts_on(event, row, two_sided=two_sided)], event, row)
    return faces


def _wear(worn: _Worn, event: Event, row: Row) -> None:
    if row.act is SurfaceAct.REPLACE:
        worn.strip()
        worn.on[LINING].clear()
        return
    thing, puts_on = way_of(event, row) or (BOARD, not worn.on[BOARD])
    if thing == LINING:
        worn.strip()
    if puts_on:
        worn.on[thing].append(event.key)
    elif worn.on[thing]:
        worn.on[thing].pop()
