"""Prove that the counts of every entry add up to its duties in force."""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime

from django.db.models import Q

from imaging_requests.collection.models import Catalogue, Entry
from imaging_requests.progress.entries import members_of
from imaging_requests.progress.models import EntryStatus
from imaging_requests.requesting.models import Demand


def views_in_force(catalogue: Catalogue, ids: Collection[int], now: datetime) -> dict[int, int]:
    """Return views that count for a catalogue, each with its object.

    They have a live demand of the catalogue, or of a treatment or a wish that counts for it.
    """
    counts = Q(entry__catalogue=catalogue) | Q(
        Q(request_line__request__counts_for_catalogue=True)
        | Q(treatment__counts_for_catalogue=True),
        entry=None,
    )
    return dict(
        Demand.objects.filter(
            counts, Q(until=None) | Q(until__gt=now), owed_view__object_id__in=ids, since__lte=now
        ).values_list("owed_view_id", "owed_view__object_id")
    )


@dataclass(frozen=True)
class Imbalance:
    """An entry whose statuses do not add up."""

    entry: str
    counted: int
    in_force: int

    def __str__(self) -> str:
        return f"entry {self.entry}: {self.counted} statuses for {self.in_force} views in force"


def imbalances(now: datetime) -> list[Imbalance]:
    """Return every entry whose statuses do not add up; the caches must be settled."""
    found = []
    for catalogue in Catalogue.objects.order_by("pk"):
        entries = list(Entry.objects.filter(catalogue=catalogue).order_by("sort_key", "pk"))
        members = members_of(entries)
        ids = {pk for pks in members.values() for pk in pks}
        by_object = Counter(views_in_force(catalogue, ids, now).values())
        counts = dict(
            EntryStatus.objects.filter(entry__in=entries).values_list("entry_id", "counts")
        )
        for entry in entries:
            counted = sum((counts.get(entry.pk) or {}).get("all", {}).values())
            in_force = sum(by_object[pk] for pk in members[entry.pk])
            if counted != in_force:
                found.append(Imbalance(str(entry), counted, in_force))
    return found
