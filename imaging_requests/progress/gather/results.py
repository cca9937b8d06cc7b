"""Which pictures there are of an object, and how far each has come."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import replace
from datetime import datetime

from django.utils import timezone

from imaging_requests.deliverables.models import (
    Correction,
    Deliverable,
    DeliverableFrame,
    PackageItem,
    Review,
)
from imaging_requests.deliverables.queries import numbers
from imaging_requests.intake.models import Copy
from imaging_requests.progress.gather.by_object import ByObject
from imaging_requests.reckoning.truth import facts as truth
from imaging_requests.reckoning.truth.terms import Verdict


def pictures_of(ids: list[int]) -> ByObject[truth.Picture]:
    """Return every version of every picture."""
    found: ByObject[truth.Picture] = defaultdict(list)
    for row in Deliverable.objects.filter(object_id__in=ids):
        found[row.object_id].append(
            truth.Picture(
                chain=str(row.chain),
                version=row.version,
                recorded_at=row.created_at,
                surface=row.surface,
                technique=row.technique,
                variant=row.variant,
                captured_at=row.captured_at,
                px_per_mm=row.px_per_mm,
                coverage=row.coverage_percent / 100,
                complete=row.is_complete,
                handed_in_at=row.handed_in_at,
                photographer=str(row.photographer_id),
            )
        )
    return found


def reviews_of(ids: list[int]) -> ByObject[truth.Review]:
    """Return what people decided on the pictures."""
    found: ByObject[truth.Review] = defaultdict(list)
    rows = Review.objects.filter(deliverable__object_id__in=ids).select_related("deliverable")
    for row in rows:
        found[row.deliverable.object_id].append(
            truth.Review(
                key=f"r-{row.pk}",
                recorded_at=row.recorded_at,
                chain=str(row.deliverable.chain),
                version=row.deliverable.version,
                verdict=Verdict(row.verdict),
                at=row.recorded_at,
                by=str(row.by_id),
                frames_good=row.frames_good,
            )
        )
    return found


def filings_of(ids: list[int]) -> ByObject[truth.Filing]:
    """A version is filed once it lies in a sealed package and every frame's copies are proven."""
    items = PackageItem.objects.filter(
        deliverable__object_id__in=ids, package__sealed_at__isnull=False
    ).select_related("deliverable", "package")
    sealed: dict[int, tuple[Deliverable, datetime]] = {}
    for item in items:
        sealed_at = item.package.sealed_at
        known = sealed.get(item.deliverable_id)
        if sealed_at is not None and (known is None or sealed_at < known[1]):
            sealed[item.deliverable_id] = (item.deliverable, sealed_at)
    if not sealed:
        return {}
    needed = numbers(timezone.now()).proven_copies
    proven: dict[int, dict[int, list[datetime]]] = defaultdict(lambda: defaultdict(list))
    copies = Copy.objects.filter(
        frame__deliverable_frames__deliverable__in=sealed, is_good=True, verified_at__isnull=False
    ).values_list("frame__deliverable_frames__deliverable", "frame_id", "verified_at")
    for deliverable_id, frame_id, verified_at in copies:
        if verified_at is not None:
            proven[deliverable_id][frame_id].append(verified_at)
    frames: dict[int, set[int]] = defaultdict(set)
    pairs = DeliverableFrame.objects.filter(deliverable__in=sealed).values_list(
        "deliverable_id", "frame_id"
    )
    for deliverable_id, frame_id in pairs:
        frames[deliverable_id].add(frame_id)
    found: ByObject[truth.Filing] = defaultdict(list)
    for pk, (deliverable, sealed_at) in sealed.items():
        instants = [sealed_at]
        for frame_id in frames[pk]:
            verified = sorted(proven[pk].get(frame_id, ()))
            if len(verified) < needed:
                break
            instants.append(verified[needed - 1])
        else:
            starts_at = max(instants)
            found[deliverable.object_id].append(
                truth.Filing(
                    key=f"p-{pk}",
                    recorded_at=starts_at,
                    chain=str(deliverable.chain),
                    version=deliverable.version,
                    starts_at=starts_at,
                )
            )
    return found


def corrections_of(ids: list[int]) -> ByObject[truth.Correction]:
    """What is being put right; that it was closed is learnt when it was closed."""
    found: ByObject[truth.Correction] = defaultdict(list)
    rows = Correction.objects.filter(deliverable__object_id__in=ids).exclude(
        kind=Correction.Kind.WORDS
    )
    for row in rows.select_related("deliverable"):
        opened = truth.Correction(
            key=f"c-{row.pk}",
            recorded_at=row.found_at,
            chain=str(row.deliverable.chain),
            opened_at=row.found_at,
        )
        found[row.deliverable.object_id].append(opened)
        if row.closed_at is not None:
            closed = replace(opened, recorded_at=row.closed_at, closed_at=row.closed_at)
            found[row.deliverable.object_id].append(closed)
    return found
