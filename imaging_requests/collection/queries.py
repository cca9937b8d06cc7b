"""Reads about objects and catalogues."""

from __future__ import annotations

from datetime import datetime

from django.db.models import QuerySet

from imaging_requests.collection.models import CollectionObject, ObjectFacts


def objects_with_numbers() -> QuerySet[CollectionObject]:
    """Objects with all their numbers at hand, the present one first."""
    return CollectionObject.objects.prefetch_related("numbers")


def facts_now(object_id: int, now: datetime) -> ObjectFacts | None:
    """Return the record of facts in force, as known now."""
    return (
        ObjectFacts.objects.filter(object=object_id, valid_from__lte=now, recorded_at__lte=now)
        .order_by("recorded_at", "pk")
        .last()
    )
