"""Surfaces ahead: what will lie at each face when a step begins that has not begun yet.

A step changes the surfaces that are there when it starts, not those that are there today. Taking a
lining off destroys its back and bares the canvas; what is done to the back afterwards is done to
the canvas. So steps are read in sequence: each with those before it done.

>>> from datetime import UTC, datetime
>>> from pathlib import Path
>>> import json
>>> from .facts import ObjectCase, ObjectFacts
>>> from .moment import look
>>> from .triggers import read_table
>>> tables = {1: read_table(json.loads(Path("fixtures/triggers/table-1.json").read_text("utf-8")))}
>>> day = datetime(2026, 5, 1, tzinfo=UTC)
>>> lined = ObjectFacts(key="f", recorded_at=day, valid_from=day,
...                     layers=("F.1", "B.1", "B.2", "E.1", "T.1"))
>>> off, clean = (Event(key=key, recorded_at=day, order=row, row=row, table_version=1)
...               for key, row in (("off", 12), ("clean", 13)))
>>> moment = look(ObjectCase(object_id="o", facts=(lined,)), tables, t=day, u=day)
>>> ahead = look_ahead(moment, [off, clean])
>>> [ahead.touches(off, code) for code in ("B.1", "B.2")]
[True, True]
>>> [ahead.touches(clean, code) for code in ("B.1", "B.2")]
[True, False]
>>> ahead.seen_at(clean, "B.1").opened_by
'off'
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace

from .facts import Event
from .moment import Moment
from .stateline import StateLine
from .surfaces import Life, SurfaceLine, Visible, follow
from .terms import EDGES, THROUGH, Effect, face_of
from .triggers import SurfaceAct

_ALWAYS_SEEN = Visible(0, None, None)
#: Acts that concern the outermost surface alone; the others reach what lies under it too.
_OF_THE_TOP = frozenset((SurfaceAct.COVER, SurfaceAct.UNCOVER, SurfaceAct.LINE, SurfaceAct.UNLINE))


@dataclass(frozen=True, slots=True)
class Ahead:
    """The surfaces as they will lie; ``starts`` holds the state in force when a step begins."""

    moment: Moment
    surfaces: SurfaceLine
    starts: Mapping[str, int]
    end: int

    def seen_in(self, state: int, surface: str) -> Visible | None:
        """The visible interval of a surface that holds a state, if it has one."""
        if face_of(surface) in (EDGES, THROUGH):
            return _ALWAYS_SEEN
        life = self._life(surface)
        return life.span_in(state) if life is not None else None

    def seen_at(self, event: Event, surface: str) -> Visible | None:
        """The interval in which a surface can be seen when a step begins, if it can."""
        return self.seen_in(self.starts[event.key], surface)

    def is_covered_at(self, event: Event, surface: str) -> bool:
        """Whether a surface is its face's outermost when a step begins, under a facing or board."""
        life, state = self._life(surface), self.starts[event.key]
        return life is not None and life.is_outermost(state) and life.span_in(state) is None

    def lying_at(self, event: Event, face: str) -> str | None:
        """The outermost surface of the front or the back when a step begins, covered or not."""
        state = self.starts[event.key]
        for life in self.surfaces.lives.values():
            if face_of(life.code) == face and life.is_outermost(state):
                return life.code
        return None

    def touches(self, event: Event, surface: str) -> bool:
        """Whether a surface is there for a step to change: come already, and not gone yet."""
        if face_of(surface) in (EDGES, THROUGH):
            return True
        life, state = self._life(surface), self.starts[event.key]
        if life is None or life.opened > state or (life.gone is not None and life.gone <= state):
            return False
        return not (self.moment.row(event).outermost_only and life.is_buried(self._place(event)))

    def cell(self, event: Event, surface: str, technique: str) -> Effect:
        """The resolved cell of a step for a surface; V if it is not there, or hidden already."""
        if not self.touches(event, surface):
            return Effect.VALID
        cell = self.moment.cell(event, technique, face_of(surface))
        if cell is Effect.HIDDEN and self.seen_at(event, surface) is None:
            return Effect.VALID
        return cell

    def last_look(self, event: Event, surface: str, technique: str) -> tuple[str, str] | None:
        """``(as_of, note)`` of a step's last look on a view of a surface, if it has one."""
        row = self.moment.row(event)
        if not row.last_look or not self.touches(event, surface):
            return None
        life = self._life(surface)
        if row.act in _OF_THE_TOP and life is not None and life.is_buried(self._place(event)):
            return None
        table = self.moment.tables[event.table_version]
        mirrored = self.moment.two_sided and event.face == "B"
        column = table.column(technique, face_of(surface), mirrored=mirrored)
        for look in row.last_look:
            if look.column == column:
                return look.as_of, look.note
        return None

    def _place(self, event: Event) -> int:
        """The number of the state that the step will open."""
        return self.starts[event.key] + 1

    def _life(self, surface: str) -> Life | None:
        lives = self.surfaces.lives
        return lives.get(surface) or lives.get(f"{surface}.1")


def look_ahead(moment: Moment, steps: Iterable[Event]) -> Ahead:
    """Read the surfaces as if ``steps`` were done one after the other, in this order.

    Steps that have ended keep their place in the history.
    """
    sequence = tuple(steps)
    starts = dict(moment.index)
    now = moment.line.current
    ahead = [step for step in sequence if step.key not in moment.index]
    if not any(moment.row(step).act or step.opens_surface for step in ahead):
        starts.update({step.key: now for step in ahead})
        return Ahead(moment, moment.surfaces, starts, now)
    done: list[Event] = []
    for step in ahead:
        starts[step.key] = now + len(done)
        if moment.row(step).opens_state:
            done.append(replace(step, ended_at=moment.t))
    line = StateLine(
        (*moment.line.openers, *done),
        (*moment.line.rows, *(moment.row(step) for step in done)),
        (*moment.line.instants, *(moment.t for _ in done)),
    )
    surfaces = follow(line, moment.layers, two_sided=moment.two_sided)
    return Ahead(moment, surfaces, starts, now + len(done))
