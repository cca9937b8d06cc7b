"""Reads about objects and catalogues."""

from __future__ import annotations

from datetime import datetime

from django.db.models import QuerySet

from imaging_requests.collection.models import CollectionObject, ObjectFacts


def objects_with_numbers() -> QuerySet[CollectionObject]:
    """Objects with all their numbers at hand, the present one first."""
    return CollectionObject.objects.prefetch_related("numbers")


def facts_at(object_id: int, *, valid_at: datetime, known_at: datetime) -> ObjectFacts | None:
    """Return the record of facts in force at one instant, as known at another.

    Of two records from the same instant the one that was recorded later is a correction.
    """
    return (
        ObjectFacts.objects.filter(
            object=object_id, valid_from__lte=valid_at, recorded_at__lte=known_at
        )
        .order_by("valid_from", "recorded_at", "pk")
        .last()
    )


def facts_now(object_id: int, now: datetime) -> ObjectFacts | None:
    """Return the record of facts in force, as known now."""
    return facts_at(object_id, valid_at=now, known_at=now)
