"""The preferred state of a view that is owed as it is now: the cleaned state of a treatment.

For infrared and X-ray the best picture is often not the newest: what retouching covers was open
before it. Whoever asks for a view as it is now may therefore prefer the *cleaned* state and accept
the present one as second best. A picture of either meets the view.

The cleaned state is the one that retouching starts from. The trigger table says which steps end
it: those with a last look as of "cleaned". The step that comes before such a step in the same
phase of the same treatment brings the cleaned state, and DT after that step is its anchor; steps
count in the order in which they were done, are being done, or are planned. Of several cleaned
states that were reached the newest is preferred: nobody can go back behind it.

The preference holds as long as everybody who asks for the view has it; who asks for the present
state without it is owed the present state.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from itertools import pairwise
from typing import TYPE_CHECKING

from ..records import record
from .facts import Event, OwedView, Picture
from .moment import Moment, is_running
from .stateline import Point, in_plan
from .terms import (
    BACK,
    CLEANED,
    FRONT,
    THROUGH,
    Anchor,
    AnchorKind,
    Effect,
    Status,
    face_of,
)

if TYPE_CHECKING:
    from .status import ViewStatus

_OTHER = {FRONT: BACK, BACK: FRONT}
_TOUCHES = frozenset((Effect.OUT, Effect.ASK_OUT, Effect.ASK_VALID))
_ENDS = frozenset((*_TOUCHES, Effect.HIDDEN))
_MET = frozenset((Status.FILED, Status.ACCEPTED))
#: A picture that may be one of the preferred state is on its way, or stopped on it.
_SHOT = frozenset(
    (
        Status.UNDECIDED,
        Status.TO_REVIEW,
        Status.SENT_BACK,
        Status.CAPTURED,
        Status.RECALLED,
    )
)


@record
@dataclass(frozen=True, slots=True)
class Cleaned:
    """A cleaned state: ``after`` brings it, ``before`` ends it, ``anchor`` is DT after the one."""

    anchor: Anchor
    after: Event
    before: Event


class Stand(StrEnum):
    """How the preferred state stands."""

    MET = "met"
    SHOT = "shot"
    POSSIBLE = "possible"
    TO_COME = "to_come"
    ENDED = "ended"
    LOST = "lost"
    NONE = "none"


@record
@dataclass(frozen=True, slots=True)
class Better:
    """The preferred state of a view, beside the view's own status.

    * MET: the picture that meets the view shows it. SHOT: a picture of it exists and stands as
      ``status`` says; one made later that waits for a decision is none.
    * POSSIBLE: nothing has touched the view since; ``events`` holds the step that will end it,
      ``until`` is that step's planned start. ``status`` is BLOCKED while nobody can get at it.
    * TO_COME: it is planned, for ``until``.
    * ENDED: ``events`` left in doubt whether a picture made now could still show it. LOST: they
      changed the view for good, or took its surface. NONE: no treatment has or plans one.
    """

    stand: Stand
    anchor: Anchor | None = None
    status: Status | None = None
    picture: Picture | None = None
    events: tuple[Event, ...] = ()
    until: datetime | None = None


def preferred_of(moment: Moment, view: OwedView) -> str:
    """The state that everybody who asks for the view as it is now prefers; else nothing."""
    asked = moment.demands.get(view.key)
    if not asked or view.anchor.kind is not AnchorKind.CUR:
        return ""
    first = asked[0].preferred
    if not first:
        return ""
    return first if all(demand.preferred == first for demand in asked) else ""


def newest(moment: Moment, view: OwedView) -> tuple[Cleaned, Point] | None:
    """The newest cleaned state of a view's face that was reached, and where it lies."""
    reached = [
        (each, point)
        for each in cleaned_states(moment, face_of(view.surface))
        if (point := moment.point(each.anchor)).reached
    ]
    return max(reached, key=lambda found: (found[1].first, found[0].after.order), default=None)


def cleaned_states(moment: Moment, face: str) -> tuple[Cleaned, ...]:
    """Every cleaned state of a face, past, present and planned, treatment by treatment."""
    return moment.keep(f"cleaned {face}", lambda at: tuple(_find(at, face)))


def _find(moment: Moment, face: str) -> Iterator[Cleaned]:
    for treatment, steps in _phases(moment):
        for after, before in pairwise(steps):
            ends = ends_cleaned(moment, before, face) and not ends_cleaned(moment, after, face)
            if ends and after.step is not None:
                yield Cleaned(Anchor.during(treatment, step=after.step), after, before)


def _phases(moment: Moment) -> Iterator[tuple[str, list[Event]]]:
    """The steps of every phase of every treatment in the order of work; looks change nothing."""
    found: dict[tuple[str, int | None], list[Event]] = {}
    for event in moment.events:
        if event.treatment is None or not in_plan(event, moment.t):
            continue
        if moment.row(event).opens_state:
            found.setdefault((event.treatment, event.phase), []).append(event)
    for (treatment, _), steps in found.items():
        done = [step for step in steps if step.ended_at is not None and step.ended_at <= moment.t]
        done.sort(key=lambda step: (step.ended_at, step.order))
        begun = [step for step in steps if is_running(step, moment.t)]
        begun.sort(key=lambda step: (step.started_at, step.order))
        rest = [step for step in steps if step not in done and step not in begun]
        rest.sort(key=lambda step: (step.step or 0, step.order))
        yield treatment, [*done, *begun, *rest]


def ends_cleaned(moment: Moment, event: Event, face: str) -> bool:
    """Whether a step has a last look of the cleaned state on this face; X-rays see every face."""
    mirrored = moment.two_sided and event.face == BACK
    for look in moment.row(event).last_look:
        if look.as_of == CLEANED:
            side = look.column.partition("-")[2] or look.column
            side = _OTHER.get(side, side) if mirrored else side
            if side == face or face == THROUGH:
                return True
    return False


@dataclass(frozen=True, slots=True)
class Reached:
    """A view that prefers a state that was reached.

    ``status`` is the view's own, ``of_it`` the one that it would have if it were owed as of that
    state alone, ``shot`` the same without pictures made later that wait for a decision.
    """

    status: ViewStatus
    of_it: ViewStatus
    shot: ViewStatus


def better_of(moment: Moment, view: OwedView, reached: Reached | None = None) -> Better:
    """How the preferred state of a view stands; without ``reached`` there was none yet."""
    found = Better(Stand.NONE) if reached is None else _of_reached(moment, reached)
    if found.stand not in (Stand.NONE, Stand.ENDED, Stand.LOST):
        return found
    ahead = [
        each
        for each in cleaned_states(moment, face_of(view.surface))
        if not moment.point(each.anchor).reached
    ]
    if not ahead:
        return found
    following = min(ahead, key=lambda each: (_due(each) is None, _due(each), each.after.order))
    return Better(Stand.TO_COME, following.anchor, until=_due(following))


def _due(each: Cleaned) -> datetime | None:
    return each.after.planned_end_at or each.after.planned_start_at


def _of_reached(moment: Moment, reached: Reached) -> Better:
    of_it, shot = reached.of_it, reached.shot
    view, anchor = of_it.view, of_it.view.anchor
    if of_it.status in _MET:
        stand = Stand.MET if of_it.status is reached.status.status else Stand.SHOT
        return Better(stand, anchor, of_it.status, of_it.reason.picture)
    if shot.status in _SHOT:
        return Better(Stand.SHOT, anchor, shot.status, shot.reason.picture)
    if of_it.status is Status.LOST:
        return Better(Stand.LOST, anchor, events=of_it.reason.events)
    last = moment.point(anchor).last
    touching = moment.touching(view.surface, view.technique)
    doubtful = [event for number, event, _ in touching if number >= last]
    doubtful += [
        event
        for event in moment.events
        if is_running(event, moment.t)
        and moment.effect(event, view.surface, view.technique) in _TOUCHES
    ]
    if doubtful:
        return Better(Stand.ENDED, anchor, events=tuple(doubtful))
    ending = ending_of(moment, view)
    until = ending.planned_start_at if ending is not None else None
    events = () if ending is None else (ending,)
    return Better(Stand.POSSIBLE, anchor, of_it.status, events=events, until=until)


def ending_of(moment: Moment, view: OwedView) -> Event | None:
    """The next planned step that will end the state that a view shows now."""
    ending = [
        event
        for event in moment.events
        if event.treatment is not None
        and (event.started_at is None or event.started_at > moment.t)
        and in_plan(event, moment.t)
        and ends_view(moment, event, view)
    ]
    return min(
        ending,
        key=lambda e: (e.planned_start_at is None, e.planned_start_at, e.step or 0, e.order),
        default=None,
    )


def ends_view(moment: Moment, event: Event, view: OwedView) -> bool:
    """Whether a planned step ends the cleaned state as far as a view shows it."""
    return moment.effect(event, view.surface, view.technique) in _ENDS or ends_cleaned(
        moment, event, face_of(view.surface)
    )
