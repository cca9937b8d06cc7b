"""Since when pictures are filed, and the times in which they were not.

A version is filed while it lies in a sealed package and enough copies of each of its frames count.
A copy counts from its first proof on; later proofs change nothing. One that is found bad stops
counting at that instant and counts again from when it was mended, so that the answer about a past
day stays what it was.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import replace
from datetime import datetime

from django.utils import timezone

from imaging_requests.deliverables.models import Deliverable, DeliverableFrame, PackageItem
from imaging_requests.deliverables.queries import numbers
from imaging_requests.intake.models import Copy
from imaging_requests.reckoning.truth.facts import Filing

#: A span of time, half-open; no end: it goes on.
Span = tuple[datetime, datetime | None]
#: When a copy of a frame starts (+1) or stops (-1) counting.
Turn = tuple[datetime, int, int]


def filings_of(object_ids: Iterable[int]) -> dict[int, list[Filing]]:
    """Return when pictures of some objects were filed; three queries at most."""
    sealed = _sealed(object_ids)
    if not sealed:
        return {}
    needed = numbers(timezone.now()).proven_copies
    frames = _frames(sealed)
    turns = _turns(sealed)
    found: dict[int, list[Filing]] = defaultdict(list)
    for pk, (deliverable, sealed_at) in sealed.items():
        spans = filed_spans(
            sealed_at,
            [turn for frame_id in frames[pk] for turn in turns.get(frame_id, ())],
            frames=len(frames[pk]),
            needed=needed,
        )
        # One that never had enough copies as they are counted now was filed for no time at all.
        for number, (starts_at, ends_at) in enumerate(spans or [(sealed_at, sealed_at)]):
            filed = Filing(
                key=f"p-{pk}-{number}",
                recorded_at=starts_at,
                chain=str(deliverable.chain),
                version=deliverable.version,
                starts_at=starts_at,
            )
            found[deliverable.object_id].append(filed)
            if ends_at is not None:
                ended = replace(filed, recorded_at=ends_at, ends_at=ends_at)
                found[deliverable.object_id].append(ended)
    return found


def filed_spans(
    sealed_at: datetime, turns: Iterable[Turn], *, frames: int, needed: int
) -> list[Span]:
    """Return the spans, from the sealing on, in which every frame has enough copies that count.

    `turns` are of all copies of the picture's frames: instant, frame, +1 or -1; at one instant
    starts come before stops, so that a copy mended as another fails leaves a span unbroken.
    """
    if not frames:
        return [(sealed_at, None)]
    counting: Counter[int] = Counter()
    enough = 0
    starts_at: datetime | None = None
    spans: list[Span] = []
    for at, frame, step in sorted(turns, key=lambda turn: (turn[0], -turn[2])):
        before = counting[frame] >= needed
        counting[frame] += step
        enough += (counting[frame] >= needed) - before
        if enough == frames and starts_at is None:
            starts_at = max(at, sealed_at)
        elif enough < frames and starts_at is not None:
            if at > starts_at:
                spans.append((starts_at, at))
            starts_at = None
    return [*spans, (starts_at, None)] if starts_at is not None else spans


def _sealed(object_ids: Iterable[int]) -> dict[int, tuple[Deliverable, datetime]]:
    items = PackageItem.objects.filter(
        deliverable__object_id__in=object_ids, package__sealed_at__isnull=False
    ).select_related("deliverable", "package")
    sealed: dict[int, tuple[Deliverable, datetime]] = {}
    for item in items:
        sealed_at = item.package.sealed_at
        known = sealed.get(item.deliverable_id)
        if sealed_at is not None and (known is None or sealed_at < known[1]):
            sealed[item.deliverable_id] = (item.deliverable, sealed_at)
    return sealed


def _frames(deliverable_ids: Iterable[int]) -> Mapping[int, set[int]]:
    frames: dict[int, set[int]] = defaultdict(set)
    for deliverable_id, frame_id in DeliverableFrame.objects.filter(
        deliverable__in=deliverable_ids
    ).values_list("deliverable_id", "frame_id"):
        frames[deliverable_id].add(frame_id)
    return frames


def _turns(deliverable_ids: Iterable[int]) -> Mapping[int, list[Turn]]:
    """When each copy of a frame counted; one row for each lapse, or one without any."""
    turns: dict[int, dict[int, set[Turn]]] = defaultdict(lambda: defaultdict(set))
    rows = Copy.objects.filter(
        frame__deliverable_frames__deliverable__in=deliverable_ids,
        first_verified_at__isnull=False,
    ).values_list("pk", "frame_id", "first_verified_at", "lapses__found_at", "lapses__mended_at")
    for pk, frame, first_at, found_at, mended_at in rows:
        mine = turns[frame][pk]
        if first_at is not None:
            mine.add((first_at, frame, 1))
        if found_at is not None:
            mine.add((found_at, frame, -1))
        if mended_at is not None:
            mine.add((mended_at, frame, 1))
    return {
        frame: [turn for mine in copies.values() for turn in mine]
        for frame, copies in turns.items()
    }
