"""The last-look gate: what must be accepted before an intervention may start.

* First step of a treatment (or of one of its phases): every view of the treatment's scope whose
  column any planned step changes (O, D+), hides (H) or destroys (last look) must be accepted or
  waived as "before treatment". A last look as of the cleaned state is asked for later, before
  its own step, unless that step comes first.
* Later steps: the step's own last looks must be accepted as before treatment or as after some
  step already done (as of the cleaned state: after the latest step done), and the surfaces it
  hides must be accepted as seen in their present visible interval.

Both are asked of the surfaces that will be there when a step begins (:mod:`.ahead`): steps under
way count as done, and so do those that stand before it in the plan. A step on the back that waits
for a lining to come off needs the canvas, which cannot be photographed before it is bare.

A view is listed once, with all its reasons. A missing last look can only be waived by a
conservator and the imaging lead together; such a waiver stands for the view in every state that
would have served. In an
emergency the step may start against a shut gate with two named people, the second within the
time that the table sets; what is missing stays listed.

>>> from datetime import UTC, datetime
>>> signed = Waiver(key="w", recorded_at=datetime(2026, 4, 1, tzinfo=UTC), view="v",
...                 granted_at=datetime(2026, 4, 1, tzinfo=UTC), lead="Signe")
>>> is_signed_by_two(signed), is_signed_by_two(replace(signed, conservator="Runa"))
(False, True)
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from datetime import timedelta
from enum import StrEnum

from .ahead import Ahead, look_ahead
from .facts import Event, ObjectCase, Override, OwedView, Waiver
from .moment import Moment, is_running
from .stateline import steps_of
from .status import ViewStatus, has_lapsed, judge
from .terms import EDGES, THROUGH, Anchor, AnchorKind, Effect, Status, face_of


class GateState(StrEnum):
    """Whether the step may start."""

    OPEN = "open"
    SHUT = "shut"
    OVERRIDDEN = "overridden"


@dataclass(frozen=True, slots=True, kw_only=True)
class ScopeLine:
    """One view that the treatment's documentation asks for."""

    surface: str
    technique: str
    variant: str = ""
    px_per_mm: float
    tolerance: float
    min_coverage: float


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
    step not done yet that brings the surface to light.
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
    """The answer: ``needed`` views with their statuses, those ``missing``, and the state."""

    event: Event
    state: GateState
    needed: tuple[ViewStatus, ...]
    missing: tuple[Missing, ...]
    is_first_step: bool
    override: Override | None = None


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
            Status.OUT_OF_DATE,
            Status.OPEN,
            Status.BLOCKED,
        )
    )
}
_MET = frozenset((Status.ACCEPTED, Status.FILED, Status.NOT_APPLICABLE, Status.REPLACED))


@dataclass(slots=True)
class _Need:
    """Why a scope line is needed: the steps, whether one of them is a last look, its note."""

    line: ScopeLine
    anchors: tuple[Anchor, ...]
    steps: list[Event]
    is_last_look: bool = False
    note: str = ""


@dataclass(frozen=True, slots=True)
class _Plan:
    """The step asked about among its own: what is done, under way, before and after it.

    ``opens_in`` is the state in force once the steps under way are done.
    """

    moment: Moment
    event: Event
    steps: tuple[Event, ...]
    earlier: tuple[Event, ...]
    running: tuple[Event, ...]
    ahead: Ahead
    opens_in: int

    @property
    def is_first(self) -> bool:
        """Whether nothing of the treatment, or of its phase, has begun yet."""
        others = (step for step in self.steps if step.key != self.event.key)
        return not any(_has_begun(step, self.moment) for step in others)


def gate(moment: Moment, event: Event, scope: Iterable[ScopeLine]) -> Gate:
    """Whether ``event`` may start at this moment, and what is missing if not.

    ``event`` may be a step that is not recorded yet. ``scope`` holds the views that the
    treatment's documentation asks for; lines whose column no rule needs are ignored.
    """
    plan = _plan(moment, event)
    needed: list[ViewStatus] = []
    missing: list[Missing] = []
    for needs in _needs(plan, tuple(scope)):
        status, lack = _answer(plan, needs)
        needed.append(status)
        if lack is not None:
            missing.append(lack)
    override = _override(moment, event) if missing else None
    state = GateState.OPEN
    if missing:
        state = GateState.OVERRIDDEN if override is not None else GateState.SHUT
    return Gate(event, state, tuple(needed), tuple(missing), plan.is_first, override)


def needed_first(moment: Moment, event: Event, scope: Iterable[ScopeLine]) -> list[ScopeLine]:
    """The scope lines that a treatment needs "before", were ``event`` its first step."""
    plan = _plan(moment, event)
    return [need.line for line in scope if (need := _need_first(plan, line)) is not None]


def scope_of(views: Iterable[OwedView]) -> tuple[ScopeLine, ...]:
    """Scope lines from owed views: each surface, technique and variant once, densest first."""
    best: dict[tuple[str, str, str], OwedView] = {}
    for view in views:
        key = (view.surface, view.technique, view.variant)
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
        )
        for view in best.values()
    )


def _plan(moment: Moment, event: Event) -> _Plan:
    steps = _group(moment, event)
    place = next(n for n, step in enumerate(steps) if step.key == event.key)
    ahead = [step for step in steps if not _has_begun(step, moment) and step.key != event.key]
    earlier = [step for step in ahead if steps.index(step) < place]
    later = [step for step in ahead if steps.index(step) > place]
    running = sorted(
        (e for e in moment.events if is_running(e, moment.t) and e.key != event.key),
        key=lambda step: (step.started_at, step.order),
    )
    sequence = [*running, *earlier, event, *later]
    found = look_ahead(moment, sequence)
    opens_in = found.starts[(earlier[0] if earlier else event).key]
    return _Plan(moment, event, tuple(steps), tuple(earlier), tuple(running), found, opens_in)


def _group(moment: Moment, event: Event) -> list[Event]:
    """The steps documented together: the event's treatment, or its phase if it has one."""
    if event.treatment is None:
        return [event]
    steps = steps_of(moment.events, event.treatment, moment.t, phase=event.phase)
    others = [step for step in steps if step.key != event.key]
    return sorted([*others, event], key=lambda step: (step.step or 0, step.order))


def _has_begun(step: Event, moment: Moment) -> bool:
    return step.started_at is not None and step.started_at <= moment.t


def _needs(plan: _Plan, scope: tuple[ScopeLine, ...]) -> Iterator[list[_Need]]:
    """What is asked of each line: at a first step the whole plan, later the step's own."""
    for line in scope:
        first = _need_first(plan, line) if plan.is_first else None
        needs = [first] if first is not None else []
        is_own = not plan.is_first or plan.ahead.seen_in(plan.opens_in, line.surface) is None
        if is_own:
            needs += _needs_own(plan, line)
        if needs:
            yield needs


def _need_first(plan: _Plan, line: ScopeLine) -> _Need | None:
    """Union over all planned steps, as "before treatment", for a surface that can be seen now.

    Each step counts for the surfaces that are there when it begins, those before it done.
    """
    ahead, event = plan.ahead, plan.event
    if ahead.seen_in(plan.opens_in, line.surface) is None:
        return None
    need = _Need(line, (Anchor.before(event.treatment or event.key, phase=event.phase),), [])
    for step in plan.steps:
        look = ahead.last_look(step, line.surface, line.technique)
        if look is not None and look[0] == "cleaned" and step.key != event.key:
            look = None
        if look is not None:
            need.is_last_look, need.note = True, need.note or look[1]
        cell = ahead.cell(step, line.surface, line.technique)
        if look is not None or cell in (Effect.OUT, Effect.ASK_OUT, Effect.HIDDEN):
            need.steps.append(step)
    return need if need.steps else None


def _needs_own(plan: _Plan, line: ScopeLine) -> Iterator[_Need]:
    """The step's own last looks, and the surfaces that it hides, as they lie when it begins."""
    ahead, event = plan.ahead, plan.event
    span = ahead.seen_at(event, line.surface)
    if span is None:
        return
    look = ahead.last_look(event, line.surface, line.technique)
    if look is not None:
        before = Anchor.before(event.treatment or event.key, phase=event.phase)
        after = _after(plan)
        anchors = (after[-1],) if look[0] == "cleaned" and after else (before, *after)
        yield _Need(line, anchors, [event], True, look[1])
    if ahead.cell(event, line.surface, line.technique) is Effect.HIDDEN:
        window = Anchor.in_window(line.surface, opened_by=span.opened_by)
        yield _Need(line, (window,), [event], look is not None)


def _after(plan: _Plan) -> list[Anchor]:
    """The states after the treatment's steps that are over when the step begins, in order."""
    event, t = plan.event, plan.moment.t
    others = [step for step in plan.steps if step.key != event.key]
    done = [step for step in others if step.ended_at is not None and step.ended_at <= t]
    done.sort(key=lambda step: (step.ended_at, step.order))
    keys = {step.key for step in others}
    over = [*done, *(step for step in plan.running if step.key in keys), *plan.earlier]
    treatment = event.treatment or event.key
    return [Anchor.during(treatment, step=s.step) for s in over if s.step is not None]


def _answer(plan: _Plan, needs: list[_Need]) -> tuple[ViewStatus, Missing | None]:
    """One line's status for everything that is asked of it, and what it lacks.

    A line is given up as a whole: a waiver of the view as of one of its states, or of the time in
    which the surface can be seen, with the signatures that the line needs, stands for all of them.
    """
    moment, line = plan.moment, needs[0].line
    is_last_look = any(need.is_last_look for need in needs)
    found = [
        [judge(moment, _view(moment, line, anchor)) for anchor in need.anchors] for need in needs
    ]
    window = _in_its_window(plan, line)
    standing = [each for statuses in found for each in statuses] + window
    for status in standing:
        if status.status is Status.WAIVED and _is_met(moment, status, is_last_look):
            return status, None
    best = [_best(moment, need, statuses) for need, statuses in zip(needs, found, strict=True)]
    unmet = [
        number
        for number, need in enumerate(needs)
        if not _is_met(moment, best[number], need.is_last_look)
    ]
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
    )


def _in_its_window(plan: _Plan, line: ScopeLine) -> list[ViewStatus]:
    """How the view stands that is owed while a bared surface can be seen, if one is owed."""
    span = plan.ahead.seen_at(plan.event, line.surface)
    if span is None or face_of(line.surface) in (EDGES, THROUGH):
        return []
    anchor = Anchor.in_window(line.surface, opened_by=span.opened_by)
    view = _view(plan.moment, line, anchor)
    return [judge(plan.moment, view)] if view.key else []


def _best(moment: Moment, need: _Need, found: list[ViewStatus]) -> ViewStatus:
    """The status as of an anchor that is met; else of the best that a picture can still meet.

    The nearer a picture is to being accepted, the better; of equals the earliest anchor.
    """
    for status in found:
        if _is_met(moment, status, need.is_last_look):
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


def _bared_by(plan: _Plan, line: ScopeLine) -> Event | None:
    """The step under way or still to do that brings a surface to light before this one begins."""
    span = plan.ahead.seen_at(plan.event, line.surface)
    waited = (*plan.running, *plan.earlier)
    return next((e for e in waited if span is not None and e.key == span.opened_by), None)


def _view(moment: Moment, line: ScopeLine, anchor: Anchor) -> OwedView:
    """The owed view in force for this line and anchor, or one as the scope would have it."""
    wanted = (line.surface, line.technique, line.variant)
    for view in moment.views:
        if (view.surface, view.technique, view.variant) == wanted and _is_same(
            moment, view.anchor, anchor
        ):
            return view
    return OwedView(
        key="",
        recorded_at=moment.u,
        surface=line.surface,
        technique=line.technique,
        variant=line.variant,
        anchor=anchor,
        px_per_mm=line.px_per_mm,
        tolerance=line.tolerance,
        min_coverage=line.min_coverage,
    )


def _is_same(moment: Moment, one: Anchor, other: Anchor) -> bool:
    """Equal anchors, or "before treatment" told with and without its phase but one and the same."""
    if one == other:
        return True
    is_before = one.kind is AnchorKind.BT and other.kind is AnchorKind.BT
    return (
        is_before
        and one.treatment == other.treatment
        and (one.phase is None or other.phase is None)
        and moment.point(one) == moment.point(other)
    )


def _is_met(moment: Moment, status: ViewStatus, is_last_look: bool) -> bool:
    if status.status is Status.WAIVED:
        if not is_last_look:
            return True
        return any(
            is_signed_by_two(waiver)
            for waiver in moment.waivers.get(status.view.key, ())
            if not has_lapsed(moment, status.view, waiver)
        )
    return status.status in _MET


def is_signed_by_two(waiver: Waiver) -> bool:
    """Whether a conservator and the lead, two different people, have both signed."""
    return bool(waiver.conservator and waiver.lead and waiver.conservator != waiver.lead)


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
