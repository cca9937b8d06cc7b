"""Reads about corrections: whom a picture reached, and what waits to be put right."""

from __future__ import annotations

from typing import Any

from django.db.models import Count, F, Prefetch, Q, QuerySet

from imaging_requests.collection.models import EntryObject
from imaging_requests.deliverables.models import (
    Correction,
    CorrectionNotice,
    Deliverable,
    Delivery,
    Package,
)
from imaging_requests.deliverables.queries import packages_with
from imaging_requests.people.models import User


def reach_of(row: Deliverable, meant_object_id: int | None) -> dict[str, Any]:
    """Name the entries, packages and recipients that a picture has reached."""
    objects = [pk for pk in (row.object_id, meant_object_id) if pk is not None]
    entries = EntryObject.objects.filter(object__in=objects, removed_at=None).select_related(
        "entry"
    )
    return {
        "entries": sorted({link.entry.number for link in entries}),
        "packages": [package.number for package in packages_with(row)],
        "recipients": sorted({each.recipient for each in deliveries_with(row)}),
    }


def deliveries_with(row: Deliverable) -> QuerySet[Delivery]:
    """List the hand-overs of sealed packages that hold a picture."""
    return (
        Delivery.objects.filter(
            package__items__deliverable=row, package__state=Package.State.SEALED
        )
        .select_related("user", "package")
        .order_by("pk")
    )


def writers_of(row: Deliverable, meant_object_id: int | None) -> list[User]:
    """Return the curators of the entries that hold the object, and the one that was meant."""
    objects = [pk for pk in (row.object_id, meant_object_id) if pk is not None]
    return list(
        User.objects.filter(
            is_active=True,
            entries__entry_objects__object__in=objects,
            entries__entry_objects__removed_at=None,
        ).distinct()
    )


def waiting_for(row: Deliverable) -> QuerySet[Correction]:
    """List open corrections that an accepted picture mends: same chain, or same view of it."""
    same_view = Q(
        deliverable__object_id=row.object_id,
        deliverable__surface=row.surface,
        deliverable__technique=row.technique,
        deliverable__variant=row.variant,
        deliverable__captured_at__lte=row.captured_at,
    )
    return (
        Correction.objects.filter(closed_at=None)
        .filter(Q(deliverable__chain=row.chain) | same_view)
        .exclude(deliverable=row)
        .select_related("deliverable")
        .order_by("pk")
    )


def listing() -> QuerySet[Correction]:
    """List corrections, open ones first, with how many were told and how many confirmed."""
    return (
        Correction.objects.select_related("deliverable__object", "found_by", "mended_by")
        .annotate(
            told=Count("notices"),
            confirmed=Count("notices", filter=Q(notices__confirmed_at__isnull=False)),
        )
        .order_by(F("closed_at").desc(nulls_first=True), "-found_at", "-pk")
    )


def with_notices() -> QuerySet[Correction]:
    """Corrections with everything their own page names."""
    notices = CorrectionNotice.objects.select_related("delivery__package", "user").order_by("pk")
    return Correction.objects.select_related(
        "deliverable__object", "found_by", "mended_by", "meant_object"
    ).prefetch_related(Prefetch("notices", queryset=notices))
