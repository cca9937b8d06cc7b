"""Tell the room of requests what sessions hold for owed views, and what was captured."""

from __future__ import annotations

from collections.abc import Collection, Mapping

from django.urls import reverse

from imaging_requests.campaigns.models import SessionState, ShotLine, ShotLineState
from imaging_requests.campaigns.words import session_words
from imaging_requests.requesting.outlook import Plan

#: Sessions that still can meet a view; a draft promises nothing.
PROMISING = frozenset((SessionState.CONFIRMED, SessionState.RUNNING))


def plans_of(view_ids: Collection[int]) -> Mapping[int, Plan]:
    """The first open session of each view and whether it was captured: two queries."""
    through = ShotLine.owed_views.through
    links = list(
        through._default_manager.filter(owedview_id__in=view_ids).values_list(
            "owedview_id", "shotline_id"
        )
    )
    lines = ShotLine.objects.select_related("session__station").in_bulk(
        {line_id for _, line_id in links}
    )
    captured: set[int] = set()
    planned: dict[int, ShotLine] = {}
    for view_id, line_id in links:
        line = lines[line_id]
        if line.state == ShotLineState.DONE:
            captured.add(view_id)
        elif line.state == ShotLineState.PLANNED and line.session.state in PROMISING:
            known = planned.get(view_id)
            if known is None or line.session.starts_at < known.session.starts_at:
                planned[view_id] = line
    return {
        view_id: Plan(
            session=session_words(planned[view_id].session) if view_id in planned else "",
            planned_on=planned[view_id].session.starts_at.date() if view_id in planned else None,
            href=reverse("campaigns:session", args=[planned[view_id].session_id])
            if view_id in planned
            else "",
            is_captured=view_id in captured,
        )
        for view_id in captured | planned.keys()
    }
