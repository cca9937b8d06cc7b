"""What the pages of rulings show: what does not apply, what is replaced, what is lost."""

from __future__ import annotations

from typing import Any

from django.utils import timezone

from imaging_requests.collection.models import CollectionObject, Entry
from imaging_requests.requesting import queries
from imaging_requests.requesting.actions_rulings import lost_views
from imaging_requests.requesting.last_looks import last_look_step
from imaging_requests.requesting.models import OwedView
from imaging_requests.requesting.words import (
    as_of_words,
    inside_words,
    numbers_of,
    view_words,
    words_of,
)


def not_applicable_context(thing: CollectionObject) -> dict[str, Any]:
    """What does not apply to an object, with who or which rule says so."""
    rows = queries.not_applicable_of(thing.pk)
    number = numbers_of([thing.pk])[thing.pk]
    views = "1 view does" if len(rows) == 1 else f"{len(rows)} views do"
    return {
        "thing": thing,
        "number": number,
        "rows": [
            {"row": row, "words": view_words(row.technique, row.face, row.variant)} for row in rows
        ],
        "answer": f"{views} not apply to {number}" if rows else f"Every view applies to {number}",
    }


def replace_choices(view: OwedView) -> list[tuple[int, str]]:
    """The views of the same object that could stand for this one."""
    return [
        (other.pk, f"{words_of(other)}, {as_of_words(other)}")
        for other in queries.views_in_force(view.object_id)
        if other.pk != view.pk
    ]


def replace_context(view: OwedView) -> dict[str, Any]:
    """The view that is to be replaced."""
    number = numbers_of([view.object_id])[view.object_id]
    return {
        "view": view,
        "number": number,
        "words": words_of(view),
        "as_of": as_of_words(view),
        "last_look_step": last_look_step(view, timezone.now()),
        "answer": f"What stands for {inside_words(view)} of {number}?",
    }


def gap_context(entry: Entry) -> dict[str, Any]:
    """The lost views of an entry and the statement in force."""
    views = list(
        OwedView.objects.filter(pk__in=lost_views(entry.pk))
        .select_related("treatment")
        .order_by("object", "technique", "face")
    )
    numbers = numbers_of(view.object_id for view in views)
    lost = "1 view" if len(views) == 1 else f"{len(views)} views"
    return {
        "entry": entry,
        "lost": [
            f"{numbers[view.object_id]}: {words_of(view)}, {as_of_words(view)}" for view in views
        ],
        "statement": entry.gap_statements.filter(ended_at=None).select_related("signed_by").first(),
        "answer": f"{lost} of entry {entry.number} can never be made"
        if views
        else f"Nothing of entry {entry.number} is lost",
    }
