"""Whether a view that a gate asks for is met: accepted, or given up by those who may.

A picture meets it that is accepted and speaks for the state asked for. Else it must be waived: by
the lead, and a last look by a conservator and the lead together. Two more rulings are not enough
for a last look, since one person can make them:

* *not applicable* meets a view that can be made again; a last look still needs its picture or the
  two signatures;
* *replaced* is met by what stands in its place, if that is met as of the state asked for. In the
  place of a last look only a view of the same whole surface and the same column of the table
  counts, and only with a picture as dense and as complete as the one that was asked for.

What such a ruling covers is looked at all the same: an accepted picture of the view itself opens
the gate, and so does a waiver with the signatures that it needs.

>>> from datetime import UTC, datetime
>>> signed = Waiver(key="w", recorded_at=datetime(2026, 4, 1, tzinfo=UTC), view="v",
...                 granted_at=datetime(2026, 4, 1, tzinfo=UTC), lead="Signe")
>>> is_signed_by_two(signed), is_signed_by_two(replace(signed, conservator="Runa"))
(False, True)
"""

from __future__ import annotations

from dataclasses import replace

from .facts import OwedView, Waiver
from .gate_needs import ScopeLine
from .moment import Moment
from .status import ViewStatus, has_lapsed, judge
from .terms import Anchor, AnchorKind, Status, face_of
from .triggers import TriggerTable
from .words import DIRECTION_WORDS

_MADE = frozenset((Status.ACCEPTED, Status.FILED))
_RULED_OUT = frozenset((Status.NOT_APPLICABLE, Status.REPLACED))


def is_signed_by_two(waiver: Waiver) -> bool:
    """Whether a conservator and the lead, two different people, have both signed."""
    return bool(waiver.conservator and waiver.lead and waiver.conservator != waiver.lead)


def is_given_up(moment: Moment, status: ViewStatus, *, is_last_look: bool) -> bool:
    """Whether a waiver in force lets the view go, with the signatures that it needs."""
    return any(
        is_signed_by_two(waiver) or not is_last_look
        for waiver in moment.waivers.get(status.view.key, ())
        if not has_lapsed(moment, status.view, waiver)
    )


def is_met(moment: Moment, table: TriggerTable, status: ViewStatus, *, is_last_look: bool) -> bool:
    """Whether nothing is missing of a view, as of the anchor that its status is told for."""
    if status.status in _MADE or is_given_up(moment, status, is_last_look=is_last_look):
        return True
    if status.status not in _RULED_OUT:
        return False
    if status.status is Status.NOT_APPLICABLE and not is_last_look:
        return True
    if status.status is Status.REPLACED:
        other = in_its_place(moment, status)
        if other is not None and is_last_look:
            same = shows_the_same(table, status, other)
            other = judge(moment, _as_strict(other.view, status.view)) if same else None
        if other is not None and is_met(moment, table, other, is_last_look=is_last_look):
            return True
    bare = replace(status.view, key="", replaced_by=None, replaced_at=None)
    return judge(moment, bare).status in _MADE


def owed_for(moment: Moment, line: ScopeLine, anchor: Anchor) -> OwedView:
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


def in_its_place(moment: Moment, status: ViewStatus) -> ViewStatus | None:
    """The view at the end of a chain of replacements, judged as of the anchor of the first.

    ``None``: the chain runs in a circle, or ends in a view that nobody owes any more.
    """
    owed = {view.key: view for view in moment.views}
    seen, found = {status.view.key}, status
    while found.status is Status.REPLACED:
        following = owed.get(found.view.replaced_by or "")
        if following is None or following.key in seen:
            return None
        seen.add(following.key)
        found = judge(moment, replace(following, anchor=status.view.anchor))
    return found


def shows_the_same(table: TriggerTable, status: ViewStatus, other: ViewStatus) -> bool:
    """Whether a view shows the whole surface of another in a technique of its column.

    A detail shows the whole of nothing but itself.
    """
    one, two = status.view, other.view
    face = face_of(one.surface)
    is_whole = two.variant == one.variant or two.variant in ("", *DIRECTION_WORDS)
    columns = {table.column(view.technique, face, mirrored=False) for view in (one, two)}
    return is_whole and one.surface == two.surface and len(columns) == 1


def _as_strict(view: OwedView, asked: OwedView) -> OwedView:
    """The view with the stricter of its own demands on a picture and those of another."""
    return replace(
        view,
        px_per_mm=max(view.px_per_mm, asked.px_per_mm),
        tolerance=min(view.tolerance, asked.tolerance),
        min_coverage=max(view.min_coverage, asked.min_coverage),
    )
