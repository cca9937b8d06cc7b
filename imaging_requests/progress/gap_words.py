"""Signed gap statements beside what they speak of: the entry, its row on the board, lost views."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from datetime import datetime

from django.db.models import Q
from django.utils import timezone

from imaging_requests.progress.shown import ShownView
from imaging_requests.reckoning.truth.terms import Status
from imaging_requests.requesting.models import GapStatement


def gap_texts(entry_ids: Iterable[int], *, at: datetime) -> dict[int, str]:
    """Return what was signed about each entry and in force at an instant."""
    rows = GapStatement.objects.filter(
        Q(ended_at=None) | Q(ended_at__gt=at), entry__in=list(entry_ids), signed_at__lte=at
    )
    return {row.entry_id: row.text for row in rows.order_by("signed_at", "pk")}


def statement_of(entry_id: int) -> GapStatement | None:
    """Return the statement in force of an entry."""
    return (
        GapStatement.objects.filter(entry=entry_id, ended_at=None)
        .select_related("signed_by")
        .first()
    )


def statements_about(object_ids: Sequence[int]) -> list[GapStatement]:
    """Return the statements in force of the entries that speak of some objects or their wholes."""
    spoken_of = Q(entry__entry_objects__object__in=list(object_ids)) | Q(
        entry__entry_objects__object__parts__in=list(object_ids)
    )
    found = GapStatement.objects.filter(spoken_of, ended_at=None)
    return list(found.select_related("entry", "signed_by").distinct())


def with_gaps(views: Iterable[ShownView], statements: Sequence[GapStatement]) -> list[ShownView]:
    """Say of lost views who signed that they stay missing."""
    words = {pk: _words(row) for row in statements for pk in row.view_ids}
    return [
        replace(view, gap=words.get(view.pk, "")) if view.status == Status.LOST else view
        for view in views
    ]


def _words(row: GapStatement) -> str:
    signed = timezone.localtime(row.signed_at)
    return f"That it stays missing is signed: {row.signed_by}, {signed:%-d %b %Y}."
