"""Which objects an entry speaks of, and which entries an object touches."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence

from imaging_requests.collection.models import CollectionObject, Entry, EntryObject
from imaging_requests.reckoning.truth.grade import GapStatement as Gap
from imaging_requests.requesting.models import GapStatement


def entries_of(object_ids: Sequence[int]) -> list[Entry]:
    """Return the entries of some objects, themselves or as parts of an ensemble.

    Entries that an object has left are among them: they are to be graded without it.
    """
    ids = list(object_ids)
    wholes = CollectionObject.objects.filter(pk__in=ids, part_of__isnull=False)
    spoken_of = {*ids, *wholes.order_by().values_list("part_of", flat=True)}
    keys = EntryObject.objects.filter(object__in=spoken_of).order_by().values_list("entry")
    return list(Entry.objects.filter(pk__in={pk for (pk,) in keys}).order_by("pk"))


def members_of(entries: Iterable[Entry]) -> dict[int, list[int]]:
    """Return the objects of each entry in their order, the parts of an ensemble included."""
    keys = [entry.pk for entry in entries]
    found: dict[int, list[int]] = {key: [] for key in keys}
    links = list(
        EntryObject.objects.filter(entry__in=keys, removed_at=None)
        .order_by("entry", "position", "pk")
        .values_list("entry_id", "object_id")
    )
    parts: dict[int, list[int]] = defaultdict(list)
    whole = [object_id for _, object_id in links]
    for part_of_id, pk in (
        CollectionObject.objects.filter(part_of__in=whole)
        .order_by("pk")
        .values_list("part_of_id", "pk")
    ):
        if part_of_id is not None:
            parts[part_of_id].append(pk)
    for entry_id, object_id in links:
        for pk in (object_id, *parts[object_id]):
            if pk not in found[entry_id]:
                found[entry_id].append(pk)
    return found


def gaps_of(entry_ids: Sequence[int]) -> dict[int, list[Gap]]:
    """Return the signed gap statements of entries."""
    found: dict[int, list[Gap]] = defaultdict(list)
    for row in GapStatement.objects.filter(entry__in=entry_ids):
        found[row.entry_id].append(
            Gap(
                key=f"g-{row.pk}",
                recorded_at=row.signed_at,
                signed_at=row.signed_at,
                by=str(row.signed_by_id),
                views=frozenset(str(pk) for pk in row.view_ids),
                ended_at=row.ended_at,
            )
        )
    return found
