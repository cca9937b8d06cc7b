"""Which pictures there are of an object, and how far each has come."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import replace

from imaging_requests.deliverables.models import Correction, Deliverable, Review
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
