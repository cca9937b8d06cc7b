"""Write down that copies of a master were proven, or that one was found bad.

What was true of the past stays: the first proof of a copy never moves, and a bad copy counts until
the instant at which it was found bad, and again from the instant at which it was mended.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime

from django.db import transaction

from imaging_requests.collection.stale import mark_stale
from imaging_requests.intake.models import Copy, CopyLapse, Frame


def prove_new(frame: Frame, places: Iterable[str], now: datetime) -> None:
    """Keep the first proof of the copies of a frame that has just come."""
    Copy.objects.bulk_create(
        Copy(frame=frame, place=place, first_verified_at=now, verified_at=now, is_good=True)
        for place in places
    )


@transaction.atomic
def prove(frame: Frame, places: Iterable[str], now: datetime) -> None:
    """Keep a later proof; a copy that was missing or bad counts from now on."""
    wanted = tuple(places)
    copies = Copy.objects.filter(frame=frame, place__in=wanted)
    good = copies.filter(is_good=True, first_verified_at__isnull=False)
    if good.update(verified_at=now) == len(wanted):
        return
    copies.filter(first_verified_at=None).update(first_verified_at=now)
    CopyLapse.objects.filter(copy__in=copies, mended_at=None).update(mended_at=now)
    Copy.objects.bulk_create(
        [
            Copy(frame=frame, place=place, first_verified_at=now, verified_at=now, is_good=True)
            for place in wanted
        ],
        update_conflicts=True,
        unique_fields=("frame", "place"),
        update_fields=("verified_at", "is_good"),
    )
    _mark(frame, "copy proven")


@transaction.atomic
def find_bad(frame: Frame, place: str, now: datetime) -> None:
    """Keep that a copy is bad or missing; one that counted no longer does from now on."""
    copy, _ = Copy.objects.update_or_create(frame=frame, place=place, defaults={"is_good": False})
    if copy.first_verified_at is not None and not copy.lapses.filter(mended_at=None).exists():
        CopyLapse.objects.create(copy=copy, found_at=now)
        _mark(frame, "copy found bad")


def _mark(frame: Frame, reason: str) -> None:
    """Whether a view is filed depends on the copies: its object is to be derived anew."""
    if frame.shot_line is not None and frame.shot_line.object_id is not None:
        mark_stale([frame.shot_line.object_id], reason)
