"""Mark objects whose cached statuses are no longer true, and wake the one who settles them."""

from __future__ import annotations

from collections.abc import Iterable

from imaging_requests.collection.models import StaleMark
from imaging_requests.people.wake import wake_on_commit

SETTLE = "progress.settle"


def mark_stale(object_ids: Iterable[int], reason: str) -> None:
    """Leave one mark for each object inside the caller's transaction."""
    marks = [StaleMark(object_id=pk, reason=reason) for pk in sorted(set(object_ids))]
    StaleMark.objects.bulk_create(marks)
    if marks:
        wake_on_commit(SETTLE)
