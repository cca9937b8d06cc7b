"""What follows from a finished event: re-shoot duties and the point at which they fall due.

A picture is out of date at once; the duty to make it anew falls due at the treatment's next
documentation point, so that nobody photographs every half-done step: the end of the last step of
the phase. It falls due earlier when the treatment's documentation asks for the view after a
certain step, or when a later step has a last look on it (then before that step).
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum

from .decisions import Case, cases_after
from .facts import Event, Picture
from .moment import Moment, ViewKey
from .preferred_looks import shown_as_preferred
from .stateline import steps_of
from .status import ReasonCode, ViewStatus
from .terms import Anchor, AnchorKind, Effect, Validity, Verdict, face_of
from .windows import Window, windows


class DueRule(StrEnum):
    """Why a duty falls due when it does."""

    AT_ONCE = "at_once"
    AFTER_STEP = "after_step"
    BEFORE_STEP = "before_step"
    PHASE_END = "phase_end"


@dataclass(frozen=True, slots=True)
class Duty:
    """A view to make anew. ``anchor`` names the owed view to create or keep.

    ``due_at`` is ``None`` while no date is planned; ``is_planned`` tells a planned date from one
    that has come. ``step`` is the step that the due point hangs on. ``is_owed``: a live demand
    for the view as it is now (or after this treatment) exists, not only an old picture.
    """

    surface: str
    technique: str
    variant: str
    anchor: Anchor
    because: Event
    rule: DueRule
    due_at: datetime | None
    is_planned: bool
    step: Event | None
    is_owed: bool


@dataclass(frozen=True, slots=True)
class Consequences:
    """Everything that a finished event brings about."""

    event: Event
    state: int | None
    out_of_date: tuple[Picture, ...]
    cases: tuple[Case, ...]
    duties: tuple[Duty, ...]
    hidden: tuple[str, ...]
    gone: tuple[str, ...]
    appeared: tuple[str, ...]
    windows: tuple[Window, ...]


def consequences(moment: Moment, event: str) -> Consequences:
    """What the finished event with this key brought about, as of the moment's knowledge."""
    number = moment.index.get(event)
    if number is None:
        idle = next(e for e in moment.events if e.key == event)
        return Consequences(idle, None, (), (), (), (), (), (), ())
    happened = moment.line.openers[number]
    state = number + 1
    lives = moment.surfaces.lives.values()
    return Consequences(
        event=happened,
        state=state,
        out_of_date=_out_of_date(moment, happened, number),
        cases=cases_after(moment, event),
        duties=duties_after(moment, event),
        hidden=tuple(
            life.code
            for life in lives
            if life.gone != state and any(span.closed_by == event for span in life.visible)
        ),
        gone=tuple(life.code for life in lives if life.gone == state),
        appeared=tuple(
            life.code for life in lives if any(span.opened_by == event for span in life.visible)
        ),
        windows=tuple(w for w in windows(moment) if w.opened_by.key == event),
    )


def _out_of_date(moment: Moment, event: Event, number: int) -> tuple[Picture, ...]:
    return tuple(
        standing.picture
        for standings in moment.pictures.values()
        for standing in standings
        if standing.verdict is Verdict.ACCEPTED
        and standing.state <= number
        and moment.effect(event, standing.picture.surface, standing.picture.technique) is Effect.OUT
    )


def duties_after(moment: Moment, event: str) -> tuple[Duty, ...]:
    """The re-shoot duties of one finished event: effect O, or decided out of date.

    Covers every view that is owed as it is now (or after this treatment), unless a picture of its
    preferred state meets it, and every view with an accepted picture; surfaces that are gone owe
    nothing more.
    """
    number = moment.index.get(event)
    if number is None:
        return ()
    happened = moment.line.openers[number]
    decided_out = {
        (case.picture.surface, case.picture.technique, case.picture.variant)
        for case in cases_after(moment, event)
        if case.verdict is Validity.OUT_OF_DATE
    }
    owed = _owed_now(moment, happened)
    made = {
        key
        for key, standings in moment.pictures.items()
        if any(s.verdict is Verdict.ACCEPTED and s.state <= number for s in standings)
    }
    duties = []
    for key in sorted(owed | made):
        life = moment.life(key[0])
        if life is not None and life.gone is not None:
            continue
        is_out = moment.effect(happened, key[0], key[1]) is Effect.OUT
        if is_out or key in decided_out:
            duties.append(_duty(moment, happened, key, is_owed=key in owed))
    return tuple(duties)


def duty_of(moment: Moment, status: ViewStatus) -> Duty | None:
    """When a view that an event put out of date is to be made anew; ``None`` for other views."""
    if status.reason.code is not ReasonCode.CHANGED:
        return None
    view = status.view
    last = max(status.reason.events, key=lambda event: (event.ended_at or moment.t, event.order))
    key = (view.surface, view.technique, view.variant)
    return _duty(moment, last, key, is_owed=True)


def _owed_now(moment: Moment, event: Event) -> set[ViewKey]:
    shown = shown_as_preferred(moment)
    return {
        (view.surface, view.technique, view.variant)
        for view in moment.views
        if (view.anchor.kind is AnchorKind.CUR and view.key not in shown)
        or (view.anchor.kind is AnchorKind.AT and view.anchor.treatment == event.treatment)
    }


def _duty(moment: Moment, event: Event, key: ViewKey, *, is_owed: bool) -> Duty:
    surface, technique, variant = key
    anchor, rule, step, due_at, is_planned = _due_point(moment, event, key)
    return Duty(surface, technique, variant, anchor, event, rule, due_at, is_planned, step, is_owed)


_Due = tuple[Anchor, DueRule, Event | None, datetime | None, bool]


def _due_point(moment: Moment, event: Event, key: ViewKey) -> _Due:
    """The documentation point of a duty; see the module's description."""
    if event.treatment is None:
        assert event.ended_at is not None
        return Anchor.at(event.ended_at), DueRule.AT_ONCE, None, event.ended_at, False
    steps = sorted(
        steps_of(moment.events, event.treatment, moment.t, phase=event.phase),
        key=lambda step: (step.step or 0, step.order),
    )
    place = next(n for n, step in enumerate(steps) if step.key == event.key)
    asked = {
        view.anchor.step
        for view in moment.views
        if view.anchor.kind is AnchorKind.DT
        and view.anchor.treatment == event.treatment
        and (view.surface, view.technique, view.variant) == key
    }
    for at in range(place, len(steps)):
        step = steps[at]
        if not _has_ended(step, moment) and _has_last_look(moment, step, key):
            anchor = _after_step(steps[at - 1], event)
            when = step.started_at or step.planned_start_at
            return anchor, DueRule.BEFORE_STEP, step, when, step.started_at is None
        if step.step is not None and step.step in asked:
            anchor = Anchor.during(event.treatment, step=step.step)
            ended = _has_ended(step, moment)
            when = step.ended_at if ended else _planned_end(step)
            return anchor, DueRule.AFTER_STEP, step, when, not ended
    ends = [step.ended_at if _has_ended(step, moment) else _planned_end(step) for step in steps]
    known_ends = [end for end in ends if end is not None]
    due_at = max(known_ends) if len(known_ends) == len(ends) else None
    is_planned = not all(_has_ended(step, moment) for step in steps)
    anchor = Anchor.after(event.treatment, phase=event.phase)
    return anchor, DueRule.PHASE_END, steps[-1], due_at, is_planned


def _after_step(step: Event, event: Event) -> Anchor:
    assert event.treatment is not None
    if step.step is None:
        return Anchor.after(event.treatment, phase=event.phase)
    return Anchor.during(event.treatment, step=step.step)


def _planned_end(step: Event) -> datetime | None:
    """The planned end, or the planned start where no end is planned."""
    return step.planned_end_at or step.planned_start_at


def _has_ended(step: Event, moment: Moment) -> bool:
    return step.ended_at is not None and step.ended_at <= moment.t


def _has_last_look(moment: Moment, step: Event, key: ViewKey) -> bool:
    table = moment.tables[step.table_version]
    mirrored = moment.two_sided and step.face == "B"
    column = table.column(key[1], face_of(key[0]), mirrored=mirrored)
    return any(look.column == column for look in table.row(step.row).last_look)
