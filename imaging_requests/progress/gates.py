"""May the next step of a treatment start? The gate as pages show it and as acts demand it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime

from imaging_requests.reckoning.truth.changes import Preview, preview_each
from imaging_requests.reckoning.truth.facts import Event
from imaging_requests.reckoning.truth.gate import (
    Gate,
    GateState,
    Missing,
    gate,
    scope_of,
)
from imaging_requests.reckoning.truth.gate_needs import ScopeLine
from imaging_requests.reckoning.truth.moment import Moment
from imaging_requests.reckoning.truth.terms import AnchorKind, Effect, face_of
from imaging_requests.reckoning.truth.waiting import say_gate, say_missing
from imaging_requests.reckoning.truth.windows import windows
from imaging_requests.reckoning.truth.words import (
    FACE_WORDS,
    Speech,
    capital,
    inside,
    name_anchor,
    name_view,
    view_words,
)
from imaging_requests.treatments.events import event_key
from imaging_requests.treatments.models import Intervention, InterventionState


def scope_lines(moment: Moment, treatment_id: int) -> tuple[ScopeLine, ...]:
    """Return the views that a treatment's documentation asks for, as owed views hold them."""
    own = str(treatment_id)
    return scope_of(
        view
        for view in moment.views
        if view.anchor.treatment == own or view.anchor.kind is AnchorKind.WIN
    )


def event_of(moment: Moment, step: Intervention) -> Event | None:
    """Return the step as the rules know it at this moment."""
    key = event_key(step.pk)
    return next((event for event in moment.events if event.key == key), None)


def gate_of(
    moment: Moment, step: Intervention, *, scope: tuple[ScopeLine, ...] | None = None
) -> Gate | None:
    """Ask whether a step may start at a moment; None if the rules do not know the step yet.

    A start that is entered late is asked about with the `scope` of today: the duties that a
    plan made were not in force yet at the instant it speaks of.
    """
    event = event_of(moment, step)
    if event is None:
        return None
    if scope is None:
        scope = scope_lines(moment, step.treatment_id)
    return gate(moment, event, scope)


def next_step(steps: Iterable[Intervention]) -> Intervention | None:
    """Return the first planned step, or None."""
    return next((step for step in steps if step.state == InterventionState.PLANNED), None)


def say_loss(each: Missing, speech: Speech) -> str:
    """Name a missing view as it stands in a list of what a start would lose."""
    view = each.status.view
    return f"{inside(name_view(view))} {name_anchor(view.anchor, speech)}"


@dataclass(frozen=True)
class MissingView:
    """A view that keeps a gate shut, in words."""

    words: str
    sentence: str
    status: str
    view_id: int | None
    is_last_look: bool
    waive_id: int | None = None
    loss: str = ""


@dataclass(frozen=True)
class GateWords:
    """A gate in words."""

    is_open: bool
    sentence: str
    step_words: str
    missing: tuple[MissingView, ...]
    met: tuple[MissingView, ...]
    unasked: str = ""
    preferred: str = ""


def say(found: Gate, speech: Speech) -> GateWords:
    """Put a gate into words."""
    missing_keys = {id(each.status) for each in found.missing}
    return GateWords(
        is_open=found.state is GateState.OPEN,
        sentence=say_gate(found, speech),
        step_words=f"“{speech.event(found.event)}”",
        missing=tuple(
            MissingView(
                words=name_view(each.status.view),
                sentence=say_missing(each, speech),
                status=str(each.status.status),
                view_id=int(each.owed_key) if each.owed_key else None,
                is_last_look=each.is_last_look,
                waive_id=int(each.waivable_key) if each.waivable_key else None,
                loss=say_loss(each, speech),
            )
            for each in found.missing
        ),
        met=tuple(
            MissingView(
                words=name_view(status.view),
                sentence="",
                status=str(status.status),
                view_id=int(status.view.key) if status.view.key else None,
                is_last_look=False,
            )
            for status in found.needed
            if id(status) not in missing_keys
        ),
        unasked=", ".join(
            inside(view_words(technique, face_of(surface), "", surface))
            for surface, technique in found.unasked
        ),
        preferred=", ".join(
            f"{inside(name_view(status.view))}, {name_anchor(anchor, speech)}"
            for status in found.preferred
            if status.better is not None and (anchor := status.better.anchor) is not None
        ),
    )


@dataclass(frozen=True)
class StepEffects:
    """What a step will do, or did, to pictures, in words."""

    makes_untrue: str = ""
    asks: str = ""
    hides: str = ""
    ends: str = ""
    bares: str = ""


NOT_MADE = {False: "not made yet", True: "none up to date"}


def _listed(found: Preview, *effects: Effect) -> str:
    names = dict.fromkeys(
        inside(name_view(line.picture)) for line in found.pictures if line.effect in effects
    )
    unmade = [
        f"{inside(name_view(line.view))} ({NOT_MADE[line.has_older]})"
        for line in found.unmade
        if line.effect in effects
    ]
    return capital(", ".join([*names, *unmade]))


def effects_of(moment: Moment, steps: Sequence[Event], speech: Speech) -> dict[str, StepEffects]:
    """Say by key what each step still to be done will do in its turn, those before it done."""
    windows_to_come = {
        (window.opened_by.key, window.surface): window.closes_at for window in windows(moment)
    }
    return {
        step.key: StepEffects(
            makes_untrue=_listed(found, Effect.OUT),
            asks=_listed(found, Effect.ASK_OUT, Effect.ASK_VALID),
            hides=say_surfaces(found.hidden),
            ends=say_surfaces(found.gone),
            bares="; ".join(
                say_bared(
                    each.surface,
                    until=windows_to_come.get((step.key, each.surface)),
                    hidden_by=each.hidden_by,
                    speech=speech,
                )
                for each in found.bared
            ),
        )
        for step, found in zip(steps, preview_each(moment, steps), strict=True)
    }


def say_surfaces(codes: Iterable[str]) -> str:
    """Name surfaces by face and code: “the back (B.2)”."""
    return ", ".join(f"{FACE_WORDS[face_of(code)]} ({code})" for code in codes)


def say_bared(code: str, *, until: datetime | None, hidden_by: Event | None, speech: Speech) -> str:
    """Say which surface comes to light, and how long it can be seen."""
    words = say_surfaces([code])
    if until is not None:
        return f"{words}, to be seen until {speech.day(until)}"
    if hidden_by is not None:
        return f"{words}, to be seen until “{speech.event(hidden_by)}” hides it"
    return words
