"""How far a catalogue entry is documented: FULL, FULL with waivers, GAP, in progress, not started.

An entry is fully documented when (1) the facts of all its objects are complete, (2) something is
owed and every owed view is filed, waived, not applicable or replaced, (3) every chain of
replacements ends, without a circle, in a view that satisfies (2), and (4) no decision case, no
correction and no intervention is open on any of its objects.

>>> missing_facts(None)[:3]
('height_mm', 'width_mm', 'depth_mm')
>>> grade_entry([]).grade
<Grade.NOT_STARTED: 'not_started'>
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum

from .bitime import known
from .carry import carry
from .decisions import open_cases
from .facts import ObjectFacts, ProtocolPin
from .moment import Moment, is_running
from .status import ViewStatus, statuses
from .terms import Anchor, Carry, Grade, Status, Why

NEEDED_FACTS = (
    "height_mm",
    "width_mm",
    "depth_mm",
    "warp_mm",
    "support",
    "framed",
    "glazed",
    "light_class",
)
_UNTOUCHED = frozenset(
    (Status.OPEN, Status.PLANNED, Status.BLOCKED, Status.NOT_APPLICABLE, Status.REPLACED)
)
_SETTLED = frozenset((Status.FILED, Status.WAIVED, Status.NOT_APPLICABLE))


class ObstacleCode(StrEnum):
    """What keeps an entry from being fully documented."""

    FACTS_MISSING = "facts_missing"
    NOTHING_OWED = "nothing_owed"
    VIEW_OPEN = "view_open"
    REPLACEMENT_OPEN = "replacement_open"
    REPLACEMENT_CIRCLE = "replacement_circle"
    CASE_OPEN = "case_open"
    CORRECTION_OPEN = "correction_open"
    STEP_UNDER_WAY = "step_under_way"


@dataclass(frozen=True, slots=True)
class Obstacle:
    """One thing in the way; ``key`` is a fact's name, a view, a chain or a step."""

    code: ObstacleCode
    object_id: str
    key: str = ""


@dataclass(frozen=True, slots=True)
class ObjectReading:
    """An object's moment with the statuses that an entry counts, and all there are."""

    moment: Moment
    statuses: tuple[ViewStatus, ...]
    every_status: tuple[ViewStatus, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class GapStatement:
    """The head signs that the named lost views will stay missing."""

    key: str
    recorded_at: datetime
    signed_at: datetime
    by: str
    views: frozenset[str]
    ended_at: datetime | None = None
    withdrawn: bool = False


@dataclass(frozen=True, slots=True)
class EntryGrade:
    """The grade with everything it was reached by."""

    grade: Grade
    counts: Mapping[Status, int]
    total: int
    waived: int
    lost: tuple[ViewStatus, ...]
    obstacles: tuple[Obstacle, ...]


def read_object(moment: Moment, *, catalogue: str | None = None) -> ObjectReading:
    """The statuses of an object's views; with ``catalogue``, only those that count for it."""
    found = every = statuses(moment)
    if catalogue is not None:
        found = tuple(
            status
            for status in found
            if any(d.catalogue == catalogue for d in moment.demands.get(status.view.key, ()))
        )
    return ObjectReading(moment, found, every)


def count_statuses(readings: Iterable[ObjectReading]) -> dict[Status, int]:
    """How many views have each status; every status is named, and the sum is all views."""
    counted = Counter(status.status for reading in readings for status in reading.statuses)
    return {status: counted[status] for status in Status}


def lost_views(readings: Iterable[ObjectReading]) -> tuple[ViewStatus, ...]:
    """The views that can never be made any more and are not waived."""
    return tuple(
        status
        for reading in readings
        for status in reading.statuses
        if status.status is Status.LOST
    )


def missing_facts(facts: ObjectFacts | None) -> tuple[str, ...]:
    """Names of the facts that must be known before an object can be fully documented."""
    if facts is None:
        return NEEDED_FACTS
    return tuple(name for name in NEEDED_FACTS if getattr(facts, name) is None)


def grade_entry(
    readings: Sequence[ObjectReading], *, gaps: Iterable[GapStatement] = ()
) -> EntryGrade:
    """Grade one entry from the readings of all its objects and their parts.

    GAP needs a statement, in force and known, that names every lost view, and nothing else in
    the way. An entry is not started while no picture has ever been made for any of its views.
    """
    counted = [status for reading in readings for status in reading.statuses]
    by_key = {status.view.key: status for r in readings for status in r.every_status}
    obstacles = [o for reading in readings for o in _object_obstacles(reading)]
    if not counted and readings:
        obstacles.append(Obstacle(ObstacleCode.NOTHING_OWED, readings[0].moment.case.object_id))
    for reading in readings:
        obstacles += _view_obstacles(reading, by_key)
    counts = count_statuses(readings)
    lost = lost_views(readings)
    total = sum(counts.values())
    waived = counts[Status.WAIVED]
    if not obstacles and total:
        grade = Grade.FULL_WAIVED if waived else Grade.FULL
    elif lost and _only_lost(obstacles, lost) and _is_signed(readings, lost, gaps):
        grade = Grade.GAP
    elif all(_is_untouched(status) for status in counted):
        grade = Grade.NOT_STARTED
    else:
        grade = Grade.IN_PROGRESS
    return EntryGrade(grade, counts, total, waived, lost, tuple(obstacles))


def _is_untouched(status: ViewStatus) -> bool:
    return status.status in _UNTOUCHED and status.why in (None, Why.NEVER_MADE)


def _object_obstacles(reading: ObjectReading) -> Iterable[Obstacle]:
    moment = reading.moment
    object_id = moment.case.object_id
    for name in missing_facts(moment.facts):
        yield Obstacle(ObstacleCode.FACTS_MISSING, object_id, name)
    for case in open_cases(moment):
        yield Obstacle(ObstacleCode.CASE_OPEN, object_id, case.chain)
    for correction in moment.corrections:
        yield Obstacle(ObstacleCode.CORRECTION_OPEN, object_id, correction.chain)
    for event in moment.events:
        if is_running(event, moment.t):
            yield Obstacle(ObstacleCode.STEP_UNDER_WAY, object_id, event.key)


def _view_obstacles(reading: ObjectReading, by_key: Mapping[str, ViewStatus]) -> Iterable[Obstacle]:
    object_id = reading.moment.case.object_id
    for status in reading.statuses:
        if status.status is Status.REPLACED:
            end = follow_replacements(status, by_key)
            if end is None:
                yield Obstacle(ObstacleCode.REPLACEMENT_CIRCLE, object_id, status.view.key)
            elif end.status not in _SETTLED:
                yield Obstacle(ObstacleCode.REPLACEMENT_OPEN, object_id, status.view.key)
        elif status.status not in _SETTLED:
            yield Obstacle(ObstacleCode.VIEW_OPEN, object_id, status.view.key)


def follow_replacements(status: ViewStatus, by_key: Mapping[str, ViewStatus]) -> ViewStatus | None:
    """The view at the end of a chain of replacements; ``None`` if it runs in a circle.

    A chain that leaves the given views ends at its last known view, which is then still
    ``replaced`` and satisfies nothing.
    """
    seen = {status.view.key}
    while status.status is Status.REPLACED:
        following = by_key.get(status.view.replaced_by or "")
        if following is None:
            return status
        if following.view.key in seen:
            return None
        seen.add(following.view.key)
        status = following
    return status


def _only_lost(obstacles: Sequence[Obstacle], lost: Sequence[ViewStatus]) -> bool:
    keys = {status.view.key for status in lost}
    return all(o.code is ObstacleCode.VIEW_OPEN and o.key in keys for o in obstacles)


def _is_signed(
    readings: Sequence[ObjectReading], lost: Sequence[ViewStatus], gaps: Iterable[GapStatement]
) -> bool:
    t, u = readings[0].moment.t, readings[0].moment.u
    signed: set[str] = set()
    for gap in known(gaps, u):
        if gap.signed_at <= t and (gap.ended_at is None or t < gap.ended_at):
            signed |= gap.views
    return {status.view.key for status in lost} <= signed


@dataclass(frozen=True, slots=True)
class Figure:
    """A picture chosen for print. ``names_state``: its caption says which state it shows."""

    chain: str
    version: int
    names_state: bool
    is_cleared: bool


def is_print_ready(readings: Sequence[ObjectReading], figures: Iterable[Figure]) -> bool:
    """Whether every figure still shows the present (or says which past) and may be printed."""
    return not figures_in_the_way(readings, figures)


def figures_in_the_way(
    readings: Sequence[ObjectReading], figures: Iterable[Figure]
) -> tuple[Figure, ...]:
    """The figures that keep an entry from print: not cleared, untrue without saying so, unknown."""
    now = Anchor.current()
    true_today = {
        standing.picture.key
        for reading in readings
        for group in reading.moment.pictures.values()
        for standing in group
        if carry(reading.moment, standing, reading.moment.point(now)).verdict is Carry.OK
    }
    known_pictures = {
        standing.picture.key
        for reading in readings
        for group in reading.moment.pictures.values()
        for standing in group
    }
    return tuple(
        figure
        for figure in figures
        if not figure.is_cleared
        or (figure.chain, figure.version) not in known_pictures
        or not (figure.names_state or (figure.chain, figure.version) in true_today)
    )


def pinned_version(
    pins: Iterable[ProtocolPin], entry: str, *, t: datetime, u: datetime
) -> str | None:
    """The protocol version an entry followed at ``t`` as known at ``u``."""
    held = [pin for pin in known(pins, u) if pin.entry == entry and pin.starts_at <= t]
    last = max(held, key=lambda pin: (pin.starts_at, pin.recorded_at), default=None)
    return last.version if last is not None else None
