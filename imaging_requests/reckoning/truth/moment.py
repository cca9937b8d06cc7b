"""One object at one valid instant ``t`` as known at ``u``: facts filtered, sorted and indexed.

Everything else in this package reads a :class:`Moment`; building it costs one pass over the
records, so that statuses, gates, decisions and duties of the same instant share the work.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from datetime import datetime
from typing import Any, TypeVar

from .bitime import holds, known
from .facts import (
    Correction,
    Demand,
    Event,
    NotApplicable,
    ObjectCase,
    ObjectFacts,
    Override,
    OwedView,
    Picture,
    PlannedShot,
    Review,
    Unavailable,
    Waiver,
)
from .in_force import judged
from .owing import live_demands, seen_at
from .stateline import Point, StateLine, draw_line, locate
from .surfaces import Life, SurfaceLine, Visible, follow
from .terms import (
    EDGES,
    INTAKE_LAYERS,
    THROUGH,
    Anchor,
    AnchorKind,
    Effect,
    Validity,
    Verdict,
    face_of,
)
from .triggers import Row, Tables

ViewKey = tuple[str, str, str]
#: An opener's place in the state line, the opener, and what it does.
Touch = tuple[int, Event, Effect]
T = TypeVar("T")

_TOUCHING = frozenset((Effect.OUT, Effect.ASK_OUT, Effect.ASK_VALID))


@dataclass(slots=True)
class Standing:
    """A picture version with what holds of it: its state, its review, its filing.

    One that ``was_filed`` and is not any more lies in a sealed package and lacks verified copies.
    ``running`` are the interventions that had started and not ended at its capture.
    """

    picture: Picture
    state: int
    running: tuple[Event, ...]
    verdict: Verdict | None
    frames_good: bool
    is_filed: bool
    was_filed: bool
    is_handed_in: bool


@dataclass(slots=True)
class Moment:
    """What held of an object at ``t``, as known at ``u``; build it with :func:`look`.

    ``layers`` are the surface codes at intake, from the inside out.
    """

    case: ObjectCase
    tables: Tables
    t: datetime
    u: datetime
    facts: ObjectFacts | None
    layers: tuple[str, ...]
    events: tuple[Event, ...]
    line: StateLine
    surfaces: SurfaceLine
    pictures: dict[ViewKey, list[Standing]]
    views: tuple[OwedView, ...]
    demands: dict[str, list[Demand]]
    waivers: dict[str, list[Waiver]]
    not_applicable: dict[str, NotApplicable]
    verdicts: dict[tuple[str, str], Validity | None]
    planned: dict[str, PlannedShot]
    unavailable: tuple[Unavailable, ...]
    overrides: tuple[Override, ...]
    corrections: tuple[Correction, ...]
    index: dict[str, int]
    _effects: dict[tuple[str, str, str], Effect] = field(default_factory=dict)
    _touching: dict[tuple[str, str], tuple[Touch, ...]] = field(default_factory=dict)
    _points: dict[Anchor, Point] = field(default_factory=dict)
    _kept: dict[str, tuple[Any, ...]] = field(default_factory=dict)

    def keep(self, name: str, work_out: Callable[[Moment], tuple[T, ...]]) -> tuple[T, ...]:
        """Work something out of this moment once; whoever asks again gets the same answer."""
        found = self._kept.get(name)
        if found is None:
            found = self._kept[name] = work_out(self)
        return found

    @property
    def two_sided(self) -> bool:
        """Whether both faces are painted, so that the mirror rule applies."""
        return self.facts is not None and self.facts.two_sided

    def life(self, surface: str) -> Life | None:
        """The surface's life; edges and X-ray always exist; ``None``: no such surface (yet)."""
        found = self.surfaces.lives.get(surface) or self.surfaces.lives.get(f"{surface}.1")
        if found is None and face_of(surface) in (EDGES, THROUGH):
            return Life(surface, visible=[Visible(0, None, None)])
        return found

    def point(self, anchor: Anchor) -> Point:
        """Where an anchor lies on the state line at this moment."""
        found = self._points.get(anchor)
        if found is None:
            if anchor.kind is AnchorKind.WIN:
                found = self._window(anchor)
            else:
                found = locate(anchor, self.line, self.events, self.t)
            self._points[anchor] = found
        return found

    def _window(self, anchor: Anchor) -> Point:
        if anchor.surface is None:
            raise ValueError("A WIN anchor needs the surface whose window it means.")
        now = self.line.current
        life = self.life(anchor.surface)
        span = life.window(anchor.window) if life is not None else None
        if span is None and face_of(anchor.surface) in (EDGES, THROUGH):
            spans = (other.window(anchor.window) for other in self.surfaces.lives.values())
            span = next((found for found in spans if found is not None), None)
        if span is None:
            return Point(now, now, reached=False)
        if span.until is None:
            return Point(span.first, now)
        return Point(span.first, max(span.first, span.until - 1), past=True)

    def effect(self, event: Event, surface: str, technique: str) -> Effect:
        """What the event did to pictures of this surface in this technique.

        The resolved cell, read for a surface: events before a surface appeared or after it was
        gone do not touch it; N asks about pictures of a surface that the event re-exposed
        (proposal out of date) and about no others; rows marked so touch the outermost surface
        of a face only, not one under a lining.
        """
        key = (event.key, surface, technique)
        found = self._effects.get(key)
        if found is None:
            found = self._effects[key] = self._resolve(event, surface, technique)
        return found

    def touching(self, surface: str, technique: str) -> tuple[Touch, ...]:
        """The openers that put pictures of a surface in a technique out of date or in doubt.

        Each with its place among the openers, in their order; the others leave them true.
        """
        key = (surface, technique)
        found = self._touching.get(key)
        if found is None:
            found = self._touching[key] = tuple(
                (number, event, effect)
                for number, event in enumerate(self.line.openers)
                if (effect := self.effect(event, surface, technique)) in _TOUCHING
            )
        return found

    def cell(
        self, event: Event, technique: str, face: str, *, puts_on: bool | None = None
    ) -> Effect:
        """The resolved cell of an event: mirror, area and direction rules applied."""
        table = self.tables[event.table_version]
        return table.cell(
            table.row(event.row),
            technique,
            face,
            mirrored=self.two_sided and event.face == "B",
            area_cm2=event.area_cm2,
            area_pct=self._area_pct(event),
            puts_on=event.puts_on if puts_on is None else puts_on,
            kind=self.facts.kind if self.facts is not None else "painting",
        )

    def row(self, event: Event) -> Row:
        """The event's row, from the table version that judges it."""
        return self.tables[event.table_version].row(event.row)

    def _resolve(self, event: Event, surface: str, technique: str) -> Effect:
        number = self.index.get(event.key)
        if number is None:
            cell = self.cell(event, technique, face_of(surface))
            return Effect.ASK_OUT if cell is Effect.NEW else cell
        state = number + 1
        life = self.life(surface)
        if life is not None:
            if state <= life.opened and life.opened_by is not None:
                return Effect.VALID
            if life.gone is not None and state >= life.gone:
                return Effect.VALID
            if self.row(event).outermost_only and life.is_buried(state):
                return Effect.VALID
        cell = self.cell(
            event, technique, face_of(surface), puts_on=self.surfaces.puts_on.get(number)
        )
        if cell is Effect.NEW:
            bared = self.surfaces.bared.get(number, frozenset())
            is_bared = life is not None and life.code in bared
            return Effect.ASK_OUT if is_bared else Effect.VALID
        return cell

    def _area_pct(self, event: Event) -> float | None:
        if event.area_pct is not None or event.area_cm2 is None or self.facts is None:
            return event.area_pct
        height, width = self.facts.height_mm, self.facts.width_mm
        if not height or not width:
            return None
        return event.area_cm2 * 100.0 / (height * width) * 100.0


def look(case: ObjectCase, tables: Tables, *, t: datetime, u: datetime) -> Moment:
    """Read a case at valid time ``t`` with the knowledge of ``u``.

    First only records known at ``u`` are kept, the latest of each key; then they are read at
    ``t``: events that ended, pictures captured, reviews given, intervals that hold.
    """
    facts = _facts_at(case, t, u)
    events = tuple(
        judged(event, case.published, tables, t=t, u=u) for event in known(case.events, u)
    )
    line = draw_line(events, tables, t)
    two_sided = facts is not None and facts.two_sided
    layers = _layers_at_intake(case, u)
    surfaces = follow(line, layers, two_sided=two_sided)
    views = known(case.views, u)
    demands = live_demands(
        views, known(case.demands, u), events, line, seen_at(surfaces) if views else {}, t
    )
    return Moment(
        case=case,
        tables=tables,
        t=t,
        u=u,
        facts=facts,
        layers=layers,
        events=events,
        line=line,
        surfaces=surfaces,
        pictures=_standings(case, line, events, t, u),
        views=tuple(view for view in views if view.key in demands),
        demands=demands,
        waivers=_waivers(case, t, u),
        not_applicable={
            na.view: na
            for na in known(case.not_applicable, u)
            if holds(t, starts_at=na.starts_at, ends_at=na.ends_at)
        },
        verdicts=_verdicts(case, t, u),
        planned=_planned(case, t, u),
        unavailable=tuple(
            away
            for away in known(case.unavailable, u)
            if holds(t, starts_at=away.starts_at, ends_at=away.ends_at)
        ),
        overrides=tuple(known(case.overrides, u)),
        corrections=tuple(
            correction
            for correction in known(case.corrections, u)
            if holds(t, starts_at=correction.opened_at, ends_at=correction.closed_at)
        ),
        index={event.key: number for number, event in enumerate(line.openers)},
    )


def with_decisions(moment: Moment, case: ObjectCase) -> Moment:
    """The same moment of a case file that has more decisions and is else the same."""
    verdicts = _verdicts(case, moment.t, moment.u)
    return replace(moment, case=case, verdicts=verdicts, _kept={})


def _facts_at(case: ObjectCase, t: datetime, u: datetime) -> ObjectFacts | None:
    found = [record for record in known(case.facts, u) if record.valid_from <= t]
    return max(found, key=lambda record: (record.valid_from, record.recorded_at), default=None)


def _layers_at_intake(case: ObjectCase, u: datetime) -> tuple[str, ...]:
    """What lay at each face when the object came, as the newest record tells it.

    It was so from the beginning, whatever day the record of it is valid from.
    """
    newest = max(
        known(case.facts, u),
        key=lambda record: (record.recorded_at, record.valid_from),
        default=None,
    )
    return newest.layers if newest is not None else INTAKE_LAYERS


def _standings(
    case: ObjectCase, line: StateLine, events: tuple[Event, ...], t: datetime, u: datetime
) -> dict[ViewKey, list[Standing]]:
    """Pictures by surface, technique and variant, the newest first."""
    reviews: dict[tuple[str, int], Review] = {}
    for review in known(case.reviews, u):
        if review.at <= t:
            held = reviews.get((review.chain, review.version))
            if held is None or held.at <= review.at:
                reviews[review.chain, review.version] = review
    filings = [filing for filing in known(case.filings, u) if filing.starts_at <= t]
    ever_filed = {(filing.chain, filing.version) for filing in filings}
    filed = {
        (filing.chain, filing.version)
        for filing in filings
        if holds(t, starts_at=filing.starts_at, ends_at=filing.ends_at)
    }
    started = [event for event in events if event.started_at is not None]
    grouped: dict[ViewKey, list[Standing]] = {}
    for picture in known(case.pictures, u):
        at = picture.captured_at
        if at > t:
            continue
        key = (picture.chain, picture.version)
        review_ = reviews.get(key)
        standing = Standing(
            picture,
            line.state_at(at),
            tuple(event for event in started if is_running(event, at)) if started else (),
            review_.verdict if review_ is not None else None,
            review_ is not None and review_.frames_good,
            key in filed,
            key in ever_filed,
            picture.handed_in_at is not None and picture.handed_in_at <= t,
        )
        view = (picture.surface, picture.technique, picture.variant)
        grouped.setdefault(view, []).append(standing)
    for standings in grouped.values():
        if len(standings) > 1:
            standings.sort(key=lambda s: (s.picture.captured_at, s.picture.version), reverse=True)
    return grouped


def is_running(event: Event, at: datetime) -> bool:
    """Whether the intervention had started and neither ended nor been given up at ``at``."""
    if event.started_at is None or event.started_at > at:
        return False
    if event.ended_at is not None:
        return at < event.ended_at
    return event.dropped_at is None or at < event.dropped_at


def _waivers(case: ObjectCase, t: datetime, u: datetime) -> dict[str, list[Waiver]]:
    found: dict[str, list[Waiver]] = {}
    for waiver in known(case.waivers, u):
        if (
            waiver.granted_at <= t
            and (waiver.lapses_at is None or t < waiver.lapses_at)
            and (waiver.ended_at is None or t < waiver.ended_at)
        ):
            found.setdefault(waiver.view, []).append(waiver)
    return found


def _verdicts(case: ObjectCase, t: datetime, u: datetime) -> dict[tuple[str, str], Validity | None]:
    found: dict[tuple[str, str], tuple[datetime, Validity | None]] = {}
    for decision in known(case.decisions, u):
        if decision.opened_at <= t:
            done = decision.decided_at
            if done is not None and done <= t:
                act = (done, decision.verdict)
            else:
                act = (decision.opened_at, None)
            key = (decision.chain, decision.event)
            if key not in found or found[key][0] <= act[0]:
                found[key] = act
    return {key: verdict for key, (_, verdict) in found.items()}


def _planned(case: ObjectCase, t: datetime, u: datetime) -> dict[str, PlannedShot]:
    """The earliest confirmed shot line of every view, in a session that is not over."""
    found: dict[str, PlannedShot] = {}
    for shot in known(case.planned, u):
        is_over = shot.session_ends_at is not None and shot.session_ends_at <= t
        if not is_over and holds(t, starts_at=shot.confirmed_at, ends_at=shot.released_at):
            held = found.get(shot.view)
            if held is None or _sooner(shot, held):
                found[shot.view] = shot
    return found


def _sooner(one: PlannedShot, other: PlannedShot) -> bool:
    if one.session_starts_at is None:
        return False
    return other.session_starts_at is None or one.session_starts_at < other.session_starts_at
