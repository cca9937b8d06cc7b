"""What a gate asks for: the steps of a plan in sequence, and the views that each one needs."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

from ..records import record
from .ahead import Ahead, look_ahead
from .facts import Event
from .moment import Moment, is_running
from .stateline import steps_of
from .terms import EDGES, THROUGH, Anchor, Effect, Verdict, face_of


@record
@dataclass(frozen=True, slots=True, kw_only=True)
class ScopeLine:
    """One view that the treatment's documentation asks for.

    One that ``is_of_face`` is asked of every surface that comes to lie at its face.
    """

    surface: str
    technique: str
    variant: str = ""
    px_per_mm: float
    tolerance: float
    min_coverage: float
    is_of_face: bool = False


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
    """The step asked about among its own, read as if it began now.

    ``running`` are the steps under way, of whatever treatment; they count as done.
    """

    moment: Moment
    event: Event
    steps: tuple[Event, ...]
    running: tuple[Event, ...]
    ahead: Ahead

    @property
    def is_first(self) -> bool:
        """Whether nothing of the treatment, or of its phase, has begun yet."""
        others = (step for step in self.steps if step.key != self.event.key)
        return not any(_has_begun(step, self.moment) for step in others)


def plan_of(moment: Moment, event: Event) -> Plan:
    """Put a step among its own, and read the surfaces as they lie if it is the next to begin.

    The steps planned before it that have not begun come after it, in the order of the plan.
    """
    steps = _group(moment, event)
    others = [step for step in steps if not _has_begun(step, moment) and step.key != event.key]
    running = sorted(
        (e for e in moment.events if is_running(e, moment.t) and e.key != event.key),
        key=lambda step: (step.started_at, step.order),
    )
    found = look_ahead(moment, [*running, event, *others])
    return Plan(moment, event, tuple(steps), tuple(running), found)


def _group(moment: Moment, event: Event) -> list[Event]:
    """The steps documented together: the event's treatment, or its phase if it has one."""
    if event.treatment is None:
        return [event]
    steps = steps_of(moment.events, event.treatment, moment.t, phase=event.phase)
    others = [step for step in steps if step.key != event.key]
    return sorted([*others, event], key=lambda step: (step.step or 0, step.order))


def _has_begun(step: Event, moment: Moment) -> bool:
    return step.started_at is not None and step.started_at <= moment.t


def lines_at(plan: Plan, scope: tuple[ScopeLine, ...]) -> tuple[ScopeLine, ...]:
    """The scope, with what it asks of a face asked of the surface that lies there at the start."""
    asked = {(line.surface, line.technique, line.variant) for line in scope}
    more = []
    for line in scope:
        surface = plan.ahead.lying_at(plan.event, face_of(line.surface))
        if not line.is_of_face or surface is None:
            continue
        key = (surface, line.technique, line.variant)
        if key not in asked:
            asked.add(key)
            more.append(replace(line, surface=surface))
    return (*scope, *more)


def needs_of(plan: Plan, scope: tuple[ScopeLine, ...]) -> Iterator[list[Need]]:
    """What is asked of each line: at a first step the whole plan, later the step's own."""
    for line in scope:
        first = need_first(plan, line) if plan.is_first else None
        needs = [first] if first is not None else []
        is_own = not plan.is_first or plan.ahead.seen_at(plan.event, line.surface) is None
        if is_own:
            needs += _needs_own(plan, line)
        if needs:
            yield needs


def need_first(plan: Plan, line: ScopeLine) -> Need | None:
    """Union over all planned steps, as "before treatment", for a surface that can be seen now.

    Each step counts for the surfaces that are there when it begins, those before it done.
    """
    ahead, event = plan.ahead, plan.event
    if ahead.seen_at(event, line.surface) is None:
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


def is_needed_before(plan: Plan, line: ScopeLine) -> bool:
    """Whether a first step asks for a view "before", or a later one will find it covered."""
    ahead = plan.ahead
    if ahead.seen_at(plan.event, line.surface) is not None:
        return need_first(plan, line) is not None
    for step in plan.steps:
        look = ahead.last_look(step, line.surface, line.technique)
        is_of_later = look is not None and look[0] == "cleaned" and step.key != plan.event.key
        if look is not None and not is_of_later and ahead.is_covered_at(step, line.surface):
            return True
    return False


def _needs_own(plan: Plan, line: ScopeLine) -> Iterator[Need]:
    """The step's own last looks, and the surfaces that it hides, as they lie when it begins.

    A surface under a cover can be looked at no more; the last look of it was due before.
    """
    ahead, event = plan.ahead, plan.event
    span = ahead.seen_at(event, line.surface)
    if span is None and not ahead.is_covered_at(event, line.surface):
        return
    look = ahead.last_look(event, line.surface, line.technique)
    if look is not None:
        before = Anchor.before(event.treatment or event.key, phase=event.phase)
        after = _after(plan)
        anchors = (after[-1],) if look[0] == "cleaned" and after else (before, *after)
        yield Need(line, anchors, [event], True, look[1])
    if span is not None and ahead.cell(event, line.surface, line.technique) is Effect.HIDDEN:
        window = Anchor.in_window(line.surface, opened_by=span.opened_by)
        yield Need(line, (window,), [event], look is not None)


def _after(plan: Plan) -> list[Anchor]:
    """The states after the treatment's steps that are over when the step begins, in order."""
    event, t = plan.event, plan.moment.t
    others = [step for step in plan.steps if step.key != event.key]
    done = [step for step in others if step.ended_at is not None and step.ended_at <= t]
    done.sort(key=lambda step: (step.ended_at, step.order))
    keys = {step.key for step in others}
    over = [*done, *(step for step in plan.running if step.key in keys)]
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
        is_seen = plan.ahead.seen_at(event, surface) is not None
        if not is_seen and not plan.ahead.is_covered_at(event, surface):
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
