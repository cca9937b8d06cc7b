"""Merge two records of one object, and part them again; nothing is moved, nothing is lost.

The double keeps its numbers, pictures and events and points at the record that stays; whoever reads
the record that stays reads those of the double with it. Only memberships in entries pass over.
"""

from __future__ import annotations

from datetime import datetime, timedelta

from django.db import transaction
from django.utils import timezone

from imaging_requests.collection.models import CollectionObject, EntryObject, RecordState
from imaging_requests.collection.policies import KEEP_NUMBERS
from imaging_requests.collection.stale import mark_stale
from imaging_requests.people import audit
from imaging_requests.people.errors import DomainError
from imaging_requests.people.models import AuditEvent, User
from imaging_requests.people.policies import demand
from imaging_requests.people.versions import lock_row, save_row

MERGED = "collection.objects_merged"


@transaction.atomic
def merge_objects(
    *,
    actor: User,
    double_id: int,
    read_version: int,
    into_id: int,
    reason: str,
    now: datetime | None = None,
) -> CollectionObject:
    """Let a record be a double of another: "AR 0062 is AR 0061"."""
    demand(actor, KEEP_NUMBERS)
    now = now or timezone.now()
    list(
        CollectionObject.objects.select_for_update()
        .filter(pk__in=(double_id, into_id))
        .order_by("pk")
    )
    double = lock_row(CollectionObject, double_id, read_version=read_version)
    kept = CollectionObject.objects.get(pk=into_id)
    refusal = _why_not(double, kept)
    if refusal:
        raise DomainError(
            refusal,
            code="collection.cannot_merge",
            next_step="Choose two different records that are both in use.",
        )
    if not reason.strip():
        raise DomainError(
            "Say how you know that the two records are one object.",
            code="collection.merge_reason",
        )
    ended, made = _pass_memberships_on(double, kept, now)
    double.record_state = RecordState.MERGED
    double.merged_into = kept
    save_row(double, fields=["record_state", "merged_into"])
    audit.record(
        MERGED,
        actor=actor,
        subject=double,
        object_id=double.pk,
        before={"record_state": RecordState.ACTIVE},
        after={"merged_into": kept.pk, "ended": ended, "made": made},
        reason=reason,
        now=now,
    )
    mark_stale([double.pk, kept.pk], "objects merged")
    return kept


def _why_not(double: CollectionObject, kept: CollectionObject) -> str:
    if double.pk == kept.pk:
        return "A record is not a double of itself."
    for thing in (double, kept):
        if thing.record_state in (RecordState.MERGED, RecordState.WITHDRAWN):
            return f"The record of {thing} is {thing.get_record_state_display().lower()}."
    if double.merged_from.exists():
        return f"Another record was merged into {double}. Part the two first."
    if double.parts.exists() or kept.pk == double.part_of_id or double.pk == kept.part_of_id:
        return "A whole and its part are two objects, and parts would lose their whole."
    return ""


def _pass_memberships_on(
    double: CollectionObject, kept: CollectionObject, now: datetime
) -> tuple[list[int], list[int]]:
    ended, made = [], []
    for link in EntryObject.objects.select_for_update().filter(object=double, removed_at=None):
        link.removed_at = now
        link.save(update_fields=["removed_at"])
        ended.append(link.pk)
        there = EntryObject.objects.filter(entry=link.entry_id, object=kept, removed_at=None)
        if not there.exists():
            new = EntryObject.objects.create(
                entry_id=link.entry_id, object=kept, position=link.position, added_at=now
            )
            made.append(new.pk)
    return ended, made


@transaction.atomic
def part_objects(
    *,
    actor: User,
    double_id: int,
    read_version: int,
    reason: str,
    reversible_for: timedelta,
    now: datetime | None = None,
) -> CollectionObject:
    """Undo a merger: the two records were two objects after all."""
    demand(actor, KEEP_NUMBERS)
    now = now or timezone.now()
    double = lock_row(CollectionObject, double_id, read_version=read_version)
    kept = double.merged_into
    event = (
        AuditEvent.objects.filter(
            code=MERGED, subject_type="collection.collectionobject", subject_id=str(double.pk)
        )
        .order_by("pk")
        .last()
    )
    if kept is None or event is None:
        raise DomainError(
            f"{double} was not merged into another record.", code="collection.not_merged"
        )
    if now > event.recorded_at + reversible_for:
        raise DomainError(
            f"The records were merged on {timezone.localtime(event.recorded_at):%-d %b %Y}; "
            f"that can be undone for {reversible_for.days} days only.",
            code="collection.merged_too_long_ago",
            next_step="Register the second object anew, with a number of its own.",
        )
    CollectionObject.objects.select_for_update().get(pk=kept.pk)
    for link in EntryObject.objects.filter(pk__in=event.after["made"], removed_at=None):
        link.removed_at = now
        link.save(update_fields=["removed_at"])
    for link in EntryObject.objects.filter(pk__in=event.after["ended"]):
        EntryObject.objects.create(
            entry_id=link.entry_id, object=double, position=link.position, added_at=now
        )
    double.record_state = RecordState.ACTIVE
    double.merged_into = None
    save_row(double, fields=["record_state", "merged_into"])
    audit.record(
        "collection.objects_parted",
        actor=actor,
        subject=double,
        object_id=double.pk,
        before={"merged_into": kept.pk},
        after={"record_state": RecordState.ACTIVE},
        reason=reason,
        now=now,
    )
    mark_stale([double.pk, kept.pk], "objects parted")
    return double
