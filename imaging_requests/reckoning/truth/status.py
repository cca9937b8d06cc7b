"""The status of an owed view: fifteen words, tried in a fixed order, the first match wins.

1 replaced · 2 not applicable · 3 waived · 4 filed · 5 accepted · 6 lost · 7 undecided ·
8 to review, sent back or captured · 9 recalled · 10 planned · 11 blocked · 12 out of date ·
13 open.

A picture *qualifies* when it is accepted and not recalled, complete, of the same surface,
technique and variant, dense and covering enough, and carries to the anchor. A view with a
preferred state (:mod:`.preferring`) is owed as it is now, and a picture that carries to either
state qualifies; a new one can be made as long as one of the present state can.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime
from enum import StrEnum

from ..records import record
from .carry import Carried
from .facts import Event, OwedView, Picture, Waiver
from .moment import Moment
from .preferring import Better, Reached, better_of, newest, preferred_of
from .scanning import Scan, either, scan_pictures, why_of
from .stateline import Point, in_plan
from .surfaces import Life, acts_on
from .terms import AnchorKind, Effect, Status, Verdict, Why, face_of
from .triggers import SurfaceAct

DECIDED = "decided"


class ReasonCode(StrEnum):
    """Why a view has its status; each code has one sentence in :mod:`.sentences`."""

    REPLACED = "replaced"
    NOT_APPLICABLE = "not_applicable"
    WAIVED = "waived"
    FILED = "filed"
    ACCEPTED = "accepted"
    COPIES_MISSING = "copies_missing"
    SURFACE_GONE = "surface_gone"
    SURFACE_CLOSED = "surface_closed"
    CHANGED_FOR_GOOD = "changed_for_good"
    TREATMENT_BEGUN = "treatment_begun"
    CASE_OPEN = "case_open"
    TO_REVIEW = "to_review"
    SENT_BACK = "sent_back"
    CAPTURED = "captured"
    RECALLED = "recalled"
    PLANNED = "planned"
    FILES_AWAITED = "files_awaited"
    OBJECT_AWAY = "object_away"
    SURFACE_HIDDEN = "surface_hidden"
    SURFACE_TO_COME = "surface_to_come"
    CHANGED = "changed"
    STATE_TO_COME = "state_to_come"
    SPEC_RAISED = "spec_raised"
    NEVER_MADE = "never_made"


@record
@dataclass(frozen=True, slots=True)
class Reason:
    """Code and data: events that caused it, the picture it is about, an instant, a word.

    ``word`` is a waiver's or a rule's text, a session's key, a kind of absence, or
    :data:`DECIDED` when a conservator's decision, not a rule, put a picture out of date.
    ``files`` are those that a line which was shot still owes; ``other`` is the view that stands in
    the place of one that was replaced, if anybody still owes it.
    """

    code: ReasonCode
    events: tuple[Event, ...] = ()
    picture: Picture | None = None
    until: datetime | None = None
    word: str = ""
    files: int = 0
    other: OwedView | None = None


@record
@dataclass(frozen=True, slots=True)
class ViewStatus:
    """One view with its status. ``why`` is ``None`` once nothing is owed any more.

    ``better`` says how its preferred state stands, if everybody who asks for it prefers one.
    """

    view: OwedView
    status: Status
    reason: Reason
    why: Why | None = None
    better: Better | None = None

    @property
    def is_resolved(self) -> bool:
        """Whether nothing needs to be made: filed, waived, not applicable or replaced."""
        return self.status in _RESOLVED


_RESOLVED = frozenset((Status.FILED, Status.WAIVED, Status.NOT_APPLICABLE, Status.REPLACED))


def statuses(moment: Moment) -> tuple[ViewStatus, ...]:
    """The status of every owed view in force, in the order of the case's views."""
    return moment.keep("statuses", _judge_all)


def _judge_all(moment: Moment) -> tuple[ViewStatus, ...]:
    return tuple(judge(moment, view) for view in moment.views)


def judge(moment: Moment, view: OwedView) -> ViewStatus:
    """The status of one view, in force or hypothetical, at this moment."""
    decided = _by_decision(moment, view)
    if decided is not None:
        return decided
    point = moment.point(view.anchor)
    scan = scan_pictures(moment, view, point)
    if preferred_of(moment, view):
        return _with_preference(moment, view, point, scan)
    return _by_pictures(moment, view, point, scan)


def _with_preference(moment: Moment, view: OwedView, point: Point, scan: Scan) -> ViewStatus:
    """A picture of the preferred state meets the view, and one of the present state does too."""
    found = newest(moment, view)
    if found is None:
        status = _by_pictures(moment, view, point, scan)
        return replace(status, better=better_of(moment, view))
    cleaned, at = found
    preferred = scan_pictures(moment, view, at)
    status = _by_pictures(moment, view, point, either(preferred, scan))
    asked = replace(view, key="", anchor=cleaned.anchor)
    of_it = _by_pictures(moment, asked, at, preferred)
    made_then = scan_pictures(moment, view, at, made_later=False)
    shot = _by_pictures(moment, asked, at, made_then)
    return replace(status, better=better_of(moment, view, Reached(status, of_it, shot)))


def _by_pictures(moment: Moment, view: OwedView, point: Point, scan: Scan) -> ViewStatus:
    """Rules 4 to 13: what the pictures say that there are, and what can still be made."""
    if scan.filed is not None:
        return ViewStatus(view, Status.FILED, Reason(ReasonCode.FILED, picture=scan.filed.picture))
    if scan.accepted is not None:
        lacks_copies = scan.accepted.was_filed
        code = ReasonCode.COPIES_MISSING if lacks_copies else ReasonCode.ACCEPTED
        reason = Reason(code, picture=scan.accepted.picture)
        return ViewStatus(view, Status.ACCEPTED, reason)
    lost = _lost(moment, view, point, scan)
    if lost is not None:
        return ViewStatus(view, Status.LOST, lost, why_of(scan))
    if scan.undecided is not None:
        standing, carried = scan.undecided
        reason = Reason(ReasonCode.CASE_OPEN, carried.events, standing.picture)
        return ViewStatus(view, Status.UNDECIDED, reason, Why.UNDECIDED)
    return _in_hand(view, scan) or _to_make(moment, view, point, scan)


def _by_decision(moment: Moment, view: OwedView) -> ViewStatus | None:
    """Rules 1 to 3: what a rule or a person decided, whatever pictures there are."""
    if view.replaced_by is not None and (view.replaced_at is None or view.replaced_at <= moment.t):
        other = next((each for each in moment.views if each.key == view.replaced_by), None)
        reason = Reason(ReasonCode.REPLACED, until=view.replaced_at, other=other)
        return ViewStatus(view, Status.REPLACED, reason)
    rule = moment.not_applicable.get(view.key)
    if rule is not None:
        reason = Reason(ReasonCode.NOT_APPLICABLE, until=rule.ends_at, word=rule.reason)
        return ViewStatus(view, Status.NOT_APPLICABLE, reason)
    for waiver in moment.waivers.get(view.key, ()):
        if not has_lapsed(moment, view, waiver):
            reason = Reason(ReasonCode.WAIVED, until=waiver.lapses_at, word=waiver.text)
            return ViewStatus(view, Status.WAIVED, reason)
    return None


def has_lapsed(moment: Moment, view: OwedView, waiver: Waiver) -> bool:
    """Whether an event with effect O on the view has ended the waiver since it was granted.

    Only events up to the anchor's state count: a waiver of a view "before treatment" outlives
    that treatment, and one of a view during or after a treatment outlives its own steps.
    """
    anchor = view.anchor
    own = anchor.treatment if anchor.kind in (AnchorKind.DT, AnchorKind.AT) else None
    for event in moment.line.openers[: moment.point(anchor).last]:
        assert event.ended_at is not None
        if (
            event.ended_at > waiver.granted_at
            and (own is None or event.treatment != own)
            and moment.effect(event, view.surface, view.technique) is Effect.OUT
        ):
            return True
    return False


def _lost(moment: Moment, view: OwedView, point: Point, scan: Scan) -> Reason | None:
    """Rule 6: the anchor is past, and no picture, made or still to make, can ever meet it."""
    if scan.undecided is not None or scan.pending or not point.reached:
        return None
    life = moment.life(view.surface)
    gone = life is not None and life.gone is not None
    if not (point.past or gone or point.closed_at is not None):
        return None
    if life is not None and life.gone is not None:
        return Reason(
            ReasonCode.SURFACE_GONE, tuple(moment.line.openers[life.gone - 1 : life.gone])
        )
    if life is not None and life.is_closed:
        return Reason(ReasonCode.SURFACE_CLOSED, _closing(moment, life))
    spoilt = tuple(
        event
        for event in moment.line.openers[point.last :]
        if moment.effect(event, view.surface, view.technique) is Effect.OUT
    )
    if spoilt:
        return Reason(ReasonCode.CHANGED_FOR_GOOD, spoilt)
    if point.closed_at is not None:
        return Reason(ReasonCode.TREATMENT_BEGUN, until=point.closed_at)
    return None


def _closing(moment: Moment, life: Life) -> tuple[Event, ...]:
    start = life.buried[-1][0]
    return tuple(moment.line.openers[start - 1 : start]) if start > 0 else ()


def _in_hand(view: OwedView, scan: Scan) -> ViewStatus | None:
    """Rules 8 and 9: the newest picture that could meet the view is under way or withdrawn."""
    standing = scan.candidate
    if standing is None or standing.verdict is Verdict.ACCEPTED:
        return None
    if standing.verdict is Verdict.RECALLED:
        status, code = Status.RECALLED, ReasonCode.RECALLED
    elif standing.verdict is Verdict.SENT_BACK:
        status, code = Status.SENT_BACK, ReasonCode.SENT_BACK
    elif standing.is_handed_in:
        status, code = Status.TO_REVIEW, ReasonCode.TO_REVIEW
    else:
        status, code = Status.CAPTURED, ReasonCode.CAPTURED
    return ViewStatus(view, status, Reason(code, picture=standing.picture), why_of(scan))


def _to_make(moment: Moment, view: OwedView, point: Point, scan: Scan) -> ViewStatus:
    """Rules 10 to 13: nothing is in hand; a picture has to be made."""
    why = why_of(scan)
    shot = moment.planned.get(view.key)
    if shot is not None and shot.shot_at is not None and shot.shot_at <= moment.t:
        reason = Reason(
            ReasonCode.FILES_AWAITED,
            until=shot.shot_at,
            word=shot.session,
            files=shot.files_awaited,
        )
        return ViewStatus(view, Status.PLANNED, reason, why)
    if shot is not None:
        reason = Reason(ReasonCode.PLANNED, until=shot.session_starts_at, word=shot.session)
        return ViewStatus(view, Status.PLANNED, reason, why)
    blocked = _blocked(moment, view)
    if blocked is not None:
        return ViewStatus(view, Status.BLOCKED, blocked, why)
    if scan.out is not None:
        standing, carried = scan.out
        word = "" if _is_by_rule(moment, view, carried) else DECIDED
        reason = Reason(ReasonCode.CHANGED, carried.events, standing.picture, word=word)
        return ViewStatus(view, Status.OUT_OF_DATE, reason, why)
    if not point.reached:
        reason = Reason(ReasonCode.STATE_TO_COME, until=_due(moment, view))
    elif scan.too_coarse is not None:
        reason = Reason(ReasonCode.SPEC_RAISED, picture=scan.too_coarse.picture)
    else:
        reason = Reason(ReasonCode.NEVER_MADE)
    return ViewStatus(view, Status.OPEN, reason, why)


def _is_by_rule(moment: Moment, view: OwedView, carried: Carried) -> bool:
    return any(
        moment.effect(event, view.surface, view.technique) is Effect.OUT for event in carried.events
    )


def _due(moment: Moment, view: OwedView) -> datetime | None:
    """When the anchor's state is planned to begin, if a plan says so."""
    anchor = view.anchor
    if anchor.kind is AnchorKind.FIX:
        return anchor.instant
    ends = [
        event.planned_end_at or event.planned_start_at
        for event in moment.events
        if (event.key == anchor.window if anchor.window else event.treatment == anchor.treatment)
        and (anchor.step is None or event.step == anchor.step)
        and (anchor.phase is None or event.phase == anchor.phase)
        and (event.ended_at is None or event.ended_at > moment.t)
        and in_plan(event, moment.t)
    ]
    dated = [end for end in ends if end is not None]
    return max(dated) if dated and len(dated) == len(ends) else None


def _blocked(moment: Moment, view: OwedView) -> Reason | None:
    """Rule 11: the object is away, or the surface (or the window's surface) cannot be seen."""
    away = [
        absence
        for absence in moment.unavailable
        if absence.surface is None or absence.surface == view.surface
    ]
    if away:
        ends = [absence.ends_at for absence in away]
        known_ends = [end for end in ends if end is not None]
        until = max(known_ends) if len(known_ends) == len(ends) else None
        return Reason(ReasonCode.OBJECT_AWAY, until=until, word=away[0].kind)
    codes = [view.surface]
    if view.anchor.kind is AnchorKind.WIN and view.anchor.surface is not None:
        codes.append(view.anchor.surface)
    for code in codes:
        life = moment.life(code)
        if life is None:
            return Reason(ReasonCode.SURFACE_TO_COME, until=exposure(moment, code), word=code)
        if not life.is_visible:
            events = tuple(
                event
                for event in moment.line.openers
                if life.visible and event.key == life.visible[-1].closed_by
            )
            return Reason(
                ReasonCode.SURFACE_HIDDEN, events, until=exposure(moment, code), word=code
            )
    return None


def exposure(moment: Moment, surface: str) -> datetime | None:
    """When a planned step is to bare (or make) a hidden surface; ``None``: nothing is planned."""
    face = face_of(surface)
    found = []
    for event in moment.events:
        row = moment.row(event)
        if row.act is None or event.key in moment.index:
            continue
        if acts_on(event, row, two_sided=moment.two_sided) != face:
            continue
        bares = row.act in (SurfaceAct.UNCOVER, SurfaceAct.UNLINE) or (
            row.act is SurfaceAct.BOARD and event.puts_on is False
        )
        when = event.planned_end_at or event.planned_start_at
        dropped = event.dropped_at is not None and event.dropped_at <= moment.t
        if (bares or event.opens_surface == surface) and when is not None and not dropped:
            found.append(when)
    return min(found, default=None)
