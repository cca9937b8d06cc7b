"""Carry: does a picture captured in one state speak for another?

Between the picture's state ``i`` and the anchor's state ``k`` lie the events that opened the
states ``min(i, k) + 1 … max(i, k)``. The picture is OUT if one of them put it out of date,
UNDECIDED if one of them still waits for a conservator's decision about this picture chain, and
OK otherwise; hiding a surface never spoils its pictures. Carry is symmetric: a picture of the
back taken after the front was retouched speaks for the back before it.

A picture captured while an intervention was under way belongs to the state before it, but does
not speak for a duty "before treatment" (nor for any instant up to the intervention's start) if
that intervention touches it: what had begun counts as lying between. For the duty "before
treatment" itself that is not asked: only what was captured before the first start counts.

An anchor that allows several states (a window) is met by the nearest one.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from ..records import record
from .facts import Event
from .moment import Moment, Standing, Touch
from .stateline import Point
from .terms import Carry, Effect, Validity


@record
@dataclass(frozen=True, slots=True)
class Carried:
    """The verdict and the events that caused it: the spoiling ones, or the undecided ones."""

    verdict: Carry
    events: tuple[Event, ...] = ()


_FINE = Carried(Carry.OK)


def _between(moment: Moment, standing: Standing, point: Point) -> Sequence[Touch]:
    """The openers between a picture and an anchor's nearest state that touch it."""
    state, picture = standing.state, standing.picture
    if state < point.first:
        start, end = state, point.first
    else:
        start, end = point.last, state
    if start >= end:
        return ()
    touching = moment.touching(picture.surface, picture.technique)
    return [touch for touch in touching if start <= touch[0] < end]


def _under_way(moment: Moment, standing: Standing, point: Point) -> Sequence[Touch]:
    """What had begun when the picture was captured counts as lying between; see the module."""
    if point.as_of is None or standing.state < point.first:
        return ()
    picture, as_of = standing.picture, point.as_of
    return [
        (standing.state, event, moment.effect(event, picture.surface, picture.technique))
        for event in standing.running
        if event.started_at is not None and event.started_at >= as_of
    ]


def carry(moment: Moment, standing: Standing, point: Point) -> Carried:
    """Whether the picture speaks for the anchor's state, and which events stand in the way."""
    if point.closed_at is not None and standing.picture.captured_at >= point.closed_at:
        return Carried(Carry.OUT)
    if point.first <= standing.state <= point.last and not standing.running:
        return _FINE
    between = _between(moment, standing, point)
    if standing.running:
        between = (*between, *_under_way(moment, standing, point))
    if not between:
        return _FINE
    chain = standing.picture.chain
    spoilt: list[Event] = []
    undecided: list[Event] = []
    for _, event, effect in between:
        if effect is Effect.OUT:
            spoilt.append(event)
        elif effect is Effect.ASK_OUT or effect is Effect.ASK_VALID:
            decided = moment.verdicts.get((chain, event.key))
            if decided is None:
                undecided.append(event)
            elif decided is Validity.OUT_OF_DATE:
                spoilt.append(event)
    if spoilt:
        return Carried(Carry.OUT, tuple(spoilt))
    if undecided:
        return Carried(Carry.UNDECIDED, tuple(undecided))
    return _FINE
