"""Writes of people at the sorting table: place, set aside, take back."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import partial

from django.db import transaction
from django.utils import timezone
from django.utils.dateparse import parse_datetime

from imaging_requests.campaigns.models import ShotLine, ShotLineState
from imaging_requests.collection.stale import mark_stale
from imaging_requests.intake.actions.layout import ask_for_neighbours
from imaging_requests.intake.actions.sorting import (
    PLACE_FIELDS,
    ask_to_assemble,
    frame_place,
    put_on,
)
from imaging_requests.intake.decisions import Why
from imaging_requests.intake.layout import Spot
from imaging_requests.intake.models import Frame, FrameRole, FrameState, SortingStep
from imaging_requests.intake.policies import PLACE
from imaging_requests.intake.rules import demand_frame_step, demand_taken
from imaging_requests.intake.sheets import (
    expected_spots,
    grid_of,
    lines_with_names,
    name_of,
    session_window,
)
from imaging_requests.intake.words import spot_words
from imaging_requests.people import audit
from imaging_requests.people.errors import DomainError, IllegalStep
from imaging_requests.people.models import AuditEvent, User
from imaging_requests.people.policies import demand
from imaging_requests.people.versions import lock_row, save_row

#: Answers why a frame may not be moved now, or with an empty string.
HoldRule = Callable[[Frame], str]
#: What undoing says before the reason for which a frame waited.
TAKEN_BACK = re.compile(r"^(?:Taken back by .{1,200}? on \d{1,2} \w+ \d{4}, \d\d:\d\d\. ?)+")
_hold_rules: list[HoldRule] = []
#: The code of a refusal to move what a picture is made of.
IN_USE = "intake.frame_in_use"
HAND_FIELDS = [*PLACE_FIELDS, "captured_at", "placed_at", "placed_by"]


def add_hold_rule(rule: HoldRule) -> None:
    """Let an outer room keep frames where they are, once they are used; called at start."""
    if rule not in _hold_rules:
        _hold_rules.append(rule)


@transaction.atomic
def place_frame(
    *,
    actor: User,
    frame_id: int,
    read_version: int,
    shot_line_id: int,
    tile_x: int = 0,
    tile_y: int = 0,
    ev: float = 0.0,
    focus_slice: int = 0,
    role: str = FrameRole.VIEW,
    captured_at: datetime | None = None,
    instead: bool = False,
    now: datetime | None = None,
) -> Frame:
    """Put a frame on a place of a shot line by hand.

    `captured_at` is needed when the file does not say it, or says an instant outside the session.
    `instead` sets a frame that lies there already aside as a spare.
    """
    now = now or timezone.now()
    frame = lock_row(Frame, frame_id, read_version=read_version)
    demand(actor, PLACE, frame)
    demand_frame_step(frame.first_name, before=frame.state, after=FrameState.PLACED)
    line = lines_with_names(ShotLine.objects.filter(pk=shot_line_id)).get()
    spot = Spot(line.pk, tile_y, tile_x, focus_slice, ev)
    _demand_place(line, spot, role)
    instant = _demand_instant(frame, line, captured_at)
    if role == FrameRole.VIEW:
        _make_way(spot, line, actor=actor, instead=instead, now=now)
    before = {"state": frame.state, "captured_at": frame.captured_at}
    likely = frame.proposal
    put_on(frame, spot, role=role)
    frame.proposal = likely
    frame.captured_at, frame.placed_at, frame.placed_by = instant, now, actor
    save_row(frame, fields=HAND_FIELDS)
    audit.record(
        "intake.frame_placed",
        actor=actor,
        subject=frame,
        object_id=line.object_id,
        before=before,
        after={**frame_place(frame), "captured_at": instant},
        now=now,
    )
    _follow(line, "intake.frame_placed")
    return frame


def _demand_place(line: ShotLine, spot: Spot, role: str) -> None:
    if line.state == ShotLineState.NOT_DONE:
        raise IllegalStep(
            f"The line {name_of(line)} was closed as not done ({line.reason}).",
            code="intake.line_not_done",
            next_step="Choose another line, or mark this one as still to shoot.",
        )
    if role == FrameRole.VIEW and spot not in expected_spots(line):
        raise DomainError(
            f"{name_of(line)} asks for no frame at {spot_words(spot, grid_of(line))}.",
            code="intake.no_such_place",
            next_step="Choose one of the places that the line asks for.",
        )


def _demand_instant(frame: Frame, line: ShotLine, given: datetime | None) -> datetime:
    instant = given or frame.captured_at
    window = session_window(line.session)
    if instant is None:
        raise DomainError(
            f"{frame.first_name} does not say when it was taken, and the state of the object in "
            "the picture follows from it.",
            code="intake.no_instant",
            next_step="Give the time at which it was taken.",
        )
    if not window.holds(instant):
        first, last, taken = (
            f"{timezone.localtime(at):%-d %b %Y, %H:%M}"
            for at in (window.starts_at, window.ends_at, instant)
        )
        raise DomainError(
            f"{frame.first_name} was taken on {taken}, but the session lasted from {first} to "
            f"{last}, margins included.",
            code="intake.outside_session",
            next_step="Correct the camera's clock for the drop, give the true time, or choose a "
            "line of another session.",
        )
    return instant


def _make_way(spot: Spot, line: ShotLine, *, actor: User, instead: bool, now: datetime) -> None:
    lying = (
        Frame.objects.select_for_update()
        .filter(
            state=FrameState.PLACED,
            role=FrameRole.VIEW,
            shot_line=line,
            tile_x=spot.tile_x,
            tile_y=spot.tile_y,
            ev=spot.ev,
            focus_slice=spot.focus_slice,
        )
        .first()
    )
    if lying is None:
        return
    if not instead:
        raise DomainError(
            f"{lying.first_name} lies already at {spot_words(spot, grid_of(line))} of "
            f"{name_of(line)}.",
            code="intake.place_taken",
            next_step="Take that one back first, or choose its place among those that are taken: "
            "then it is set aside as a spare.",
            data={"frame": lying.pk},
        )
    _demand_free(lying)
    _lift(lying, FrameState.SET_ASIDE, actor=actor, now=now)


@transaction.atomic
def set_aside(
    *, actor: User, frame_id: int, read_version: int, now: datetime | None = None
) -> Frame:
    """Keep a frame as a spare that belongs to no line; it can be taken back."""
    frame = lock_row(Frame, frame_id, read_version=read_version)
    demand(actor, PLACE, frame)
    demand_frame_step(frame.first_name, before=frame.state, after=FrameState.SET_ASIDE)
    _lift(frame, FrameState.SET_ASIDE, actor=actor, now=now or timezone.now())
    return frame


@transaction.atomic
def take_back(
    *,
    actor: User,
    frame_id: int,
    read_version: int,
    before: str = "",
    why: str = "",
    now: datetime | None = None,
) -> Frame:
    """Undo a place or a setting aside: the frame lies on the sorting table again.

    `before` and `why`: for what reason and kind of reason it waited before it was moved, to be said
    again. A time that a person gave with the place is taken back with it.
    """
    now = now or timezone.now()
    frame = lock_row(Frame, frame_id, read_version=read_version)
    demand(actor, PLACE, frame)
    demand_taken(frame.first_name, state=frame.state)
    _demand_free(frame)
    _lift(
        frame,
        FrameState.WAITING,
        actor=actor,
        now=now,
        because=" ".join(
            [
                f"Taken back by {actor.name} on {timezone.localtime(now):%-d %b %Y, %H:%M}.",
                *([before] if before else []),
            ]
        ),
        why=why or Why.BY_HAND,
    )
    return frame


def _demand_free(frame: Frame) -> None:
    for rule in _hold_rules:
        if reason := rule(frame):
            raise IllegalStep(
                reason,
                code=IN_USE,
                next_step="Have the deliverable sent back or recalled first.",
            )


def _lift(
    frame: Frame, state: str, *, actor: User, now: datetime, because: str = "", why: str = ""
) -> None:
    """Take a frame off its line, if it lies on one, and say where it is now."""
    line, before = frame.shot_line, {"state": frame.state, **frame_place(frame)}
    frame.state, frame.waiting_because, frame.waiting_reason = state, because, why
    if state == FrameState.WAITING:
        frame.captured_at = _instant_before(frame)
    frame.role = FrameRole.VIEW
    frame.shot_line, frame.placed_at, frame.placed_by = None, None, actor
    save_row(frame, fields=HAND_FIELDS)
    audit.record(
        "intake.frame_set_aside" if state == FrameState.SET_ASIDE else "intake.frame_taken_back",
        actor=actor,
        subject=frame,
        object_id=line.object_id if line is not None else None,
        before=before,
        after={"state": state},
        now=now,
    )
    if line is not None:
        _follow(line, "intake.frame_lifted")
    else:
        sessions = frame.arrivals.exclude(drop__session=None).values_list(
            "drop__session", flat=True
        )
        ask_for_neighbours(set(sessions))


def _instant_before(frame: Frame) -> datetime | None:
    """Return when a frame was taken as far as was known before a person placed it.

    The trail keeps what was known then; a place that the program found took nothing by hand.
    """
    placed = (
        AuditEvent.objects.filter(
            subject_type=Frame._meta.label_lower,
            subject_id=str(frame.pk),
            code="intake.frame_placed",
        )
        .order_by("-pk")
        .first()
    )
    if placed is None or placed.actor_id is None:
        return frame.captured_at
    before, after = (side.get("captured_at") for side in (placed.before, placed.after))
    if before == after:
        return frame.captured_at
    return parse_datetime(before) if before else None


def _follow(line: ShotLine, news: str) -> None:
    """Let everything that depends on the frames of a line be done anew."""
    mark_stale({line.object_id}, news)
    ask_to_assemble([line.pk])
    ask_for_neighbours([line.session_id])


@dataclass(frozen=True, slots=True)
class Choice:
    """One frame that a person has chosen a place for, as read by the page."""

    frame_id: int
    read_version: int
    spot: Spot
    role: str = FrameRole.VIEW
    captured_at: datetime | None = None
    instead: bool = False


@dataclass(frozen=True, slots=True)
class Outcome:
    """What became of the frames of one form: those moved, and a sentence for each that was not.

    `codes`: of every frame in its order, why it was refused; nothing if it was moved.
    """

    moved: tuple[Frame, ...]
    refusals: tuple[str, ...]
    codes: tuple[str, ...] = ()


def place_frames(*, actor: User, choices: Sequence[Choice], now: datetime | None = None) -> Outcome:
    """Place several frames, each by itself: one that is refused does not hold up the others."""
    reasons = _reasons([choice.frame_id for choice in choices])
    outcome = _each(
        [
            partial(
                place_frame,
                actor=actor,
                frame_id=choice.frame_id,
                read_version=choice.read_version,
                shot_line_id=choice.spot.line_id,
                tile_x=choice.spot.tile_x,
                tile_y=choice.spot.tile_y,
                ev=choice.spot.ev,
                focus_slice=choice.spot.focus_slice,
                role=choice.role,
                captured_at=choice.captured_at,
                instead=choice.instead,
                now=now,
            )
            for choice in choices
        ]
    )
    _keep_step(actor, SortingStep.Act.PLACED, outcome, reasons, now)
    return outcome


def set_aside_frames(
    *, actor: User, versions: dict[int, int], now: datetime | None = None
) -> Outcome:
    """Set several frames aside; `versions` maps each to the row version that was read."""
    reasons = _reasons(list(versions))
    outcome = _each(
        [
            partial(set_aside, actor=actor, frame_id=pk, read_version=version, now=now)
            for pk, version in versions.items()
        ]
    )
    _keep_step(actor, SortingStep.Act.SET_ASIDE, outcome, reasons, now)
    return outcome


def take_back_frames(
    *, actor: User, versions: dict[int, int], now: datetime | None = None
) -> Outcome:
    """Take several frames back; `versions` maps each to the row version that was read."""
    return _each(
        [
            partial(take_back, actor=actor, frame_id=pk, read_version=version, now=now)
            for pk, version in versions.items()
        ]
    )


def undo_step(*, actor: User, step_id: int, now: datetime | None = None) -> Outcome:
    """Take back all that one step at the sorting table has moved, as far as it still lies so.

    Each frame lies on the table again with the reason and the likely places that it had. What was
    moved again since stays, and is said. What is held where it lies, since a picture is made of it,
    remains in the step, which can be undone once it is free.
    """
    now = now or timezone.now()
    demand(actor, PLACE)
    with transaction.atomic():
        step = SortingStep.objects.select_for_update().get(pk=step_id)
        if step.undone_at is not None:
            raise IllegalStep(
                "This step was undone already.",
                code="intake.step_undone",
                next_step="Reload the page to see how the frames stand.",
            )
        outcome = _each(
            [
                partial(
                    take_back,
                    actor=actor,
                    frame_id=moved["frame"],
                    read_version=moved["version"],
                    before=moved["because"],
                    why=moved.get("why", ""),
                    now=now,
                )
                for moved in step.frames
            ]
        )
        held = [
            moved for moved, code in zip(step.frames, outcome.codes, strict=True) if code == IN_USE
        ]
        if held:
            step.frames = held
        else:
            step.undone_at, step.undone_by = now, actor
        step.save(update_fields=["frames", "undone_at", "undone_by"])
    return outcome


def _reasons(frame_ids: Sequence[int]) -> dict[int, tuple[str, str]]:
    """Return why frames wait, and the kind of reason, so that undoing can say it again.

    What an earlier undoing put before the reason is left out, or it would stack up.
    """
    waiting = Frame.objects.filter(pk__in=frame_ids).values_list(
        "pk", "waiting_because", "waiting_reason"
    )
    return {pk: (TAKEN_BACK.sub("", because), why) for pk, because, why in waiting}


def _keep_step(
    actor: User,
    act: str,
    outcome: Outcome,
    reasons: dict[int, tuple[str, str]],
    now: datetime | None,
) -> None:
    if not outcome.moved:
        return
    SortingStep.objects.create(
        done_by=actor,
        done_at=now or timezone.now(),
        act=act,
        frames=[
            {
                "frame": frame.pk,
                "version": frame.row_version,
                "because": because,
                "why": why,
            }
            for frame in outcome.moved
            for because, why in [reasons.get(frame.pk, ("", ""))]
        ],
    )


def _each(steps: Sequence[Callable[[], Frame]]) -> Outcome:
    moved: list[Frame] = []
    refusals: list[str] = []
    codes: list[str] = []
    for step in steps:
        try:
            moved.append(step())
        except DomainError as error:
            refusals.append(str(error))
            codes.append(error.code)
        else:
            codes.append("")
    return Outcome(tuple(moved), tuple(refusals), tuple(codes))
