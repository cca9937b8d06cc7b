"""Add up the entries of a catalogue, so that no page has to read all of them for five numbers."""

from __future__ import annotations

from collections.abc import Collection

from django.db import transaction
from django.db.models import Count, Sum

from imaging_requests.progress.models import CatalogueStatus, EntryStatus
from imaging_requests.reckoning.truth.terms import Grade

#: The columns of a catalogue's numbers, and those of them that count entries by grade.
SUMMED = ("present", "resolved", "debt", "lost")
BY_GRADE = {Grade.FULL: "full", Grade.FULL_WAIVED: "waived", Grade.GAP: "gap"}
ADDED_UP = (*BY_GRADE.values(), *SUMMED)


@transaction.atomic
def add_up(catalogue_ids: Collection[int]) -> None:
    """Add up the entries of catalogues anew, one settler at a time for each catalogue.

    Whoever waits for the row sees what the other has stored when its turn comes.
    """
    ids = sorted(catalogue_ids)
    CatalogueStatus.objects.bulk_create(
        [CatalogueStatus(catalogue_id=pk) for pk in ids], ignore_conflicts=True
    )
    rows = {
        row.pk: row
        for row in CatalogueStatus.objects.select_for_update(no_key=True)
        .filter(pk__in=ids)
        .order_by("pk")
    }
    for row in rows.values():
        for name in ADDED_UP:
            setattr(row, name, 0)
    by_grade = (
        EntryStatus.objects.filter(entry__catalogue__in=ids)
        .order_by()
        .values_list("entry__catalogue_id", "grade")
        .annotate(Count("pk"), *map(Sum, SUMMED))
    )
    for catalogue_id, grade, number, *sums in by_grade:
        row = rows[catalogue_id]
        if grade in BY_GRADE:
            setattr(row, BY_GRADE[grade], number)
        for name, value in zip(SUMMED, sums, strict=True):
            setattr(row, name, getattr(row, name) + value)
    CatalogueStatus.objects.bulk_update(rows.values(), ADDED_UP)
