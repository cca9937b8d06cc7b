"""Which views are owed at ``t``: demands read by the valid times of the events they follow from.

A demand is recorded when somebody learns what it follows from, often days after it was true. What
a treatment or a protocol asks at a valid time therefore follows from the events as known at ``u``,
not from the instant at which the demand was derived:

* AT of a treatment: once every planned step of it (or of the phase) has ended.
* DT of a treatment: once its first step has started.
* BT of a treatment: from the instant the demand was recorded, or from the first start if that was
  earlier (the treatment was entered after it had begun).
* WIN: from the instant the demand was recorded, or from the end of the step that opened the window
  if that was earlier.
* CUR of a protocol line whose face got another surface: the demand that was handed over belongs
  to the surface that could be seen at ``t``, whenever the change was entered.

Every other demand, and the end of every demand, holds as recorded.

>>> from datetime import UTC
>>> def day(n): return datetime(2026, 10, n, tzinfo=UTC)
>>> step = Event(key="i-7", recorded_at=day(12), order=7, row=2, table_version=1,
...              started_at=day(1), ended_at=day(2), treatment="T2", step=1)
>>> view = OwedView(key="v", recorded_at=day(12), surface="F.1", technique="UV",
...                 anchor=Anchor.after("T2"), px_per_mm=6, tolerance=0.05, min_coverage=0.995)
>>> asked = Demand(key="d", recorded_at=day(12), view="v", kind=BY_TREATMENT, starts_at=day(12))
>>> line = StateLine((), (), ())
>>> def owed(n): return sorted(live_demands([view], [asked], [step], line, {}, day(n)))
>>> owed(1), owed(8), owed(20)
([], ['v'], ['v'])
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime

from .bitime import holds
from .facts import Demand, Event, OwedView
from .stateline import StateLine, locate, steps_of
from .surfaces import Life, SurfaceLine
from .terms import BACK, FRONT, Anchor, AnchorKind, face_of

#: Kinds of demand that follow from events.
BY_PROTOCOL = "protocol"
BY_TREATMENT = "treatment"


def live_demands(
    views: Iterable[OwedView],
    demands: Iterable[Demand],
    events: Sequence[Event],
    line: StateLine,
    seen: Mapping[str, str],
    t: datetime,
) -> dict[str, list[Demand]]:
    """Demands that are live at ``t``, by view; a view is in force while one of its own is live.

    ``views``, ``demands`` and ``events`` are those known, ``line`` is the state line at ``t``;
    ``seen`` names the surface at each face then (:func:`seen_at`).
    """
    anchors = {view.key: view for view in views}
    found: dict[str, list[Demand]] = {}
    handed: dict[tuple[str, str | None, str, str, str], list[Demand]] = defaultdict(list)
    for demand in demands:
        view = anchors.get(demand.view)
        if view is not None and demand.kind == BY_PROTOCOL and _lies_on_a_face(view):
            place = (demand.ref, demand.catalogue, view.technique, view.variant)
            handed[*place, face_of(view.surface)].append(demand)
        elif _is_live(demand, view, events, line, t):
            found.setdefault(demand.view, []).append(demand)
    for (*_, face), group in handed.items():
        for demand in _on_the_surface(group, anchors, seen.get(face), t):
            found.setdefault(demand.view, []).append(demand)
    return found


def _lies_on_a_face(view: OwedView) -> bool:
    return view.anchor.kind is AnchorKind.CUR and face_of(view.surface) in (FRONT, BACK)


def _is_live(
    demand: Demand, view: OwedView | None, events: Sequence[Event], line: StateLine, t: datetime
) -> bool:
    if demand.ends_at is not None and demand.ends_at <= t:
        return False
    if view is None or demand.kind != BY_TREATMENT:
        return demand.starts_at <= t
    anchor = view.anchor
    if anchor.kind is AnchorKind.AT:
        return locate(anchor, line, events, t).reached
    if anchor.kind is AnchorKind.DT:
        return _has_started(anchor, events, t)
    if demand.starts_at <= t:
        return True
    if anchor.kind is AnchorKind.BT:
        return _has_started(anchor, events, t)
    if anchor.kind is AnchorKind.WIN:
        return any(
            event.key == anchor.window and event.ended_at is not None and event.ended_at <= t
            for event in events
        )
    return False


def _has_started(anchor: Anchor, events: Sequence[Event], t: datetime) -> bool:
    steps = steps_of(events, anchor.treatment, t, phase=anchor.phase)
    return any(step.started_at is not None and step.started_at <= t for step in steps)


def _on_the_surface(
    group: Sequence[Demand], views: Mapping[str, OwedView], seen: str | None, t: datetime
) -> list[Demand]:
    """Demands of one protocol line on one face: those of the surface that was seen at ``t``.

    Only where one demand took over from another at the same instant, as a derivation writes it.
    """
    holding = [d for d in group if holds(t, starts_at=d.starts_at, ends_at=d.ends_at)]
    if seen is None or all(views[d.view].surface == seen for d in holding):
        return holding
    kept = []
    for demand in holding:
        chain = _chain(demand, group)
        right = [d for d in chain if views[d.view].surface == seen]
        kept.append(min(right, key=lambda d: _distance(d, t)) if right else demand)
    return list(dict.fromkeys(kept))


def _chain(demand: Demand, group: Sequence[Demand]) -> list[Demand]:
    """The demand with those it took over from and handed over to, step by step."""
    chain, waiting = [demand], [demand]
    while waiting:
        one = waiting.pop()
        for other in group:
            met = other.starts_at == one.ends_at or one.starts_at == other.ends_at
            if met and other not in chain:
                chain.append(other)
                waiting.append(other)
    return chain


def _distance(demand: Demand, t: datetime) -> tuple[float, str]:
    """How far from ``t`` the demand held, in seconds; the key breaks ties."""
    if t < demand.starts_at:
        return (demand.starts_at - t).total_seconds(), demand.key
    if demand.ends_at is not None and demand.ends_at <= t:
        return (t - demand.ends_at).total_seconds(), demand.key
    return 0.0, demand.key


def seen_at(surfaces: SurfaceLine) -> dict[str, str]:
    """The surface that lies at the front and the back; under a cover, what lay there last."""
    found: dict[str, str] = {}
    for face in (FRONT, BACK):
        top = surfaces.top(face) or _left_of(face, surfaces)
        if top is not None:
            found[face] = top.code
    return found


def _left_of(face: str, surfaces: SurfaceLine) -> Life | None:
    left = [
        life
        for life in surfaces.lives.values()
        if life.code.startswith(face) and life.gone is None and not life.is_closed
    ]
    return left[-1] if left else None
