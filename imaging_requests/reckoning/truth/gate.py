"""The last-look gate: what must be accepted before an intervention may start.

* First step of a treatment (or of one of its phases): every view of the treatment's scope whose
  column any planned step changes (O, D+), hides (H) or destroys (last look) must be accepted or
  waived as "before treatment". A last look as of the cleaned state is asked for later, before
  its own step, unless that step comes first.
* Later steps: the step's own last looks must be accepted as before treatment or as after some
  step already done (as of the cleaned state: after the latest step done), and the surfaces it
  hides must be accepted as seen in their present visible interval.

Both are asked of the surfaces that are there when the step begins (:mod:`.ahead`): steps under way
count as done, those that are only planned do not. So a step that is started before its turn is
judged on what lies there now. A surface under a facing or a board cannot be seen and is changed all
the same: its last look must have been taken before it was covered. A view that is asked for of a
face is asked of whatever lies there when the step begins.

A view is listed once, with all its reasons. A missing last look can only be waived by a
conservator and the imaging lead together; such a waiver stands for the view in every state that
would have served. In an
emergency the step may start against a shut gate with two named people, the second within the
time that the table sets; what is missing stays listed.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import timedelta
from enum import StrEnum

from .facts import Event, ObjectCase, Override, OwedView
from .gate_met import in_its_place, is_given_up, is_met, owed_for
from .gate_needs import (
    Need,
    Plan,
    ScopeLine,
    is_needed_before,
    lines_at,
    needs_of,
    plan_of,
    unasked_last_looks,
)
from .moment import Moment
from .preferred_looks import ended_unseen
from .status import ViewStatus, judge
from .terms import EDGES, THROUGH, Anchor, AnchorKind, Status, face_of


class GateState(StrEnum):
    """Whether the step may start."""

    OPEN = "open"
    SHUT = "shut"
    OVERRIDDEN = "overridden"


@dataclass(frozen=True, slots=True)
class Missing:
    """A view that keeps the gate shut, with every reason why it is needed.

    ``status`` is the view's status as of the anchor that is asked for; ``steps`` are the planned
    steps that need it; ``is_last_look``: it can never be made again, a waiver needs two people.
    Where several anchors would serve, ``status`` is of the best that is still possible and ``lost``
    are those of the others that no picture can meet any more. ``stand_in`` is the key of the view
    owed as the object is now, or while the surface is bare, whose picture would meet this one too;
    empty if there is none.
    ``others`` are the keys of further views in force that stand for the same; ``bared_by`` is the
    step under way that brings the surface to light. ``in_place`` is the view that stands in the
    place of one that was replaced, as of the same anchor.
    """

    line: ScopeLine
    status: ViewStatus
    steps: tuple[Event, ...]
    is_last_look: bool
    note: str = ""
    lost: tuple[ViewStatus, ...] = ()
    stand_in: str = ""
    others: tuple[str, ...] = ()
    bared_by: Event | None = None
    in_place: ViewStatus | None = None

    @property
    def owed_key(self) -> str:
        """The key of the view that people can plan for: its own, or the stand-in's."""
        return self.status.view.key or self.stand_in

    @property
    def waivable_key(self) -> str:
        """The key of a view that can be waived in its place; empty if none is in force."""
        keys = (self.status.view.key, *self.others)
        return next((key for key in keys if key), "")


@dataclass(frozen=True, slots=True)
class Gate:
    """The answer: ``needed`` views with their statuses, those ``missing``, and the state.

    ``unasked``: ``(surface, technique)`` of last looks of this step outside the documentation's
    scope, of which there is no accepted picture either; they do not shut the gate.
    ``preferred``: views whose preferred state would end with this step unshown; nor do these, and
    they are not named among the others too.
    """

    event: Event
    state: GateState
    needed: tuple[ViewStatus, ...]
    missing: tuple[Missing, ...]
    is_first_step: bool
    override: Override | None = None
    unasked: tuple[tuple[str, str], ...] = ()
    preferred: tuple[ViewStatus, ...] = ()


#: How far a view is from being met, the nearest first; what is not named is farther, lost last.
_FAR = {
    status: distance
    for distance, status in enumerate(
        (
            Status.WAIVED,
            Status.TO_REVIEW,
            Status.UNDECIDED,
            Status.CAPTURED,
            Status.SENT_BACK,
            Status.RECALLED,
            Status.PLANNED,
            Status.REPLACED,
            Status.NOT_APPLICABLE,
            Status.OUT_OF_DATE,
            Status.OPEN,
            Status.BLOCKED,
        )
    )
}


def gate(moment: Moment, event: Event, scope: Iterable[ScopeLine]) -> Gate:
    """Whether ``event`` may start at this moment, and what is missing if not.

    ``event`` may be a step that is not recorded yet. ``scope`` holds the views that the
    treatment's documentation asks for; lines whose column no rule needs are ignored.
    """
    plan = plan_of(moment, event)
    lines = lines_at(plan, tuple(scope))
    needed: list[ViewStatus] = []
    missing: list[Missing] = []
    for needs in needs_of(plan, lines):
        status, lack = _answer(plan, needs)
        needed.append(status)
        if lack is not None:
            missing.append(lack)
    override = _override(moment, event) if missing else None
    state = GateState.OPEN
    if missing:
        state = GateState.OVERRIDDEN if override is not None else GateState.SHUT
    preferred = _preferred(moment, event, missing)
    told = {(each.view.surface, each.view.technique) for each in preferred}
    return Gate(
        event,
        state,
        tuple(needed),
        tuple(missing),
        plan.is_first,
        override,
        tuple(each for each in unasked_last_looks(plan, lines) if each not in told),
        preferred,
    )


def _preferred(moment: Moment, event: Event, missing: list[Missing]) -> tuple[ViewStatus, ...]:
    """Preferred states that would end unseen, but for the views that the gate asks for anyway."""
    asked = {(each.line.surface, each.line.technique, each.line.variant) for each in missing}
    return tuple(
        status
        for status in ended_unseen(moment, event)
        if (status.view.surface, status.view.technique, status.view.variant) not in asked
    )


def needed_first(moment: Moment, event: Event, scope: Iterable[ScopeLine]) -> list[ScopeLine]:
    """The scope lines that a treatment needs "before", were ``event`` its first step."""
    plan = plan_of(moment, event)
    return [line for line in scope if is_needed_before(plan, line)]


def scope_of(views: Iterable[OwedView]) -> tuple[ScopeLine, ...]:
    """Scope lines from owed views: each surface, technique and variant once, densest first.

    What is owed before a treatment is asked of the face, whatever may come to lie there.
    """
    best: dict[tuple[str, str, str], OwedView] = {}
    of_faces = set()
    for view in views:
        key = (view.surface, view.technique, view.variant)
        if view.anchor.kind is AnchorKind.BT:
            of_faces.add(key)
        if key not in best or view.px_per_mm > best[key].px_per_mm:
            best[key] = view
    return tuple(
        ScopeLine(
            surface=view.surface,
            technique=view.technique,
            variant=view.variant,
            px_per_mm=view.px_per_mm,
            tolerance=view.tolerance,
            min_coverage=view.min_coverage,
            is_of_face=key in of_faces,
        )
        for key, view in best.items()
    )


def _answer(plan: Plan, needs: list[Need]) -> tuple[ViewStatus, Missing | None]:
    """One line's status for everything that is asked of it, and what it lacks.

    A line is given up as a whole: a waiver of the view as of one of its states, or of the time in
    which the surface can be seen, with the signatures that the line needs, stands for all of them.
    """
    moment, line = plan.moment, needs[0].line
    is_last_look = any(need.is_last_look for need in needs)
    found = [
        [judge(moment, owed_for(moment, line, anchor)) for anchor in need.anchors] for need in needs
    ]
    window = _in_its_window(plan, line)
    standing = [each for statuses in found for each in statuses] + window
    for status in standing:
        if is_given_up(moment, status, is_last_look=is_last_look):
            return status, None
    best = [_best(plan, need, statuses) for need, statuses in zip(needs, found, strict=True)]
    unmet = [n for n, need in enumerate(needs) if not _is_met(plan, best[n], need)]
    if not unmet:
        return best[0], None
    asked = [best[number] for number in unmet]
    status = min(asked, key=lambda each: (_far(each), not each.view.key))
    rivals = [each for each in standing if each is not status]
    steps = {step.key: step for number in unmet for step in needs[number].steps}
    return status, Missing(
        line,
        status,
        tuple(steps.values()),
        is_last_look,
        next((needs[number].note for number in unmet if needs[number].note), ""),
        tuple(each for each in rivals if each.status is Status.LOST and _was_seen(moment, each)),
        _stand_in(moment, line, status, window),
        tuple(dict.fromkeys(each.view.key for each in rivals if each.view.key)),
        _bared_by(plan, line),
        in_its_place(moment, status) if status.status is Status.REPLACED else None,
    )


def _in_its_window(plan: Plan, line: ScopeLine) -> list[ViewStatus]:
    """How the view stands that is owed while a bared surface can be seen, if one is owed."""
    span = plan.ahead.seen_at(plan.event, line.surface)
    if span is None or face_of(line.surface) in (EDGES, THROUGH):
        return []
    anchor = Anchor.in_window(line.surface, opened_by=span.opened_by)
    view = owed_for(plan.moment, line, anchor)
    return [judge(plan.moment, view)] if view.key else []


def _is_met(plan: Plan, status: ViewStatus, need: Need) -> bool:
    table = plan.moment.tables[plan.event.table_version]
    return is_met(plan.moment, table, status, is_last_look=need.is_last_look)


def _best(plan: Plan, need: Need, found: list[ViewStatus]) -> ViewStatus:
    """The status as of an anchor that is met; else of the best that a picture can still meet.

    The nearer a picture is to being accepted, the better; of equals the earliest anchor.
    """
    for status in found:
        if _is_met(plan, status, need):
            return status
    return min(found, key=_far)


def _far(status: ViewStatus) -> int:
    return _FAR.get(status.status, len(_FAR))


def _was_seen(moment: Moment, status: ViewStatus) -> bool:
    """Whether the surface could be seen in the state that is asked for."""
    life, state = moment.life(status.view.surface), moment.point(status.view.anchor).first
    return life is not None and any(
        span.first <= state and (span.until is None or state < span.until) for span in life.visible
    )


def _stand_in(moment: Moment, line: ScopeLine, status: ViewStatus, window: list[ViewStatus]) -> str:
    """The key of a view in force that would do: owed while the surface is bare, or as it is now."""
    if status.status is Status.LOST or status.view.key:
        return ""
    for bare in window:
        if bare.status is not Status.LOST:
            return bare.view.key
    wanted = (line.surface, line.technique, line.variant)
    present = (
        view.key
        for view in moment.views
        if (view.surface, view.technique, view.variant) == wanted
        and view.anchor.kind is AnchorKind.CUR
    )
    return next(present, "")


def _bared_by(plan: Plan, line: ScopeLine) -> Event | None:
    """The step under way that brings a surface to light before this one begins."""
    span = plan.ahead.seen_at(plan.event, line.surface)
    return next((e for e in plan.running if span is not None and e.key == span.opened_by), None)


def _override(moment: Moment, event: Event) -> Override | None:
    """An emergency start in force: witnessed, or still within the time to name a witness."""
    for override in moment.overrides:
        limit = override.at + timedelta(hours=moment.tables[event.table_version].witness_within_h)
        if override.event == event.key and override.at <= moment.t:
            named = override.witness_named_at
            is_witnessed = (
                bool(override.witness)
                and override.witness != override.conservator
                and named is not None
                and named <= min(moment.t, limit)
            )
            if is_witnessed or moment.t <= limit:
                return override
    return None


def with_event(case: ObjectCase, event: Event) -> ObjectCase:
    """The case with one more record of an event: a plan, a correction, a what-if."""
    return replace(case, events=(*case.events, event))
