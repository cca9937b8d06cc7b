"""What the actions of this room share: events, stale marks and whom to tell."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import datetime
from typing import Any

from django.urls import reverse

from imaging_requests.collection.models import ObjectNumber
from imaging_requests.collection.stale import mark_stale
from imaging_requests.deliverables.models import Deliverable
from imaging_requests.people import audit
from imaging_requests.people.actions import tell
from imaging_requests.people.models import User


def record(
    code: str,
    deliverable: Deliverable,
    *,
    actor: User | None,
    before: str,
    now: datetime,
    after: Mapping[str, Any] | None = None,
    reason: str = "",
) -> None:
    """Append the event of a change of state and mark the object stale."""
    audit.record(
        code,
        actor=actor,
        subject=deliverable,
        object_id=deliverable.object_id,
        before={"state": before},
        after={"state": deliverable.state, **(after or {})},
        reason=reason,
        valid_at=now,
        now=now,
    )
    mark_stale({deliverable.object_id}, code)


def spoken(deliverable: Deliverable) -> str:
    """Name a picture in a sentence: "UV of the front of AR 0070"."""
    number = ObjectNumber.objects.filter(
        object_id=deliverable.object_id, scheme="inventory", in_force_to=None
    ).first()
    return f"{deliverable} of {number.number if number is not None else deliverable.object}"


def requesters_of(deliverable: Deliverable) -> list[User]:
    """Return everybody whose live request asks for a view this picture was made for."""
    if deliverable.shot_line_id is None:
        return []
    return list(
        User.objects.filter(
            is_active=True,
            requests__lines__demands__until=None,
            requests__lines__demands__owed_view__shot_lines=deliverable.shot_line_id,
        ).distinct()
    )


def tell_about(
    deliverable: Deliverable,
    people: Iterable[User],
    text: str,
    *,
    actor: User | None,
    now: datetime,
    page: str = "deliverables:deliverable",
) -> None:
    """Leave a notice that leads to the picture; nobody is told what they did themselves."""
    others = [user for user in people if actor is None or user.pk != actor.pk]
    tell(others, text, reverse(page, args=[deliverable.pk]), now=now)
