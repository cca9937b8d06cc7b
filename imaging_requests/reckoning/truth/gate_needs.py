"""What a gate asks for: the steps of a plan in sequence, and the views that each one needs."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from ..records import record
from .ahead import Ahead, look_ahead
from .facts import Event
from .moment import Moment, is_running
from .stateline import steps_of
from .terms import EDGES, THROUGH, Anchor, Effect, Verdict, face_of


@record
@dataclass(frozen=True, slots=True, kw_only=True)
class ScopeLine:
    """One view that the treatment's documentation asks for."""

    surface: str
    technique: str
    variant: str = ""
    px_per_mm: float
    tolerance: float
    min_coverage: float


@dataclass(slots=True)
class Need:
    """Why a scope line is needed: the steps, whether one of them is a last look, its note."""

    line: ScopeLine
    anchors: tuple[Anchor, ...]
    steps: list[Event]
    is_last_look: bool = False
    note: str = ""


@dataclass(frozen=True, slots=True)
class Plan:
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


def plan_of(moment: Moment, event: Event) -> Plan:
    """Put a step among its own, and read the surfaces of its plan in sequence."""
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
    return Plan(moment, event, tuple(steps), tuple(earlier), tuple(running), found, opens_in)


def _group(moment: Moment, event: Event) -> list[Event]:
    """The steps documented together: the event's treatment, or its phase if it has one."""
    if event.treatment is None:
        return [event]
    steps = steps_of(moment.events, event.treatment, moment.t, phase=event.phase)
    others = [step for step in steps if step.key != event.key]
    return sorted([*others, event], key=lambda step: (step.step or 0, step.order))


def _has_begun(step: Event, moment: Moment) -> bool:
    return step.started_at is not None and step.started_at <= moment.t


def needs_of(plan: Plan, scope: tuple[ScopeLine, ...]) -> Iterator[list[Need]]:
    """What is asked of each line: at a first step the whole plan, later the step's own."""
    for line in scope:
        first = need_first(plan, line) if plan.is_first else None
        needs = [first] if first is not None else []
        is_own = not plan.is_first or plan.ahead.seen_in(plan.opens_in, line.surface) is None
        if is_own:
            needs += _needs_own(plan, line)
        if needs:
            yield needs


def need_first(plan: Plan, line: ScopeLine) -> Need | None:
    """Union over all planned steps, as "before treatment", for a surface that can be seen now.

    Each step counts for the surfaces that are there when it begins, those before it done.
    """
    ahead, event = plan.ahead, plan.event
    if ahead.seen_in(plan.opens_in, line.surface) is None:
        return None
    need = Need(line, (Anchor.before(event.treatment or event.key, phase=event.phase),), [])
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


def _needs_own(plan: Plan, line: ScopeLine) -> Iterator[Need]:
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
        yield Need(line, anchors, [event], True, look[1])
    if ahead.cell(event, line.surface, line.technique) is Effect.HIDDEN:
        window = Anchor.in_window(line.surface, opened_by=span.opened_by)
        yield Need(line, (window,), [event], look is not None)


def _after(plan: Plan) -> list[Anchor]:
    """The states after the treatment's steps that are over when the step begins, in order."""
    event, t = plan.event, plan.moment.t
    others = [step for step in plan.steps if step.key != event.key]
    done = [step for step in others if step.ended_at is not None and step.ended_at <= t]
    done.sort(key=lambda step: (step.ended_at, step.order))
    keys = {step.key for step in others}
    over = [*done, *(step for step in plan.running if step.key in keys), *plan.earlier]
    treatment = event.treatment or event.key
    return [Anchor.during(treatment, step=s.step) for s in over if s.step is not None]


def unasked_last_looks(plan: Plan, scope: tuple[ScopeLine, ...]) -> tuple[tuple[str, str], ...]:
    """``(surface, technique)`` of last looks of the step that nobody asks for and nothing shows.

    The documentation of a treatment decides what its gate asks for. What lies outside it is lost
    all the same, so it is told: one technique for each column of the table.
    """
    moment, event = plan.moment, plan.event
    table = moment.tables[event.table_version]
    mirrored = moment.two_sided and event.face == "B"
    shown = {
        (surface, technique)
        for (surface, technique, _), standings in moment.pictures.items()
        if any(standing.verdict is Verdict.ACCEPTED for standing in standings)
    }
    known = shown | {(line.surface, line.technique) for line in scope}
    covered = {
        (surface, table.column(technique, face_of(surface), mirrored=mirrored))
        for surface, technique in known
    }
    found: dict[tuple[str, str], tuple[str, str]] = {}
    for surface in [*plan.ahead.surfaces.lives, f"{EDGES}.1", f"{THROUGH}.1"]:
        if plan.ahead.seen_at(event, surface) is None:
            continue
        for technique, family in table.families.items():
            face = face_of(surface)
            if (family == "XR") != (face == THROUGH):
                continue
            column = table.column(technique, face, mirrored=mirrored)
            if (surface, column) in covered or (surface, column) in found:
                continue
            if plan.ahead.last_look(event, surface, technique) is not None:
                found[surface, column] = (surface, technique)
    return tuple(found.values())
