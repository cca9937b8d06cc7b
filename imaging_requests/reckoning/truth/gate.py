"""The last-look gate: what must be accepted before an intervention may start.

* First step of a treatment (or of one of its phases): every view of the treatment's scope whose
  column any planned step changes (O, D+), hides (H) or destroys (last look) must be accepted or
  waived as "before treatment". A last look as of the cleaned state is asked for later, before
  its own step, unless that step comes first.
* Later steps: the step's own last looks must be accepted as before treatment or as after some
  step already done (as of the cleaned state: after the latest step done), and the surfaces it
  hides must be accepted as seen in their present visible interval.

A missing last look can only be waived by a conservator and the imaging lead together. In an
emergency the step may start against a shut gate with two named people, the second within the
time that the table sets; what is missing stays listed.

>>> from datetime import UTC, datetime
>>> signed = Waiver(key="w", recorded_at=datetime(2026, 4, 1, tzinfo=UTC), view="v",
...                 granted_at=datetime(2026, 4, 1, tzinfo=UTC), lead="Signe")
>>> is_signed_by_two(signed), is_signed_by_two(replace(signed, conservator="Runa"))
(False, True)
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import timedelta
from enum import StrEnum

from .facts import Event, ObjectCase, Override, OwedView, Waiver
from .moment import Moment
from .stateline import steps_of
from .status import ViewStatus, has_lapsed, judge
from .terms import Anchor, AnchorKind, Effect, Status, face_of


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
    """A view that keeps the gate shut.

    ``status`` is the view's status as of the anchor that is asked for; ``steps`` are the planned
    steps that need it; ``is_last_look``: it can never be made again, a waiver needs two people.
    Where several anchors would serve, ``status`` is of the best that is still possible and ``lost``
    are those of the others that no picture can meet any more. ``stand_in`` is the key of the view
    owed as the object is now, whose picture would meet this one too; empty if there is none.
    """

    line: ScopeLine
    status: ViewStatus
    steps: tuple[Event, ...]
    is_last_look: bool
    note: str = ""
    lost: tuple[ViewStatus, ...] = ()
    stand_in: str = ""

    @property
    def owed_key(self) -> str:
        """The key of the view that people can plan for: its own, or the stand-in's."""
        return self.status.view.key or self.stand_in

    @property
    def waivable_key(self) -> str:
        """The key of a view that can be waived in its place; empty if none is in force."""
        keys = (each.view.key for each in (self.status, *self.lost))
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


def gate(moment: Moment, event: Event, scope: Iterable[ScopeLine]) -> Gate:
    """Whether ``event`` may start at this moment, and what is missing if not.

    ``event`` may be a step that is not recorded yet. ``scope`` holds the views that the
    treatment's documentation asks for; lines whose column no rule needs are ignored.
    """
    steps = _group(moment, event)
    is_first = not any(_has_begun(step, moment) for step in steps if step.key != event.key)
    lines = tuple(scope)
    needs = (
        _needs_first(moment, event, steps, lines)
        if is_first
        else _needs_later(moment, event, steps, lines)
    )
    needed: list[ViewStatus] = []
    missing: list[Missing] = []
    for need in needs:
        found = [judge(moment, _view(moment, need.line, anchor)) for anchor in need.anchors]
        status = _best(moment, need, found)
        needed.append(status)
        if not _is_met(moment, status, need.is_last_look):
            missing.append(_missing(moment, need, status, found))
    override = _override(moment, event) if missing else None
    state = GateState.OPEN
    if missing:
        state = GateState.OVERRIDDEN if override is not None else GateState.SHUT
    return Gate(event, state, tuple(needed), tuple(missing), is_first, override)


def needed_first(moment: Moment, event: Event, scope: Iterable[ScopeLine]) -> list[ScopeLine]:
    """The scope lines that a treatment needs "before", were ``event`` its first step."""
    needs = _needs_first(moment, event, _group(moment, event), tuple(scope))
    return [need.line for need in needs]


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


def _group(moment: Moment, event: Event) -> list[Event]:
    """The steps documented together: the event's treatment, or its phase if it has one."""
    if event.treatment is None:
        return [event]
    steps = steps_of(moment.events, event.treatment, moment.t, phase=event.phase)
    others = [step for step in steps if step.key != event.key]
    return sorted([*others, event], key=lambda step: (step.step or 0, step.order))


def _has_begun(step: Event, moment: Moment) -> bool:
    return step.started_at is not None and step.started_at <= moment.t


def _face_cell(moment: Moment, event: Event, line: ScopeLine) -> Effect:
    return moment.cell(event, line.technique, face_of(line.surface))


def _last_look(moment: Moment, event: Event, line: ScopeLine) -> tuple[str, str] | None:
    """``(as_of, note)`` of the event's last look on this line, if it has one."""
    table = moment.tables[event.table_version]
    looks = table.row(event.row).last_look
    if not looks:
        return None
    mirrored = moment.two_sided and event.face == "B"
    column = table.column(line.technique, face_of(line.surface), mirrored=mirrored)
    for look in looks:
        if look.column == column:
            return look.as_of, look.note
    return None


def _needs_first(
    moment: Moment, event: Event, steps: list[Event], scope: tuple[ScopeLine, ...]
) -> list[_Need]:
    """Union over all planned steps, as "before treatment", for surfaces that can be seen now."""
    needs: list[_Need] = []
    anchor = Anchor.before(event.treatment or event.key, phase=event.phase)
    for line in scope:
        life = moment.life(line.surface)
        if life is None or not life.is_visible:
            continue
        need = _Need(line, (anchor,), [])
        for step in steps:
            look = _last_look(moment, step, line)
            if look is not None and look[0] == "cleaned" and step.key != event.key:
                look = None
            if look is not None:
                need.is_last_look, need.note = True, need.note or look[1]
            cell = _face_cell(moment, step, line)
            if look is not None or cell in (Effect.OUT, Effect.ASK_OUT, Effect.HIDDEN):
                need.steps.append(step)
        if need.steps:
            needs.append(need)
    return needs


def _needs_later(
    moment: Moment, event: Event, steps: list[Event], scope: tuple[ScopeLine, ...]
) -> list[_Need]:
    """The step's own last looks, and the surfaces that it hides."""
    needs: list[_Need] = []
    done = [
        step
        for step in steps
        if step.ended_at is not None and step.ended_at <= moment.t and step.key != event.key
    ]
    done.sort(key=lambda step: (step.ended_at, step.order))
    before = Anchor.before(event.treatment or event.key, phase=event.phase)
    after = [
        Anchor.during(event.treatment or event.key, step=step.step)
        for step in done
        if step.step is not None
    ]
    for line in scope:
        life = moment.life(line.surface)
        if life is None or not life.is_visible:
            continue
        look = _last_look(moment, event, line)
        if look is not None and look[0] == "cleaned" and after:
            needs.append(_Need(line, (after[-1],), [event], True, look[1]))
        elif look is not None:
            needs.append(_Need(line, (before, *after), [event], True, look[1]))
        if _face_cell(moment, event, line) is Effect.HIDDEN:
            window = Anchor.in_window(life.code, opened_by=life.visible[-1].opened_by)
            needs.append(_Need(line, (window,), [event], look is not None))
    return needs


def _best(moment: Moment, need: _Need, found: list[ViewStatus]) -> ViewStatus:
    """The status as of an anchor that is met; else of the best that a picture can still meet.

    The nearer a picture is to being accepted, the better; of equals the earliest anchor.
    """
    for status in found:
        if _is_met(moment, status, need.is_last_look):
            return status
    return min(found, key=lambda status: _FAR.get(status.status, len(_FAR)))


def _missing(moment: Moment, need: _Need, status: ViewStatus, found: list[ViewStatus]) -> Missing:
    line = need.line
    wanted = (line.surface, line.technique, line.variant)
    can_stand_in = status.status is not Status.LOST
    present = (
        view.key
        for view in moment.views
        if (view.surface, view.technique, view.variant) == wanted
        and view.anchor.kind is AnchorKind.CUR
    )
    return Missing(
        line,
        status,
        tuple(need.steps),
        need.is_last_look,
        need.note,
        tuple(each for each in found if each.status is Status.LOST and each is not status),
        next(present, "") if can_stand_in and not status.view.key else "",
    )


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
