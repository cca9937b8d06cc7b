"""Write the audit trail: append-only, hash-chained, one order for all events."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator, Mapping
from datetime import datetime
from typing import Any

from django.core.serializers.json import DjangoJSONEncoder
from django.db import models, transaction
from django.utils import timezone

from imaging_requests.people.models import AuditEvent, AuditHead, User

START = "0" * 64


def _digest(previous: str, fields: Mapping[str, Any]) -> str:
    body = json.dumps(fields, sort_keys=True, separators=(",", ":"), cls=DjangoJSONEncoder)
    return hashlib.sha256(f"{previous}\n{body}".encode()).hexdigest()


def _fields(event: AuditEvent) -> dict[str, Any]:
    return {
        "code": event.code,
        "actor": event.actor_id,
        "recorded_at": event.recorded_at.astimezone(timezone.get_default_timezone()).isoformat(),
        "valid_at": event.valid_at.astimezone(timezone.get_default_timezone()).isoformat(),
        "subject": [event.subject_type, event.subject_id],
        "object": event.object_id,
        "before": event.before,
        "after": event.after,
        "reason": event.reason,
    }


def record(
    code: str,
    *,
    actor: User | None,
    subject: models.Model,
    object_id: int | None = None,
    before: Mapping[str, Any] | None = None,
    after: Mapping[str, Any] | None = None,
    reason: str = "",
    valid_at: datetime | None = None,
    now: datetime | None = None,
) -> AuditEvent:
    """Append one event inside the caller's transaction.

    The head row is locked last and for a moment, so that events of two transactions never share
    a predecessor. Codes are stable and dotted; the words for people are found when shown.
    """
    if not transaction.get_connection().in_atomic_block:
        raise RuntimeError("An audit event belongs into the transaction of the change it records.")
    recorded_at = now or timezone.now()
    event = AuditEvent(
        code=code,
        actor=actor,
        recorded_at=recorded_at,
        valid_at=valid_at or recorded_at,
        subject_type=subject._meta.label_lower,
        subject_id=str(subject.pk),
        object_id=object_id,
        before=json.loads(json.dumps(dict(before or {}), cls=DjangoJSONEncoder)),
        after=json.loads(json.dumps(dict(after or {}), cls=DjangoJSONEncoder)),
        reason=reason,
    )
    head = AuditHead.objects.select_for_update().get_or_create(pk=1, defaults={"hash": START})[0]
    event.previous_hash = head.hash
    event.hash = _digest(head.hash, _fields(event))
    event.save(force_insert=True)
    head.hash = event.hash
    head.save(update_fields=["hash"])
    return event


def broken_links() -> Iterator[AuditEvent]:
    """Yield every event whose hash does not follow from its content and its predecessor."""
    previous = START
    for event in AuditEvent.objects.order_by("pk").iterator(chunk_size=2000):
        if event.previous_hash != previous or event.hash != _digest(previous, _fields(event)):
            yield event
        previous = event.hash
