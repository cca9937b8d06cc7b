"""What a treatment's documentation owes: before, during, after, and while a surface is bare.

* Before (BT): every view of the scope whose column any planned step changes, puts in doubt, hides
  or destroys; the same union as the gate's, so that the gate finds a duty for each of its views.
* During (DT): once the treatment is under way, views the scope asks for after a numbered step, and
  last looks as of the cleaned state, after the step before the one that ends them. So are last
  looks of a surface that was not there before the treatment and that no window brought to light,
  such as the back of a new lining.
* After (AT): once every step of a phase has ended, the views that its steps made out of date or
  put in doubt with that proposal. Where the conservator decides "still valid", the picture from
  before meets the duty by itself.
* Window (WIN): for each time in which a step bares a surface, planned, open or over.

Everything is said for each phase of its own; phases after the first carry their number in the
anchor's text.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from functools import cache, cached_property

from imaging_requests.reckoning.records import record
from imaging_requests.reckoning.truth.ahead import look_ahead
from imaging_requests.reckoning.truth.facts import Event, ObjectCase
from imaging_requests.reckoning.truth.gate import needed_first
from imaging_requests.reckoning.truth.gate_needs import ScopeLine
from imaging_requests.reckoning.truth.in_force import judged
from imaging_requests.reckoning.truth.moment import Moment, is_running, look
from imaging_requests.reckoning.truth.terms import BACK, FRONT, Effect, face_of
from imaging_requests.reckoning.truth.triggers import SurfaceAct, Tables
from imaging_requests.reckoning.truth.windows import Window, WindowState, windows
from imaging_requests.requesting.duties import AsOf, Duties, Known, Want
from imaging_requests.requesting.models import Anchor, Demand, Technique
from imaging_requests.requesting.scope import AFTER, BEFORE, WINDOW, ScopeItem, read_scope
from imaging_requests.treatments.events import event_key
from imaging_requests.treatments.models import Intervention, Treatment, TreatmentState

_DEFAULT_DIRECTION = "L"
_UNDER_WAY = frozenset(
    (
        TreatmentState.UNDER_WAY,
        TreatmentState.PAUSED,
        TreatmentState.FINISHED,
        TreatmentState.SIGNED_OFF,
    )
)
_NEEDS_AFTER = frozenset((Effect.OUT, Effect.ASK_OUT))
_GATED = frozenset((Effect.OUT, Effect.ASK_OUT, Effect.HIDDEN))
_JUST_BEFORE = timedelta(microseconds=1)


@dataclass(frozen=True, kw_only=True)
class Course:
    """One treatment of an object: its steps in order, and the object at any instant.

    The courses of one object may share their `moments`: many of them ask about the same instant.
    """

    treatment: Treatment
    steps: tuple[Intervention, ...]
    case: ObjectCase
    tables: Tables
    now: datetime
    moments: dict[datetime, Moment] = field(default_factory=dict, compare=False, repr=False)

    def moment(self, at: datetime) -> Moment:
        """The object at an instant, as known now."""
        found = self.moments.get(at)
        if found is None:
            found = self.moments[at] = look(self.case, self.tables, t=at, u=self.now)
        return found

    def event(self, step: Intervention) -> Event:
        """One of the steps as the rules of truth read it, under the table that counts now."""
        return self._events[event_key(step.pk)]

    @cached_property
    def _events(self) -> dict[str, Event]:
        own = str(self.treatment.pk)
        return {
            event.key: judged(event, self.case.published, self.tables, t=self.now, u=self.now)
            for event in self.case.events
            if event.treatment == own
        }

    def phases(self) -> Iterator[tuple[int, tuple[Intervention, ...]]]:
        """Each phase with its steps in order."""
        for phase in sorted({step.phase for step in self.steps}):
            yield phase, tuple(step for step in self.steps if step.phase == phase)

    def anchor(self, kind: Anchor, phase: int, step: int | None = None) -> AsOf:
        """An anchor of this treatment; phases after the first carry their number in its text."""
        key = f"{kind}:{self.treatment.pk}"
        if step is not None:
            key = f"{key}:{step}"
        elif phase > 1:
            key = f"{key}/{phase}"
        return AsOf(kind=kind, key=key, treatment_id=self.treatment.pk, phase=phase, step=step)


@record
@dataclass(frozen=True, kw_only=True)
class _Asked:
    """A view that the treatment asks for."""

    item: ScopeItem
    surface: str
    as_of: AsOf
    due_on: date | None


def by_treatment(known: Known, course: Course) -> Duties:
    """Everything that one treatment owes now; a dropped one owes nothing."""
    duties = Duties()
    if course.treatment.state == TreatmentState.DROPPED:
        return duties
    scope = _directed(known, read_scope(course.treatment.scope))
    asked = list(_windows(course, scope))
    for phase, steps in course.phases():
        asked += _before(course, phase, steps, scope)
        asked += _during(course, phase, steps, scope)
        asked += _after(course, phase, steps, scope)
    for each in asked:
        variant = each.item.direction or ""
        duties.add(
            Want(
                object_id=known.object_id,
                face=each.item.face,
                surface=each.surface,
                technique=each.item.technique,
                variant=variant,
                as_of=each.as_of,
                making=known.making_for(each.item.technique, each.item.face, variant),
                due_on=each.due_on,
                demands={(Demand.Source.TREATMENT, None, "", course.treatment.pk, "")},
            )
        )
    return duties


def _directed(known: Known, scope: Iterable[ScopeItem]) -> tuple[ScopeItem, ...]:
    """Spell out the directions of raking light: the protocols' own, else from the left."""
    found: list[ScopeItem] = []
    for item in scope:
        if item.technique != Technique.RK or item.direction is not None:
            found.append(item)
            continue
        directions = known.directions(item.face) or (_DEFAULT_DIRECTION,)
        found.extend(item.towards(direction) for direction in directions)
    return tuple(found)


def _surface(moment: Moment, face: str) -> str | None:
    """The surface that can be seen at a face; None while it is covered."""
    if face not in (FRONT, BACK):
        return f"{face}.1"
    top = moment.surfaces.top(face)
    return None if top is None else top.code


def _lying(moment: Moment, face: str) -> str | None:
    """The outermost surface of a face, under a facing or a board too."""
    if face not in (FRONT, BACK):
        return f"{face}.1"
    state, lives = moment.line.current, moment.surfaces.lives.values()
    found = (life.code for life in lives if face_of(life.code) == face and life.is_outermost(state))
    return next(found, None)


def _surfaces(moment: Moment, scope: Iterable[ScopeItem]) -> dict[str, str | None]:
    """What can be seen at every face of a scope."""
    return {face: _surface(moment, face) for face in {item.face for item in scope}}


def _day(instant: datetime | None) -> date | None:
    return None if instant is None else instant.date()


def _before(
    course: Course, phase: int, steps: tuple[Intervention, ...], scope: tuple[ScopeItem, ...]
) -> Iterator[_Asked]:
    """The union of the gate before the first step, as of just before that step."""
    first, moment = _first_of(course, steps)
    lines: dict[tuple[str, str, str], ScopeItem] = {}
    for item in scope:
        surface = _lying(moment, item.face)
        if item.asks(BEFORE) and surface is not None:
            lines[surface, item.technique, item.direction or ""] = item
    needed = needed_first(moment, course.event(first), [_line(*key) for key in lines])
    as_of = course.anchor(Anchor.BT, phase)
    due_on = first.planned_on or course.treatment.planned_from
    for line in needed:
        item = lines[line.surface, line.technique, line.variant]
        yield _Asked(item=item, surface=line.surface, as_of=as_of, due_on=due_on)


def _first_of(course: Course, steps: tuple[Intervention, ...]) -> tuple[Intervention, Moment]:
    """The step that began first, or is to, and the object just before it."""
    started = [step for step in steps if step.started_at is not None]
    first = min(started, key=lambda step: (step.started_at, step.step)) if started else steps[0]
    at = first.started_at - _JUST_BEFORE if first.started_at is not None else course.now
    return first, course.moment(at)


@cache
def _line(surface: str, technique: str, variant: str) -> ScopeLine:
    """A view as the gate is asked about it here, where no picture is measured against it."""
    return ScopeLine(
        surface=surface,
        technique=technique,
        variant=variant,
        px_per_mm=1,
        tolerance=0,
        min_coverage=0,
    )


def _during(
    course: Course, phase: int, steps: tuple[Intervention, ...], scope: tuple[ScopeItem, ...]
) -> Iterator[_Asked]:
    """Views after numbered steps, and last looks as of the cleaned state."""
    if course.treatment.state not in _UNDER_WAY:
        return
    before = _first_of(course, steps)[1]
    for place, step in enumerate(steps):
        following = steps[place + 1] if place + 1 < len(steps) else None
        ends_looks = following is not None and _ends_looks(course, following)
        if not ends_looks and not any(step.step in item.steps for item in scope):
            continue
        moment = course.moment(step.finished_at or course.now)
        as_of = course.anchor(Anchor.DT, phase, step.step)
        for item in scope:
            surface = _surface(moment, item.face)
            is_asked = step.step in item.steps and surface is not None
            if not is_asked and following is not None and not item.steps:
                surface = _lying(moment, item.face)
                looks = _last_looks(moment, course.event(following), item)
                is_asked = "cleaned" in looks or bool(
                    looks
                    and item.asks(BEFORE)
                    and surface != _lying(before, item.face)
                    and not _is_bared(course, moment, surface)
                )
            if surface is not None and is_asked:
                yield _Asked(
                    item=item,
                    surface=surface,
                    as_of=as_of,
                    due_on=None if following is None else following.planned_on,
                )


def _ends_looks(course: Course, step: Intervention) -> bool:
    """Whether a step ends for ever anything that pictures show."""
    event = course.event(step)
    return bool(course.tables[event.table_version].row(event.row).last_look)


def _last_looks(moment: Moment, event: Event, item: ScopeItem) -> set[str]:
    """As of which states a step ends for ever what this view shows."""
    table = moment.tables[event.table_version]
    mirrored = moment.two_sided and event.face == BACK
    column = table.column(item.technique, item.face, mirrored=mirrored)
    return {look.as_of for look in moment.row(event).last_look if look.column == column}


def _is_bared(course: Course, moment: Moment, surface: str | None) -> bool:
    """Whether the treatment owes a surface already for the time in which it can be seen."""
    own = str(course.treatment.pk)
    return any(
        window.surface == surface
        and window.opened_by.treatment == own
        and window.state is not WindowState.TO_COME
        for window in windows(moment)
    )


def _after(
    course: Course, phase: int, steps: tuple[Intervention, ...], scope: tuple[ScopeItem, ...]
) -> Iterator[_Asked]:
    """What a phase that has ended made out of date or put in doubt with that proposal."""
    ends = [step.finished_at for step in steps if step.finished_at is not None]
    if not ends or len(ends) < len(steps):
        return
    moment = course.moment(max(ends))
    events = [course.event(step) for step in steps]
    seen = _surfaces(moment, scope)
    as_of, due_on = course.anchor(Anchor.AT, phase), _day(max(ends))
    for item in scope:
        surface = seen[item.face]
        if surface is None or not item.asks(AFTER):
            continue
        if any(moment.effect(event, surface, item.technique) in _NEEDS_AFTER for event in events):
            yield _Asked(item=item, surface=surface, as_of=as_of, due_on=due_on)


def _windows(course: Course, scope: tuple[ScopeItem, ...]) -> Iterator[_Asked]:
    """Views of a bared surface, for every window that this treatment opens."""
    seen: dict[str, int] = {}
    moment = course.moment(course.now)
    for window in windows(moment):
        if window.opened_by.treatment != str(course.treatment.pk):
            continue
        if not (_is_short(moment, window) or _is_worked_on(course, moment, window, scope)):
            continue
        seen[window.surface] = seen.get(window.surface, 0) + 1
        number = seen[window.surface]
        key = f"{Anchor.WIN}:{window.surface}:{course.treatment.pk}"
        as_of = AsOf(
            kind=Anchor.WIN,
            key=key if number == 1 else f"{key}/{number}",
            treatment_id=course.treatment.pk,
            event_id=int(window.opened_by.key.removeprefix("i-")),
        )
        for item in scope:
            is_own_face = item.face == face_of(window.surface)
            if item.asks(WINDOW) and (is_own_face or not item.is_plain):
                yield _Asked(
                    item=item,
                    surface=window.surface if is_own_face else f"{item.face}.1",
                    as_of=as_of,
                    due_on=_day(window.closes_at),
                )


def _is_short(moment: Moment, window: Window) -> bool:
    """A window with an end in sight; taking a lining off always opens one."""
    return (
        window.closes_at is not None
        or window.state is WindowState.CLOSED
        or moment.row(window.opened_by).act is SurfaceAct.UNLINE
    )


def _is_worked_on(
    course: Course, moment: Moment, window: Window, scope: tuple[ScopeItem, ...]
) -> bool:
    """Whether a later step of the treatment changes or hides what the window shows."""
    events = [course.event(step) for step in course.steps]
    running = [e for e in moment.events if is_running(e, moment.t)]
    keys = {event.key for event in running}
    ahead = look_ahead(moment, [*running, *(e for e in events if e.key not in keys)])
    opener = next(n for n, event in enumerate(events) if event.key == window.opened_by.key)
    own = [item for item in scope if item.face == face_of(window.surface)]
    return any(
        ahead.cell(event, window.surface, item.technique) in _GATED
        or ahead.last_look(event, window.surface, item.technique) is not None
        for event in events[opener + 1 :]
        for item in own
    )
