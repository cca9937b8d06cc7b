"""Keep the caches true: settle stale marks, and whatever a date alone has changed.

A page that shows statuses settles its own scope first, so nobody sees yesterday's truth; a worker
settles the rest. Two settlers of the same object take turns on its row, and the second finds
nothing left to do.
"""

from __future__ import annotations

import logging
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime

from django.db import connection, transaction
from django.db.models import Q
from django.utils import timezone

from imaging_requests.collection.models import CollectionObject, Entry, EntryObject, StaleMark
from imaging_requests.progress.adding_up import add_up
from imaging_requests.progress.entries import entries_of, gaps_of, members_of
from imaging_requests.progress.gather import gather_cases
from imaging_requests.progress.models import EntryStatus, ObjectStatus, ViewStatus
from imaging_requests.progress.names import speech_for
from imaging_requests.progress.rules import Derived, derive_entry, derive_object
from imaging_requests.requesting.actions import fulfil_lines
from imaging_requests.requesting.derivation import sync_owed_views

logger = logging.getLogger(__name__)

CHUNK = 200
#: Up to so many objects are asked by their keys whether they belong to a catalogue.
FEW = 500

#: Every page that shows statuses asks this first, so it is written down instead of composed anew.
STALE = f"""
    SELECT object_id FROM {StaleMark._meta.db_table}
    UNION SELECT object_id FROM {ObjectStatus._meta.db_table} WHERE holds_until <= %s
    UNION SELECT id FROM {CollectionObject._meta.db_table}
        WHERE id > (SELECT COALESCE(MAX(object_id), 0) FROM {ObjectStatus._meta.db_table})
"""


def stale_ids(now: datetime, within: Iterable[int] | None = None) -> list[int]:
    """Return objects whose cache is not true any more, in id order: one query.

    Everything that changes an object leaves a mark, and marks are few; so are objects whose date
    has come. Asking all objects whether they were ever derived would take longer with every new
    one: of the whole house only those are asked that came after the last derived, and
    `underived_ids` asks them all.
    """
    if within is None:
        with connection.cursor() as cursor:
            cursor.execute(STALE, [connection.ops.adapt_datetimefield_value(now)])
            return sorted(pk for (pk,) in cursor.fetchall())
    ids = list(within)
    found = CollectionObject.objects.filter(
        Q(stale_marks__isnull=False) | Q(derived=None) | Q(derived__holds_until__lte=now),
        pk__in=ids,
    )
    return list(found.order_by("pk").values_list("pk", flat=True).distinct())


def stale_in_catalogue(now: datetime, catalogue_id: int) -> list[int]:
    """Return stale objects that a catalogue speaks of, or spoke of, with their parts.

    Of the whole house few are stale, so those are asked whether they belong to the catalogue.
    """
    found = stale_ids(now)
    if not found:
        return []
    own = EntryObject.objects.filter(entry__catalogue=catalogue_id)
    if len(found) > FEW:
        whole = set(own.values_list("object", flat=True))
        parts = CollectionObject.objects.filter(part_of__in=whole).values_list("pk", flat=True)
        spoken_of = whole.union(parts)
        return [pk for pk in found if pk in spoken_of]
    wholes = dict(CollectionObject.objects.filter(pk__in=found).values_list("pk", "part_of_id"))
    asked = {*found, *(pk for pk in wholes.values() if pk is not None)}
    spoken_of = set(own.filter(object_id__in=asked).values_list("object_id", flat=True))
    return [pk for pk in found if pk in spoken_of or wholes.get(pk) in spoken_of]


def underived_ids() -> list[int]:
    """Return objects that were never derived, in id order; this asks every object."""
    found = CollectionObject.objects.filter(derived=None).order_by("pk")
    return list(found.values_list("pk", flat=True))


def settle(
    object_ids: Iterable[int] | None = None,
    *,
    catalogue_id: int | None = None,
    now: datetime | None = None,
) -> int:
    """Bring the caches of stale objects up to date; returns how many were.

    `object_ids` or `catalogue_id` limit the work to what a page is about to show.
    """
    now = now or timezone.now()
    ids = (
        stale_ids(now, object_ids)
        if catalogue_id is None
        else stale_in_catalogue(now, catalogue_id)
    )
    for start in range(0, len(ids), CHUNK):
        _settle_chunk(ids[start : start + CHUNK], now)
    return len(ids)


def _settle_chunk(ids: Sequence[int], now: datetime) -> None:
    with transaction.atomic():
        locked = list(
            CollectionObject.objects.select_for_update(no_key=True)
            .filter(pk__in=ids)
            .order_by("pk")
            .values_list("pk", flat=True)
        )
        still = stale_ids(now, locked)
        if not still:
            return
        marks = list(StaleMark.objects.filter(object_id__in=still).values_list("pk", flat=True))
        rederive(still, now=now)
        StaleMark.objects.filter(pk__in=marks).delete()
    logger.info("Settled %d objects", len(still))


def rederive(object_ids: Sequence[int], *, now: datetime) -> None:
    """Derive owed views, statuses and grades of some objects anew and store them.

    Runs inside the caller's transaction, with the objects' rows locked.
    """
    sync_owed_views(object_ids, now)
    entries = entries_of(object_ids)
    _lock(entries)
    members = members_of(entries)
    everyone = sorted({*object_ids, *(pk for pks in members.values() for pk in pks)})
    derived = derive_objects(everyone, now=now)
    chosen = {pk: derived[pk] for pk in object_ids}
    _store_objects(chosen, now)
    met = [int(view.view_key) for each in chosen.values() for view in each.views if view.is_met]
    fulfil_lines(met, now)
    _store_entries(entries, members, derived, now)


def _lock(entries: Sequence[Entry]) -> None:
    """Let settlers of two objects of one entry take turns, so that the later one has seen both."""
    keys = [entry.pk for entry in entries]
    list(
        Entry.objects.select_for_update(no_key=True)
        .filter(pk__in=keys)
        .order_by("pk")
        .values_list("pk", flat=True)
    )


def derive_objects(object_ids: Sequence[int], *, now: datetime) -> dict[int, Derived]:
    """Derive objects from everything recorded, in a fixed number of queries."""
    speech = speech_for(object_ids)
    cases = gather_cases(object_ids)
    return {pk: derive_object(case, speech=speech, now=now) for pk, case in cases.items()}


def _store_objects(derived: dict[int, Derived], now: datetime) -> None:
    ViewStatus.objects.filter(object_id__in=derived).delete()
    ViewStatus.objects.bulk_create(
        [
            ViewStatus(
                owed_view_id=int(view.view_key),
                object_id=pk,
                status=view.status,
                why=view.sentence,
                reason=view.reason,
                waits_for=view.waits_for,
                waits_for_role=view.waits_for_role,
                is_met=view.is_met,
                is_present=view.is_present,
                is_only_now=view.is_only_now,
                chain=view.chain,
                picture_version=view.picture_version,
            )
            for pk, each in derived.items()
            for view in each.views
        ],
        batch_size=2000,
    )
    ObjectStatus.objects.bulk_create(
        [
            ObjectStatus(
                object_id=pk,
                derived_at=now,
                holds_until=each.holds_until,
                facts_complete=not each.missing_facts,
                missing_facts=list(each.missing_facts),
                state_index=each.state_index,
                has_open_question=each.has_open_question,
            )
            for pk, each in derived.items()
        ],
        update_conflicts=True,
        unique_fields=["object"],
        update_fields=[
            "derived_at",
            "holds_until",
            "facts_complete",
            "missing_facts",
            "state_index",
            "has_open_question",
        ],
    )


def _store_entries(
    entries: Sequence[Entry],
    members: dict[int, list[int]],
    derived: dict[int, Derived],
    now: datetime,
) -> None:
    gaps = gaps_of([entry.pk for entry in entries])
    rows = []
    for entry in entries:
        found = derive_entry(
            [derived[pk].moment for pk in members[entry.pk]],
            catalogue=str(entry.catalogue_id),
            gaps=gaps.get(entry.pk, ()),
        )
        rows.append(
            EntryStatus(
                entry_id=entry.pk,
                grade=found.grade.grade,
                why=found.why,
                counts=found.counts,
                cells=found.cells,
                present=found.present,
                resolved=found.resolved,
                debt=found.debt,
                owed=found.owed,
                met=found.met,
                unmet=found.unmet,
                lost=found.lost,
                derived_at=now,
            )
        )
    EntryStatus.objects.bulk_create(
        rows,
        update_conflicts=True,
        unique_fields=["entry"],
        update_fields=[
            "grade",
            "why",
            "counts",
            "cells",
            "present",
            "resolved",
            "debt",
            "owed",
            "met",
            "unmet",
            "lost",
            "derived_at",
        ],
    )
    add_up({entry.catalogue_id for entry in entries})


@dataclass(frozen=True)
class Difference:
    """Something that the cache says otherwise than a derivation from scratch."""

    object_id: int
    view_id: int
    cached: str
    derived: str


def verify(
    object_ids: Iterable[int] | None = None, *, now: datetime | None = None
) -> list[Difference]:
    """Derive everything from scratch, change nothing, and return every difference to the cache."""
    now = now or timezone.now()
    objects = CollectionObject.objects.order_by("pk")
    if object_ids is not None:
        objects = objects.filter(pk__in=list(object_ids))
    ids = list(objects.values_list("pk", flat=True))
    found: list[Difference] = []
    for start in range(0, len(ids), CHUNK):
        chunk = ids[start : start + CHUNK]
        cached: dict[int, dict[int, str]] = defaultdict(dict)
        for object_id, view_id, status in ViewStatus.objects.filter(
            object_id__in=chunk
        ).values_list("object_id", "owed_view_id", "status"):
            cached[object_id][view_id] = status
        for pk, each in derive_objects(chunk, now=now).items():
            fresh = {int(view.view_key): str(view.status) for view in each.views}
            found.extend(_differences(pk, cached[pk], fresh))
    return found


def _differences(
    object_id: int, cached: dict[int, str], fresh: dict[int, str]
) -> Iterable[Difference]:
    for view_id in sorted(cached.keys() | fresh.keys()):
        was, is_now = cached.get(view_id, "no row"), fresh.get(view_id, "not in force")
        if was != is_now:
            yield Difference(object_id, view_id, was, is_now)
