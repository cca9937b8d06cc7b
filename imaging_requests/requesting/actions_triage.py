"""Writes of the lead about people's wishes: agreeing and declining."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, datetime

from django.db import transaction
from django.utils import timezone

from imaging_requests.collection.models import CollectionObject, EntryObject
from imaging_requests.collection.stale import mark_stale
from imaging_requests.people.errors import DomainError
from imaging_requests.people.models import User
from imaging_requests.people.policies import demand
from imaging_requests.people.versions import lock_row, save_row
from imaging_requests.requesting import rules
from imaging_requests.requesting.duties import AsOf, direction_of
from imaging_requests.requesting.material import gather_material
from imaging_requests.requesting.models import Anchor, Demand, LineState, OwedView, RequestLine
from imaging_requests.requesting.news import record_line, tell_requesters
from imaging_requests.requesting.overlaps import same_region
from imaging_requests.requesting.policies import TRIAGE
from imaging_requests.requesting.rules import LineStep
from imaging_requests.requesting.words import numbers_of


def lock_line(line_id: int, read_version: int) -> RequestLine:
    """Lock the object first and the line then, in the order in which everything else locks."""
    object_id = RequestLine.objects.values_list("object_id", flat=True).get(pk=line_id)
    CollectionObject.objects.select_for_update().get(pk=object_id)
    return lock_row(RequestLine, line_id, read_version=read_version)


@transaction.atomic
def agree_line(
    *,
    actor: User,
    line_id: int,
    read_version: int,
    promised_on: date | None = None,
    now: datetime | None = None,
) -> RequestLine:
    """Agree to a wish: its view is owed from now on, together with whoever asks for it already."""
    return agree_lines(
        actor=actor, read_versions={line_id: read_version}, promised_on=promised_on, now=now
    )[0]


@transaction.atomic
def agree_lines(
    *,
    actor: User,
    read_versions: Mapping[int, int],
    promised_on: date | None = None,
    now: datetime | None = None,
) -> list[RequestLine]:
    """Agree to several lines at once, all or none."""
    demand(actor, TRIAGE)
    now = now or timezone.now()
    if promised_on is not None and promised_on < timezone.localdate(now):
        raise DomainError(
            f"{promised_on:%-d %b %Y} has passed, so it cannot be promised.",
            code="requesting.past_promise",
            next_step="Promise a day to come, or none.",
        )
    agreed = []
    for line_id in sorted(read_versions):
        line = lock_line(line_id, read_versions[line_id])
        line.state = rules.next_state(line.state, LineStep.AGREE)
        _refuse_left_entry(line)
        line.decided_by, line.decided_at, line.promised_on = actor, now, promised_on
        save_row(line, fields=["state", "decided_by", "decided_at", "promised_on"])
        view = _view_for(line, now)
        Demand.objects.create(
            owed_view=view, source=Demand.Source.REQUEST, request_line=line, since=now
        )
        record_line("requesting.line_agreed", actor, line, now, before=LineState.SUBMITTED)
        agreed.append(line)
    mark_stale({line.object_id for line in agreed}, "request agreed")
    tell_requesters(agreed, "agreed", actor, now)
    return agreed


def _refuse_left_entry(line: RequestLine) -> None:
    """A wish for an entry follows the entry's objects; the lead sees the difference first."""
    if line.entry is None:
        return
    if not EntryObject.objects.filter(
        entry=line.entry, object=line.object_id, removed_at=None
    ).exists():
        raise DomainError(
            f"{numbers_of([line.object_id])[line.object_id]} has left entry {line.entry.number} "
            "since the request was filed.",
            code="requesting.entry_changed",
            next_step="Take over the entry's objects of today on the request's page first.",
        )


def _view_for(line: RequestLine, now: datetime) -> OwedView:
    """The duty in force that serves the line, or a new one; the object is locked."""
    views = list(
        OwedView.objects.filter(
            object=line.object_id,
            technique=line.technique,
            face=line.face,
            anchor=Anchor.CUR,
            ended_at=None,
        ).order_by("pk")
    )
    direction = direction_of(line.technique, line.variant)
    for view in views:
        if (
            direction_of(view.technique, view.variant) == direction
            and same_region(view.detail_mm, line.detail_mm)
            and view.px_per_mm >= (line.px_per_mm or 0)
        ):
            return view
    return _new_view(line, now)


def _new_view(line: RequestLine, now: datetime) -> OwedView:
    material = gather_material([line.object_id], now).get(line.object_id)
    if material is None:
        raise DomainError(
            "No studio settings have been published yet, so nothing can be worked out from them.",
            code="requesting.no_settings",
            next_step="Ask the imaging lead to publish them first.",
        )
    variant, detail = line.variant, None
    if line.detail_mm is not None:
        variant = _next_detail(line)
        detail = {
            "name": variant,
            "region_mm": line.detail_mm,
            "px_per_mm": line.px_per_mm,
        }
    making = material.known.making_for(line.technique, line.face, variant, detail)
    as_of = AsOf()
    return OwedView.objects.create(
        object_id=line.object_id,
        face=line.face,
        surface=material.known.surface(line.face),
        technique=line.technique,
        variant=variant,
        anchor=as_of.kind,
        anchor_key=as_of.key,
        detail_mm=line.detail_mm,
        px_per_mm=making.px_per_mm,
        tolerance_percent=making.tolerance_percent,
        min_coverage_percent=making.min_coverage_percent,
        spec=making.spec,
        created_at=now,
    )


def _next_detail(line: RequestLine) -> str:
    """The next free name of a detail of this object: "detail 3", or "L detail 3"."""
    known = (
        OwedView.objects.filter(object=line.object_id, detail_mm__isnull=False)
        .values_list("variant", flat=True)
        .distinct()
    )
    numbers = [int(name.rsplit(" ", 1)[-1]) for name in known]
    return f"{line.variant} detail {max(numbers, default=0) + 1}".strip()


@transaction.atomic
def decline_line(
    *, actor: User, line_id: int, read_version: int, reason: str, now: datetime | None = None
) -> RequestLine:
    """Decline a wish and say why."""
    return decline_lines(
        actor=actor, read_versions={line_id: read_version}, reason=reason, now=now
    )[0]


@transaction.atomic
def decline_lines(
    *,
    actor: User,
    read_versions: Mapping[int, int],
    reason: str,
    now: datetime | None = None,
) -> list[RequestLine]:
    """Decline several lines at once for one reason, all or none."""
    demand(actor, TRIAGE)
    now = now or timezone.now()
    if not reason.strip():
        raise DomainError(
            "The requester needs to know why it is declined.",
            code="requesting.decline_reason",
            next_step="Write one sentence.",
        )
    declined = []
    for line_id in sorted(read_versions):
        line = lock_line(line_id, read_versions[line_id])
        line.state = rules.next_state(line.state, LineStep.DECLINE)
        line.decided_by, line.decided_at, line.reason = actor, now, reason.strip()
        save_row(line, fields=["state", "decided_by", "decided_at", "reason"])
        record_line("requesting.line_declined", actor, line, now, before=LineState.SUBMITTED)
        declined.append(line)
    tell_requesters(declined, "declined", actor, now)
    return declined
