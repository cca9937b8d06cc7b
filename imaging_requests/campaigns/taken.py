"""Views that somebody has taken for a session since a list of them was read."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass

from django.urls import reverse

from imaging_requests.campaigns.awaited import holding
from imaging_requests.campaigns.models import Session, ShotLine, ShotLineState
from imaging_requests.campaigns.words import day_words, local, session_words
from imaging_requests.people.models import AuditEvent
from imaging_requests.requesting import outlook
from imaging_requests.requesting.models import OwedView
from imaging_requests.requesting.words import Numbers, numbers_of, words_of


@dataclass(frozen=True, kw_only=True)
class Taken:
    """One view that is not on offer any more, why, and where it is now."""

    text: str
    href: str
    label: str


def taken_views(view_ids: Collection[int], session: Session) -> list[Taken]:
    """What became of views that a list offered and that cannot be ticked any more.

    The number of queries does not depend on how many views they are.
    """
    views = list(OwedView.objects.filter(pk__in=view_ids).order_by("pk"))
    if not views:
        return []
    ids = [view.pk for view in views]
    links = ShotLine.owed_views.through._default_manager.filter(
        owedview_id__in=ids, shotline__in=holding()
    ).values_list("owedview_id", "shotline_id")
    lines_by_view = dict(links)
    lines = (
        ShotLine.objects.filter(pk__in=lines_by_view.values())
        .select_related("session__station")
        .in_bulk()
    )
    acts = _acts({line.session_id for line in lines.values()})
    standings, numbers = outlook.standing_of(ids), numbers_of(view.object_id for view in views)
    found = []
    for view in views:
        line = lines.get(lines_by_view.get(view.pk, 0))
        if line is None:
            standing = standings.get(view.pk)
            found.append(_gone(view, standing.status if standing else "", numbers))
        else:
            found.append(_held(view, line, acts.get(line.session_id, ()), session, numbers))
    return found


def _acts(session_ids: Collection[int]) -> dict[int, list[AuditEvent]]:
    """The acts that put views into sessions, the oldest first."""
    events = AuditEvent.objects.filter(
        subject_type=Session._meta.label_lower,
        subject_id__in=[str(pk) for pk in session_ids],
        code__in=("campaigns.session_planned", "campaigns.views_added"),
    ).select_related("actor")
    found: dict[int, list[AuditEvent]] = {}
    for event in events.order_by("pk"):
        found.setdefault(int(event.subject_id), []).append(event)
    return found


def _held(
    view: OwedView, line: ShotLine, acts: Sequence[AuditEvent], session: Session, numbers: Numbers
) -> Taken:
    """Who put the view where and when: the newest act that names it, else the line's first."""
    named = [act for act in acts if view.pk in act.after.get("views", ())][-1:]
    act = next(iter(named or [act for act in acts if line.pk in act.after.get("lines", ())]), None)
    by = ""
    if act is not None and act.actor is not None:
        at = local(act.recorded_at)
        by = f": {act.actor} put it there on {day_words(at.date())} at {at:%H:%M}"
    where = (
        "this session" if line.session_id == session.pk else f"the {session_words(line.session)}"
    )
    shot = " and was shot there; its files are awaited" if line.state == ShotLineState.DONE else ""
    return Taken(
        text=f"{words_of(view)} of {numbers[view.object_id]} is in {where} now{shot}{by}.",
        href=reverse("campaigns:session", args=[line.session_id]),
        label="Open that session" if line.session_id != session.pk else "Open this session",
    )


def _gone(view: OwedView, status: str, numbers: Numbers) -> Taken:
    """A view in no session that cannot be shot now all the same."""
    why = f"Nobody asks for it any more: {view.end_reason}" if view.ended_at is not None else ""
    if not why and status:
        why = f"It is {status.replace('_', ' ')} now."
    return Taken(
        text=f"{words_of(view)} of {numbers[view.object_id]} is not to be shot. {why}".strip(),
        href=reverse("progress:object", args=[view.object_id]),
        label="Open its object",
    )
