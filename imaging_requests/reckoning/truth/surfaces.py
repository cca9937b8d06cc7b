"""Surfaces: what can be seen at a face, and during which states.

A face is a direction, a surface is what lies there. Each face holds a stack of layers, from the
inside out. A facing or a backing board is a cover: it hides, and is no surface of its own. A
lining is a new surface over the old one; taking it off destroys it and bares what lay under it.
A transfer to a new support destroys all surfaces of the back and brings a new one.

* Pictures of a hidden surface stay true; no more can be made while it is hidden.
* A surface bared by an event whose cell is N is re-exposed: its older pictures must be decided,
  because adhesive or dust has changed it. The time until it is hidden again is a window.
* A surface under a lining is closed: it counts as gone until the lining comes off.

>>> from datetime import UTC, datetime
>>> from pathlib import Path
>>> import json
>>> from .facts import Event
>>> from .stateline import draw_line
>>> from .triggers import read_table
>>> tables = {1: read_table(json.loads(Path("fixtures/triggers/table-1.json").read_text("utf-8")))}
>>> def day(n): return datetime(2026, 5, n, tzinfo=UTC)
>>> def step(n, row): return Event(key=f"i{n}", recorded_at=day(n), order=n, row=row,
...                                table_version=1, ended_at=day(n))
>>> line = draw_line([step(1, 11), step(4, 12), step(15, 11)], tables, day(20))
>>> found = follow(line, ("F.1", "B.1"), two_sided=False)
>>> sorted(found.lives)
['B.1', 'B.2', 'B.3', 'F.1']
>>> [(v.first, v.until) for v in found.lives["B.1"].visible]
[(0, 1), (2, 3)]
>>> found.lives["B.2"].gone, found.lives["B.1"].is_closed
(2, True)
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import datetime

from .facts import Event
from .stateline import StateLine
from .terms import BACK, FRONT, face_of
from .triggers import Row, SurfaceAct, home_face, is_mirrored


@dataclass(slots=True)
class Visible:
    """One visible interval: states ``first`` … ``until - 1`` (``until`` None: still visible)."""

    first: int
    opened_by: str | None
    from_at: datetime | None
    until: int | None = None
    closed_by: str | None = None
    until_at: datetime | None = None


@dataclass(slots=True)
class Life:
    """A surface from the state in which it appeared to the one in which it was gone."""

    code: str
    opened: int = 0
    opened_by: str | None = None
    gone: int | None = None
    gone_by: str | None = None
    is_closed: bool = False
    buried: list[tuple[int, int | None]] = field(default_factory=list)
    visible: list[Visible] = field(default_factory=list)

    @property
    def is_visible(self) -> bool:
        """Whether the surface can be seen at the end of the state line."""
        return bool(self.visible) and self.visible[-1].until is None

    def window(self, opened_by: str | None) -> Visible | None:
        """The visible interval that an event opened (``None``: the one since intake)."""
        for span in self.visible:
            if span.opened_by == opened_by:
                return span
        return None

    def span_in(self, state: int) -> Visible | None:
        """The visible interval that holds a state, if the surface can be seen in it."""
        for span in self.visible:
            if span.first <= state and (span.until is None or state < span.until):
                return span
        return None

    def is_outermost(self, state: int) -> bool:
        """Whether the surface exists in a state with no other surface over it (covers apart)."""
        is_there = self.opened <= state and (self.gone is None or state < self.gone)
        return is_there and not any(a <= state and (b is None or state < b) for a, b in self.buried)

    def is_buried(self, state: int) -> bool:
        """Whether another surface lay over this one when ``state`` was opened."""
        return any(a < state and (b is None or state < b) for a, b in self.buried)


@dataclass(frozen=True, slots=True)
class SurfaceLine:
    """All surfaces of an object; ``bared[n]`` holds the codes re-exposed by opener ``n``."""

    lives: dict[str, Life]
    bared: dict[int, frozenset[str]]
    puts_on: dict[int, bool]

    def top(self, face: str) -> Life | None:
        """The surface that can be seen at a face now, or ``None`` if it is covered."""
        for life in self.lives.values():
            if face_of(life.code) == face and life.is_visible:
                return life
        return None


@dataclass(slots=True)
class _Stack:
    """Layers of one face from the inside out; ``None`` stands for a cover."""

    face: str
    layers: list[str | None]
    numbered: int
    reserved: frozenset[str]

    def outermost(self) -> str | None:
        for code in reversed(self.layers):
            if code is not None:
                return code
        return None

    def seen(self) -> str | None:
        return self.layers[-1] if self.layers else None


def acts_on(event: Event, row: Row, *, two_sided: bool) -> str:
    """Face whose layers the row changes: the mirror rule swaps front and back."""
    if not is_mirrored(two_sided=two_sided, face=event.face):
        return row.act_face
    return FRONT if row.act_face == BACK else BACK


def worked_face(row: Row, face: str, *, two_sided: bool) -> str:
    """The face that a step is really done to; ``face`` is the one its record names.

    A lining, a facing or a board lies where its row says, whatever the record names. On a
    two-sided object the record names the face that the row's F columns speak of.
    """
    if not two_sided:
        return row.act_face if row.act is not None else face
    own = home_face(row)
    if face != BACK:
        return own
    return FRONT if own == BACK else BACK


def follow(line: StateLine, layers: Iterable[str], *, two_sided: bool) -> SurfaceLine:
    """Follow every surface along the state line.

    ``layers``: surface codes at intake, per face from the inside out. Steps that do not fit the
    stack are read generously: taking off a lining that nobody recorded destroys the outermost
    surface and opens the one under it; taking off an unrecorded cover bares the surface that
    was there; a lining goes over the surface itself, so covers on it are taken as removed.
    """
    reserved = frozenset(e.opens_surface for e in line.openers if e.opens_surface)
    stacks: dict[str, _Stack] = {}
    lives: dict[str, Life] = {}
    for code in layers:
        face = face_of(code)
        stack = stacks.setdefault(face, _Stack(face, [], 0, reserved))
        stack.layers.append(code)
        stack.numbered += 1
        lives[code] = Life(code)
    for stack in stacks.values():
        for inner in stack.layers[:-1]:
            if inner is not None:
                lives[inner].buried.append((-1, None))
                lives[inner].is_closed = True
        seen = stack.seen()
        if seen is not None:
            lives[seen].visible.append(Visible(0, None, None))
    bared: dict[int, frozenset[str]] = {}
    puts_on: dict[int, bool] = {}
    for index, (event, row) in enumerate(zip(line.openers, line.rows, strict=True)):
        if row.act is None:
            continue
        face = acts_on(event, row, two_sided=two_sided)
        acted = stacks.setdefault(face, _Stack(face, [], 0, reserved))
        seen, outermost = acted.seen(), acted.outermost()
        act = _direction(event, row, acted)
        puts_on[index] = act in (SurfaceAct.COVER, SurfaceAct.LINE)
        open_ask = _apply(act, event, index + 1, acted, lives)
        _note_sight(seen, acted.seen(), event, index + 1, lives)
        _note_burial(outermost, acted.outermost(), index + 1, lives)
        if open_ask is not None:
            bared[index] = frozenset((open_ask,))
    return SurfaceLine(lives, bared, puts_on)


def _direction(event: Event, row: Row, stack: _Stack) -> SurfaceAct:
    """A board is put on or taken off as the event says, else the other way than it stands."""
    assert row.act is not None
    if row.act is not SurfaceAct.BOARD:
        return row.act
    put_on = event.puts_on
    if put_on is None:
        put_on = None not in stack.layers
    return SurfaceAct.COVER if put_on else SurfaceAct.UNCOVER


def _apply(
    act: SurfaceAct, event: Event, state: int, stack: _Stack, lives: dict[str, Life]
) -> str | None:
    """Change the stack; answer the surface that this step re-exposes, if any."""
    if act is SurfaceAct.COVER:
        stack.layers.append(None)
        return None
    if act is SurfaceAct.UNCOVER:
        if None in stack.layers:
            last = len(stack.layers) - 1 - stack.layers[::-1].index(None)
            del stack.layers[last]
        return stack.seen()
    stack.layers = [code for code in stack.layers if code is not None]
    if act is SurfaceAct.LINE:
        _open(event, state, stack, lives)
        return None
    if act is SurfaceAct.REPLACE:
        for code in stack.layers:
            _destroy(code, event, state, lives)
        stack.layers = []
        _open(event, state, stack, lives)
        return None
    if stack.layers:
        _destroy(stack.layers.pop(), event, state, lives)
    if stack.layers:
        return stack.layers[-1]
    _open(event, state, stack, lives)
    return None


def _open(event: Event, state: int, stack: _Stack, lives: dict[str, Life]) -> None:
    """A new outermost surface: under the event's name, else under the face's next free number."""
    named = event.opens_surface
    code = named if named is not None and face_of(named) == stack.face else None
    while code is None or code in lives:
        stack.numbered += 1
        code = f"{stack.face}.{stack.numbered}"
        if code in stack.reserved:
            code = None
    lives[code] = Life(code, opened=state, opened_by=event.key)
    stack.layers.append(code)


def _destroy(code: str | None, event: Event, state: int, lives: dict[str, Life]) -> None:
    if code is not None:
        lives[code].gone = state
        lives[code].gone_by = event.key


def _note_sight(
    before: str | None, after: str | None, event: Event, state: int, lives: dict[str, Life]
) -> None:
    if before == after:
        return
    if before is not None:
        span = lives[before].visible[-1]
        span.until, span.closed_by, span.until_at = state, event.key, event.ended_at
    if after is not None:
        lives[after].visible.append(Visible(state, event.key, event.ended_at))


def _note_burial(before: str | None, after: str | None, state: int, lives: dict[str, Life]) -> None:
    if before == after:
        return
    if before is not None and lives[before].gone is None:
        lives[before].buried.append((state, None))
        lives[before].is_closed = True
    if after is not None and lives[after].buried:
        start, _ = lives[after].buried[-1]
        lives[after].buried[-1] = (start, state)
        lives[after].is_closed = False
