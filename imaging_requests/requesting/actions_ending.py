"""Writes that end wishes: withdrawing and fulfilling."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from django.db import transaction
from django.urls import reverse
from django.utils import timezone

from imaging_requests.collection.stale import mark_stale
from imaging_requests.people.actions import tell
from imaging_requests.people.models import Role, User
from imaging_requests.people.policies import demand
from imaging_requests.people.queries import holders
from imaging_requests.people.versions import save_row
from imaging_requests.requesting import outlook, rules
from imaging_requests.requesting.actions_triage import lock_line
from imaging_requests.requesting.models import Demand, LineState, OwedView, RequestLine
from imaging_requests.requesting.news import record_line, tell_requesters
from imaging_requests.requesting.policies import WITHDRAW
from imaging_requests.requesting.rules import LineStep
from imaging_requests.requesting.words import inside_words, numbers_of

WISH_WITHDRAWN = "The last wish for it was withdrawn."


@dataclass(frozen=True, kw_only=True)
class Withdrawal:
    """What a withdrawal left behind: how many shots stay for others, and what ended."""

    sentence: str
    stayed: int
    total: int
    ended_views: tuple[int, ...]


@transaction.atomic
def withdraw_line(
    *, actor: User, line_id: int, read_version: int, now: datetime | None = None
) -> Withdrawal:
    """Take one wish back."""
    return withdraw_lines(actor=actor, read_versions={line_id: read_version}, now=now)


@transaction.atomic
def withdraw_lines(
    *, actor: User, read_versions: Mapping[int, int], now: datetime | None = None
) -> Withdrawal:
    """Take wishes back: only their own demand ends; what others ask for stays owed."""
    now = now or timezone.now()
    stayed, ended, objects = 0, [], set()
    for line_id in sorted(read_versions):
        line = lock_line(line_id, read_versions[line_id])
        demand(actor, WITHDRAW, line)
        before = LineState(line.state)
        line.state = rules.next_state(line.state, LineStep.WITHDRAW)
        save_row(line, fields=["state"])
        for view in _release(line, now):
            objects.add(line.object_id)
            if view.ended_at is None:
                stayed += 1
            else:
                ended.append(view)
        record_line("requesting.line_withdrawn", actor, line, now, before=before)
    planned = _planned_words(ended)
    if planned:
        tell(
            holders(Role.LEAD),
            f"{actor} withdrew the last wish for {', '.join(planned)}. "
            "Its session asks whether to drop or keep the line.",
            reverse("campaigns:campaigns"),
            now=now,
        )
    mark_stale(objects, "request withdrawn")
    total = stayed + len(ended)
    return Withdrawal(
        sentence=rules.stay_sentence(stayed=stayed, total=total),
        stayed=stayed,
        total=total,
        ended_views=tuple(view.pk for view in ended),
    )


def _release(line: RequestLine, now: datetime) -> list[OwedView]:
    """End the line's demands, and the views that nobody else asks for."""
    views = []
    for own in line.demands.filter(until=None).select_related("owed_view"):
        own.until = now
        own.save(update_fields=["until"])
        view = own.owed_view
        if not view.demands.filter(until=None).exists():
            view.ended_at, view.end_reason = now, WISH_WITHDRAWN
            view.save(update_fields=["ended_at", "end_reason"])
        views.append(view)
    return views


def _planned_words(views: Sequence[OwedView]) -> list[str]:
    plans = outlook.plans_of([view.pk for view in views])
    numbers = numbers_of(view.object_id for view in views)
    return [
        f"{inside_words(view)} of {numbers[view.object_id]} ({plans[view.pk].session})"
        for view in views
        if view.pk in plans and plans[view.pk].session
    ]


@transaction.atomic
def fulfil_lines(owed_view_ids: Iterable[int], now: datetime) -> list[RequestLine]:
    """Mark agreed lines as fulfilled whose views are all among those that are met now."""
    met = set(owed_view_ids)
    demands: dict[int, set[int]] = defaultdict(set)
    live = Demand.objects.filter(
        source=Demand.Source.REQUEST,
        until=None,
        request_line__state=LineState.AGREED,
        request_line__demands__owed_view__in=met,
    ).values_list("request_line_id", "owed_view_id")
    for line_id, view_id in live:
        if line_id is not None:
            demands[line_id].add(view_id)
    ready = [line_id for line_id, views in demands.items() if views <= met]
    lines = list(
        RequestLine.objects.select_for_update(of=("self",))
        .filter(pk__in=ready, state=LineState.AGREED)
        .select_related("request__requester", "object")
        .order_by("pk")
    )
    for line in lines:
        line.state = rules.next_state(line.state, LineStep.FULFIL)
        line.fulfilled_at = now
        save_row(line, fields=["state", "fulfilled_at"])
        record_line("requesting.line_fulfilled", None, line, now, before=LineState.AGREED)
    tell_requesters(lines, "here", None, now)
    return lines
