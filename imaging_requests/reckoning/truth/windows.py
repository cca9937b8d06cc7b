"""Only-now windows: a surface bared by a step can be seen until the next step hides it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime
from enum import StrEnum

from .facts import Event
from .moment import Moment
from .stateline import StateLine, in_plan
from .status import ViewStatus
from .surfaces import SurfaceLine, Visible, acts_on, follow
from .terms import AnchorKind
from .triggers import SurfaceAct


class WindowState(StrEnum):
    """Whether the surface can be seen already, still, or no more."""

    TO_COME = "to_come"
    OPEN = "open"
    CLOSED = "closed"


@dataclass(frozen=True, slots=True)
class Window:
    """``opens_at`` and ``closes_at`` are planned as long as the event has not happened."""

    surface: str
    opened_by: Event
    opens_at: datetime | None
    closes_at: datetime | None
    state: WindowState


def windows(moment: Moment) -> tuple[Window, ...]:
    """Every window of the object, closed, open and planned, in order of opening.

    A window opens when a lining or a backing board comes off and bares a surface. It closes with
    the step that hides the surface again; until then its planned end is the exposing step's own
    ``exposure_until``, else the planned start of the next step that hides the face.
    """
    return moment.keep("windows", _every_window)


def _every_window(moment: Moment) -> tuple[Window, ...]:
    found = []
    for number, event in enumerate(moment.line.openers):
        for code, span in _bared_spans(moment.surfaces, moment.line, number):
            closes = span.until_at if span.until is not None else _planned_end(moment, event)
            state = WindowState.OPEN if span.until is None else WindowState.CLOSED
            found.append(Window(code, event, event.ended_at, closes, state))
    for event in moment.events:
        if event.key not in moment.index and in_plan(event, moment.t):
            found.extend(_to_come(moment, event))
    return tuple(found)


def views_in(window: Window, statuses: tuple[ViewStatus, ...]) -> tuple[ViewStatus, ...]:
    """The statuses of the views that are owed as of this window."""
    return tuple(
        status
        for status in statuses
        if status.view.anchor.kind is AnchorKind.WIN
        and status.view.anchor.surface == window.surface
        and status.view.anchor.window == window.opened_by.key
    )


_EXPOSING = (SurfaceAct.UNLINE, SurfaceAct.BOARD)


def _bared_spans(surfaces: SurfaceLine, line: StateLine, number: int) -> list[tuple[str, Visible]]:
    row = line.rows[number]
    if row.act not in _EXPOSING:
        return []
    key = line.openers[number].key
    return [
        (life.code, span)
        for life in surfaces.lives.values()
        for span in life.visible
        if span.opened_by == key
    ]


def _planned_end(moment: Moment, event: Event) -> datetime | None:
    if event.exposure_until is not None:
        return event.exposure_until
    face = acts_on(event, moment.row(event), two_sided=moment.two_sided)
    starts = [
        other.planned_start_at
        for other in moment.events
        if other.key not in moment.index
        and other.key != event.key
        and in_plan(other, moment.t)
        and other.planned_start_at is not None
        and _hides(moment, other, face)
        and (event.planned_end_at is None or other.planned_start_at >= event.planned_end_at)
    ]
    return min(starts, default=None)


def _hides(moment: Moment, event: Event, face: str) -> bool:
    row = moment.row(event)
    if row.act is None or acts_on(event, row, two_sided=moment.two_sided) != face:
        return False
    if row.act is SurfaceAct.BOARD:
        return event.puts_on is not False
    return row.act in (SurfaceAct.COVER, SurfaceAct.LINE, SurfaceAct.REPLACE)


def _to_come(moment: Moment, event: Event) -> list[Window]:
    row = moment.row(event)
    if row.act not in _EXPOSING or (row.act is SurfaceAct.BOARD and event.puts_on is not False):
        return []
    ended = replace(event, ended_at=moment.t)
    line = StateLine(
        (*moment.line.openers, ended),
        (*moment.line.rows, row),
        (*moment.line.instants, moment.t),
    )
    surfaces = follow(line, moment.layers, two_sided=moment.two_sided)
    opens = event.planned_end_at or event.planned_start_at
    return [
        Window(code, event, opens, _planned_end(moment, event), WindowState.TO_COME)
        for code, _ in _bared_spans(surfaces, line, len(line.openers) - 1)
    ]
