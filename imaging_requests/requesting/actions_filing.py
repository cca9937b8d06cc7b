"""Writes about people's wishes: filing a request, and letting it follow an entry."""

from __future__ import annotations

import uuid
from collections.abc import Sequence
from datetime import date, datetime

from django.db import transaction
from django.urls import reverse
from django.utils import timezone

from imaging_requests.collection.models import EntryObject
from imaging_requests.people import audit
from imaging_requests.people.actions import tell
from imaging_requests.people.errors import DomainError
from imaging_requests.people.models import Role, User
from imaging_requests.people.policies import demand
from imaging_requests.people.queries import holders
from imaging_requests.people.versions import lock_row, save_row
from imaging_requests.requesting import rules
from imaging_requests.requesting.known_facts import latest_facts
from imaging_requests.requesting.models import LineState, Purpose, Request, RequestLine
from imaging_requests.requesting.overlaps import Overlap, WishedView, find_overlaps
from imaging_requests.requesting.policies import ASK
from imaging_requests.requesting.words import numbers_of, view_words


def check_wishes(wishes: Sequence[WishedView], *, now: datetime) -> list[WishedView]:
    """Refuse what cannot be meant, and return each wish once with its rectangle checked."""
    facts = latest_facts({wish.object_id for wish in wishes}, now)
    numbers = numbers_of(wish.object_id for wish in wishes)
    checked: dict[object, WishedView] = {}
    for wish in wishes:
        rules.check_view(wish.technique, wish.face, wish.direction, number=numbers[wish.object_id])
        known = facts.get(wish.object_id)
        size = (known.width_mm, known.height_mm) if known is not None else (None, None)
        rules.check_detail(wish.detail_mm, wish.px_per_mm, face_mm=size)
        key = (wish.object_id, wish.technique, wish.face, wish.direction, wish.detail_mm)
        checked.setdefault(key, wish)
    return list(checked.values())


@transaction.atomic
def file_request(
    *,
    actor: User,
    purpose: str,
    why: str,
    wanted_by: date | None,
    lines: Sequence[WishedView],
    counts_for_catalogue: bool = False,
    use_rights: str = "",
    now: datetime | None = None,
) -> Request:
    """File a request. A wish that a true picture meets is answered at once, with no new work.

    Whoever needs a new picture all the same, or one that a rule takes out, says why in the wish.
    """
    demand(actor, ASK)
    now = now or timezone.now()
    rules.check_wish(lines=len(lines), why=why, wanted_by=wanted_by, today=timezone.localdate(now))
    wishes = check_wishes(lines, now=now)
    overlaps = find_overlaps(wishes)
    _refuse_not_applicable(wishes, overlaps)
    request = Request.objects.create(
        number=uuid.uuid4().hex[:20],
        requester=actor,
        purpose=Purpose(purpose),
        why=why.strip(),
        wanted_by=wanted_by,
        counts_for_catalogue=counts_for_catalogue,
        use_rights=use_rights.strip(),
        filed_at=now,
    )
    request.number = f"R-{request.pk:04}"
    request.save(update_fields=["number"])
    made = RequestLine.objects.bulk_create(
        _line(request, wish, overlap, now) for wish, overlap in zip(wishes, overlaps, strict=True)
    )
    audit.record(
        "requesting.request_filed",
        actor=actor,
        subject=request,
        after={
            "number": request.number,
            "lines": [str(line) for line in made],
            "answered_at_once": sum(line.state == LineState.FULFILLED for line in made),
        },
        reason=request.why,
        now=now,
    )
    if any(line.state == LineState.SUBMITTED for line in made):
        tell(
            holders(Role.LEAD),
            f"{actor} asks for {len(made)} picture{'' if len(made) == 1 else 's'} "
            f"({request.number}).",
            reverse("requesting:triage"),
            now=now,
        )
    return request


def _refuse_not_applicable(wishes: Sequence[WishedView], overlaps: Sequence[Overlap]) -> None:
    for wish, overlap in zip(wishes, overlaps, strict=True):
        rule = overlap.not_applicable
        if rule is not None and not wish.insists_because.strip():
            number = numbers_of([wish.object_id])[wish.object_id]
            raise DomainError(
                f"{view_words(wish.technique, wish.face, wish.direction)} of {number} does not "
                f"apply: {rule.reason}.",
                code="requesting.not_applicable",
                next_step="Leave it out, or say why it is wanted all the same.",
            )


def _line(request: Request, wish: WishedView, overlap: Overlap, now: datetime) -> RequestLine:
    line = RequestLine(
        request=request,
        object_id=wish.object_id,
        technique=wish.technique,
        face=wish.face,
        variant=wish.direction,
        detail_mm=None if wish.detail_mm is None else list(wish.detail_mm),
        px_per_mm=wish.px_per_mm,
        entry_id=wish.entry_id,
        insists_because=wish.insists_because.strip() if overlap.needs_insisting else "",
    )
    if overlap.is_here and not line.insists_because and overlap.standing is not None:
        line.state, line.fulfilled_at = LineState.FULFILLED, now
        met_on = overlap.standing.met_on
        line.reason = f"Here already, since {met_on:%-d %b %Y}." if met_on else "Here already."
    return line


@transaction.atomic
def follow_entry(
    *,
    actor: User,
    request_id: int,
    entry_id: int,
    read_version: int,
    now: datetime | None = None,
) -> Request:
    """Let the open lines of a request follow an entry's objects as they are today.

    Objects that have left lose their waiting lines; objects that have come get the same views.
    """
    demand(actor, ASK)
    now = now or timezone.now()
    request = lock_row(Request, request_id, read_version=read_version)
    lines = list(
        request.lines.filter(entry=entry_id, state=LineState.SUBMITTED).order_by("object", "pk")
    )
    present = set(
        EntryObject.objects.filter(entry=entry_id, removed_at=None).values_list(
            "object_id", flat=True
        )
    )
    known = {line.object_id for line in request.lines.filter(entry=entry_id)}
    pattern = {(line.technique, line.face, line.variant): line for line in lines}
    for line in lines:
        if line.object_id not in present:
            line.state, line.reason = LineState.WITHDRAWN, "The object has left the entry."
            save_row(line, fields=["state", "reason"])
    added = RequestLine.objects.bulk_create(
        RequestLine(
            request=request,
            object_id=object_id,
            entry_id=entry_id,
            technique=technique,
            face=face,
            variant=variant,
        )
        for object_id in sorted(present - known)
        for (technique, face, variant), line in pattern.items()
        if line.detail_mm is None
    )
    save_row(request, fields=[])
    audit.record(
        "requesting.entry_followed",
        actor=actor,
        subject=request,
        before={"objects": sorted(known)},
        after={"objects": sorted(present), "new_lines": len(added)},
        now=now,
    )
    return request
