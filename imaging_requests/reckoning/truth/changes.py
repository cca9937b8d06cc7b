"""What would change: before a correction is saved, and before a step is started.

A conservator may enter on Friday what was done on Tuesday, or put a date right years later. Both
rewrite what pictures taken since then show; the answer is worked out by reading the object twice,
without and with the proposed record.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import timedelta

from .carry import carry
from .decisions import Case, open_cases
from .facts import Event, OwedView, Picture
from .gate import with_event
from .moment import Moment, Standing, look
from .preferred_looks import shown_as_preferred
from .status import ViewStatus, statuses
from .terms import Anchor, Carry, Effect, Status, Verdict


@dataclass(frozen=True, slots=True)
class PictureChange:
    """A picture whose place in the object's history changes.

    ``after_*`` are the keys of the events that had finished at its capture, ``during_*`` of those
    under way; ``now_*`` says whether it speaks for the present state.
    """

    picture: Picture
    after_before: tuple[str, ...]
    after_then: tuple[str, ...]
    during_before: tuple[str, ...]
    during_then: tuple[str, ...]
    now_before: Carry
    now_then: Carry

    @property
    def speaks_differently(self) -> bool:
        """Whether the picture gains or loses its truth for the present state."""
        return self.now_before is not self.now_then


@dataclass(frozen=True, slots=True)
class ViewChange:
    """A view whose status changes; ``before`` or ``then`` is ``None`` if it was not in force."""

    before: ViewStatus | None
    then: ViewStatus | None


@dataclass(frozen=True, slots=True)
class Changes:
    """What a proposed record would change, listed before it is saved."""

    pictures: tuple[PictureChange, ...]
    views: tuple[ViewChange, ...]
    new_cases: tuple[Case, ...]
    moot_cases: tuple[Case, ...]


def meaning_changes(at: Moment, proposed: Event) -> Changes:
    """Pictures, views and cases whose meaning a proposed record of an event would change.

    ``proposed`` carries the key of the event it corrects, or a new key for an event entered late.
    ``at`` is the moment without the proposal; the answer is for the same ``t`` and ``u``.
    """
    case = with_event(at.case, replace(proposed, recorded_at=at.u))
    then = look(case, at.tables, t=at.t, u=at.u)
    before_by_key = {status.view.key: status for status in statuses(at)}
    then_by_key = {status.view.key: status for status in statuses(then)}
    asked, asks = ({c.key: c for c in open_cases(m)} for m in (at, then))
    return Changes(
        pictures=_picture_changes(at, then),
        views=tuple(
            ViewChange(before_by_key.get(key), then_by_key.get(key))
            for key in {**before_by_key, **then_by_key}
            if _word(before_by_key.get(key)) != _word(then_by_key.get(key))
        ),
        new_cases=tuple(case_ for key, case_ in asks.items() if key not in asked),
        moot_cases=tuple(case_ for key, case_ in asked.items() if key not in asks),
    )


def _word(status: ViewStatus | None) -> Status | None:
    return status.status if status is not None else None


def _picture_changes(at: Moment, then: Moment) -> tuple[PictureChange, ...]:
    now = Anchor.current()
    later = {s.picture.key: s for group in then.pictures.values() for s in group}
    found = []
    for group in at.pictures.values():
        for standing in group:
            other = later[standing.picture.key]
            change = PictureChange(
                standing.picture,
                _keys(at.line.openers[: standing.state]),
                _keys(then.line.openers[: other.state]),
                _keys(standing.running),
                _keys(other.running),
                carry(at, standing, at.point(now)).verdict,
                carry(then, other, then.point(now)).verdict,
            )
            if (
                set(change.after_before) != set(change.after_then)
                or set(change.during_before) != set(change.during_then)
                or change.speaks_differently
            ):
                found.append(change)
    found.sort(key=lambda change: change.picture.captured_at)
    return tuple(found)


def _keys(events: Iterable[Event]) -> tuple[str, ...]:
    return tuple(event.key for event in events)


@dataclass(frozen=True, slots=True)
class Untrue:
    """What planned steps will do to a picture that speaks for the present state.

    ``effect`` is the strongest of the steps' effects (out of date before decisions before
    hidden), ``steps`` those that have it.
    """

    picture: Picture
    effect: Effect
    steps: tuple[Event, ...]


@dataclass(frozen=True, slots=True)
class Unmade:
    """A view in force that planned steps touch while no picture speaks for the present state.

    ``has_older``: an accepted picture was made, and is out of date today.
    """

    view: OwedView
    effect: Effect
    has_older: bool


@dataclass(frozen=True, slots=True)
class Bared:
    """A surface that was there already and that steps bring to light, until a later one hides it.

    ``hidden_by`` is that later step, if one is planned.
    """

    surface: str
    hidden_by: Event | None


@dataclass(frozen=True, slots=True)
class Preview:
    """What planned steps will make untrue, and what they would destroy unrecorded.

    ``appeared`` are the surfaces that can be seen for the first time, or again; of these, ``bared``
    are those that were there already.
    """

    pictures: tuple[Untrue, ...]
    lost: tuple[ViewStatus, ...]
    hidden: tuple[str, ...]
    gone: tuple[str, ...]
    appeared: tuple[str, ...]
    unmade: tuple[Unmade, ...] = ()
    bared: tuple[Bared, ...] = ()

    def with_effect(self, *effects: Effect) -> tuple[Picture, ...]:
        """The pictures whose strongest effect is one of these."""
        return tuple(line.picture for line in self.pictures if line.effect in effects)


_STRENGTH = {Effect.OUT: 4, Effect.ASK_OUT: 3, Effect.ASK_VALID: 2, Effect.HIDDEN: 1}


def preview(moment: Moment, steps: Iterable[Event]) -> Preview:
    """Read the object as if the steps had just been finished, one after the other.

    ``steps`` are planned or hypothetical events, in the order of work. Only pictures that are
    accepted and not out of date today are listed; views without such a picture, which the steps
    touch all the same, are listed beside them as not made.
    """
    planned = tuple(steps)
    then = _once_done(moment, planned)
    was = {status.view.key: status.status for status in statuses(moment)}
    lost = tuple(
        status
        for status in statuses(then)
        if status.status is Status.LOST and was.get(status.view.key) is not Status.LOST
    )
    return replace(_preview(moment, then, {step.key for step in planned}), lost=lost)


def preview_each(moment: Moment, steps: Iterable[Event]) -> tuple[Preview, ...]:
    """What each of the steps will do in its turn, with those before it done.

    A step on the back that follows the taking off of a lining touches the canvas, not the lining.
    ``lost`` is not worked out: it is said of all steps together by :func:`preview`.
    """
    planned = tuple(steps)
    then = _once_done(moment, planned)
    return tuple(_preview(moment, then, {step.key}) for step in planned)


def _once_done(moment: Moment, steps: tuple[Event, ...]) -> Moment:
    """The object just after the steps, done one after the other from now on."""
    case = moment.case
    instant = moment.t
    for step in steps:
        started = step.started_at if step.started_at and step.started_at <= instant else instant
        instant += timedelta(microseconds=1)
        ended = replace(step, started_at=started, ended_at=instant, recorded_at=moment.u)
        case = with_event(case, ended)
    return look(case, moment.tables, t=instant, u=moment.u)


def _preview(moment: Moment, then: Moment, keys: set[str]) -> Preview:
    """What the steps with these keys have done once ``then`` has come."""
    done = [event for event in then.line.openers if event.key in keys]
    lines = [
        line
        for group in moment.pictures.values()
        for standing in group
        if (line := _untrue(moment, then, standing, done)) is not None
    ]
    lives = then.surfaces.lives
    by_key = {event.key: event for event in then.line.openers}
    return Preview(
        pictures=tuple(lines),
        lost=(),
        hidden=tuple(
            code
            for code, life in lives.items()
            if life.gone_by not in keys and any(span.closed_by in keys for span in life.visible)
        ),
        gone=tuple(code for code, life in lives.items() if life.gone_by in keys),
        appeared=tuple(
            code
            for code, life in lives.items()
            if any(span.opened_by in keys for span in life.visible)
        ),
        unmade=_unmade(moment, then, done),
        bared=tuple(
            Bared(code, by_key.get(span.closed_by or ""))
            for code, life in lives.items()
            for span in life.visible
            if span.opened_by in keys and life.opened_by not in keys
        ),
    )


def _unmade(moment: Moment, then: Moment, done: list[Event]) -> tuple[Unmade, ...]:
    """Views that the steps touch and that no accepted picture shows as the object is today.

    What a step brings to light it does not make untrue: of a surface that it bares nothing is said.
    A view that a picture of its preferred state meets asks for no picture of today.
    """
    preferred = shown_as_preferred(moment)
    older, today = set[tuple[str, str, str]](), set[tuple[str, str, str]]()
    for group in moment.pictures.values():
        for standing in group:
            if standing.verdict is not Verdict.ACCEPTED:
                continue
            picture = standing.picture
            shown = (picture.surface, picture.technique, picture.variant)
            out = carry(moment, standing, moment.point(Anchor.current())).verdict is Carry.OUT
            (older if out else today).add(shown)
    found: dict[tuple[str, str, str], Unmade] = {}
    for view in moment.views:
        asked = (view.surface, view.technique, view.variant)
        if asked in today or asked in found or view.key in preferred:
            continue
        effects = [
            then.effect(event, view.surface, view.technique)
            for event in done
            if view.surface not in then.surfaces.bared.get(then.index[event.key], ())
        ]
        strongest = max(effects, key=lambda e: _STRENGTH.get(e, 0), default=Effect.VALID)
        if strongest in _STRENGTH:
            found[asked] = Unmade(view, strongest, asked in older)
    return tuple(found.values())


def _untrue(moment: Moment, then: Moment, standing: Standing, done: list[Event]) -> Untrue | None:
    picture = standing.picture
    if standing.verdict is not Verdict.ACCEPTED:
        return None
    if carry(moment, standing, moment.point(Anchor.current())).verdict is Carry.OUT:
        return None
    effects = [(event, then.effect(event, picture.surface, picture.technique)) for event in done]
    strongest = max(
        (effect for _, effect in effects), key=lambda e: _STRENGTH.get(e, 0), default=Effect.VALID
    )
    if strongest not in _STRENGTH:
        return None
    causes = tuple(event for event, effect in effects if effect is strongest)
    return Untrue(picture, strongest, causes)
