"""When something can be captured: shots of confirmed sessions, and when an object cannot be had."""

from __future__ import annotations

from collections import defaultdict
from typing import Any

from imaging_requests.campaigns.models import SessionState, ShotLine
from imaging_requests.collection.models import Unavailability
from imaging_requests.progress.gather.by_object import ByObject
from imaging_requests.reckoning.truth import facts as truth


def planned_of(ids: list[int]) -> ByObject[truth.PlannedShot]:
    """Return the shots of confirmed sessions, those given back also as such."""
    found: ByObject[truth.PlannedShot] = defaultdict(list)
    through = ShotLine.owed_views.through
    rows = (
        through._default_manager.filter(
            shotline__object_id__in=ids, shotline__session__confirmed_at__isnull=False
        )
        .values_list(
            "pk",
            "owedview_id",
            "shotline__object_id",
            "shotline__state",
            "shotline__decided_at",
            "shotline__session_id",
            "shotline__session__confirmed_at",
            "shotline__session__starts_at",
            "shotline__session__ends_at",
            "shotline__session__state",
            "shotline__session__cancelled_at",
            "shotline__session__closed_at",
        )
        .order_by("pk")
    )
    for (
        pk,
        view_id,
        object_id,
        line_state,
        decided_at,
        session_id,
        confirmed_at,
        starts_at,
        ends_at,
        session_state,
        cancelled_at,
        closed_at,
    ) in rows:
        if confirmed_at is None:
            continue
        released = [instant for instant in (cancelled_at, closed_at) if instant is not None]
        if line_state != "planned" and decided_at is not None:
            released.append(decided_at)
        if session_state == SessionState.CANCELLED and not released:
            released.append(confirmed_at)
        common: dict[str, Any] = {
            "key": f"s-{pk}",
            "view": str(view_id),
            "session": f"session {session_id}",
            "confirmed_at": confirmed_at,
            "session_starts_at": starts_at,
            "session_ends_at": ends_at,
        }
        found[object_id].append(truth.PlannedShot(recorded_at=confirmed_at, **common))
        if released:
            ended = min(released)
            found[object_id].append(
                truth.PlannedShot(recorded_at=ended, released_at=ended, **common)
            )
    return found


def unavailable_of(ids: list[int]) -> ByObject[truth.Unavailable]:
    """Return when an object cannot be had, and what of it was taken back."""
    found: ByObject[truth.Unavailable] = defaultdict(list)
    for row in Unavailability.objects.filter(object_id__in=ids, blocks_capture=True):
        common: dict[str, Any] = {
            "key": f"u-{row.pk}",
            "kind": Unavailability.Reason(row.reason).in_a_sentence,
            "starts_at": row.since,
            "ends_at": row.until,
        }
        found[row.object_id].append(truth.Unavailable(recorded_at=row.recorded_at, **common))
        if row.withdrawn_at is not None:
            found[row.object_id].append(
                truth.Unavailable(recorded_at=row.withdrawn_at, withdrawn=True, **common)
            )
    return found
