"""Surfaces over time: what could be seen at each face, from which event to which.

A picture speaks for a surface if it is accepted and carries to the state in which the surface
is seen now, or was seen last: pictures of a surface that was hidden since stay true of it.

>>> import json
>>> from datetime import UTC, datetime
>>> from pathlib import Path
>>> from .facts import Event, ObjectCase, ObjectFacts
>>> from .moment import look
>>> from .triggers import read_table
>>> tables = {1: read_table(json.loads(Path("fixtures/triggers/table-1.json").read_text("utf-8")))}
>>> def on(day): return datetime(2026, 5, day, tzinfo=UTC)
>>> case = ObjectCase(
...     object_id="AR 0058",
...     facts=(ObjectFacts(key="f", recorded_at=on(1), valid_from=on(1),
...                        layers=("F.1", "B.1", "B.2")),),
...     events=(Event(key="i", recorded_at=on(4), order=1, row=12, table_version=1,
...                   ended_at=on(4), label="lining taken off"),))
>>> for sight in sights(look(case, tables, t=on(9), u=on(9))):
...     print(sight.code, sight.words, [(s.from_at and s.from_at.day, s.until_at and s.until_at.day)
...                                     for s in sight.seen], sight.is_gone)
F.1 the front [(None, None)] False
B.1 the original back, under the lining with which the object came [(4, None)] False
B.2 the back of the lining with which the object came [(None, 4)] True
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime

from .carry import carry
from .facts import Event
from .moment import Moment
from .stateline import Point
from .surfaces import Life, Visible
from .terms import BACK, FRONT, Carry, Verdict, face_of
from .triggers import SurfaceAct
from .windows import Window, WindowState, windows

_FACES = {FRONT: "the front", BACK: "the back", "E": "the edges"}
_ORDER = {FRONT: 0, BACK: 1, "E": 2}


@dataclass(frozen=True, slots=True)
class Seen:
    """One time in which a surface can be seen.

    Without ``opened_by`` it began when the object came; without ``closed_by`` it has not ended,
    and ``until_at`` is then the instant planned for its end, if one is. ``is_planned`` marks a
    time that is still to come.
    """

    from_at: datetime | None
    opened_by: Event | None
    until_at: datetime | None
    closed_by: Event | None
    is_planned: bool = False


@dataclass(frozen=True, slots=True)
class Sight:
    """A surface: its code, face and description, when it can be seen, what speaks for it.

    ``pictures`` counts the accepted pictures ever made of it, ``speaking`` those that still
    speak for it.
    """

    code: str
    face: str
    words: str
    seen: tuple[Seen, ...]
    is_visible: bool
    is_gone: bool
    pictures: int
    speaking: int


def sights(moment: Moment) -> tuple[Sight, ...]:
    """Every surface of the front, the back and the edges, from the inside out of each face.

    Surfaces that a planned step will bare, and that nobody has recorded yet, come last.
    """
    events = {event.key: event for event in moment.events}
    ahead = windows(moment)
    found = [
        _sight(moment, life, events, ahead)
        for life in moment.surfaces.lives.values()
        if face_of(life.code) in _FACES
    ]
    known = moment.surfaces.lives
    found += [
        Sight(w.surface, face_of(w.surface), _BARED, (_to_come(w),), False, False, 0, 0)
        for w in ahead
        if w.surface not in known
    ]
    return tuple(sorted(found, key=lambda sight: (_ORDER[sight.face], sight.code)))


def _sight(
    moment: Moment, life: Life, events: dict[str, Event], ahead: tuple[Window, ...]
) -> Sight:
    seen = [_seen(span, events, life.code, ahead) for span in life.visible]
    seen += [
        _to_come(window)
        for window in ahead
        if window.surface == life.code and window.state is WindowState.TO_COME
    ]
    made, speaking = set(), set()
    for chain, speaks in _pictures(moment, life):
        made.add(chain)
        if speaks:
            speaking.add(chain)
    return Sight(
        code=life.code,
        face=face_of(life.code),
        words=_describe(moment, life, events),
        seen=tuple(seen),
        is_visible=life.is_visible,
        is_gone=life.gone is not None,
        pictures=len(made),
        speaking=len(speaking),
    )


def _seen(span: Visible, events: dict[str, Event], code: str, ahead: tuple[Window, ...]) -> Seen:
    until_at = span.until_at
    if span.until is None:
        until_at = next(
            (
                window.closes_at
                for window in ahead
                if window.surface == code and window.state is WindowState.OPEN
            ),
            None,
        )
    return Seen(
        span.from_at,
        events.get(span.opened_by or ""),
        until_at,
        events.get(span.closed_by or ""),
    )


def _to_come(window: Window) -> Seen:
    return Seen(window.opens_at, window.opened_by, window.closes_at, None, is_planned=True)


def _pictures(moment: Moment, life: Life) -> Iterator[tuple[str, bool]]:
    """Chains with an accepted version of this surface, and whether that version speaks for it."""
    last = moment.line.current
    if life.visible and life.visible[-1].until is not None:
        last = life.visible[-1].until - 1
    point = Point(last, last)
    for (surface, _, _), standings in moment.pictures.items():
        if surface == life.code:
            for standing in standings:
                if standing.verdict is Verdict.ACCEPTED:
                    yield (
                        standing.picture.chain,
                        carry(moment, standing, point).verdict is Carry.OK,
                    )


_BARED = "what lies under a lining that nobody has recorded"


def _describe(moment: Moment, life: Life, events: dict[str, Event]) -> str:
    face = _FACES[face_of(life.code)]
    if life.opened_by is None:
        return _describe_first(moment, life, face)
    act = moment.row(events[life.opened_by]).act
    if act is SurfaceAct.LINE:
        return f"{face} of a lining put on"
    if act is SurfaceAct.REPLACE:
        return f"{face} of the new support"
    return _BARED.replace("has recorded", "had recorded")


def _describe_first(moment: Moment, life: Life, face: str) -> str:
    stack = [code for code in moment.layers if face_of(code) == face_of(life.code)]
    plain = face.removeprefix("the ")
    if len(stack) > 1 and life.code == stack[0]:
        return f"the original {plain}, under the lining with which the object came"
    if len(stack) > 1:
        return f"{face} of the lining with which the object came"
    if face_of(life.code) == BACK and len(_peers(moment, life)) > 1:
        return f"the original {plain}"
    return face


def _peers(moment: Moment, life: Life) -> list[str]:
    """Every surface of the same face, this one included."""
    return [code for code in moment.surfaces.lives if face_of(code) == face_of(life.code)]
