"""When something can be captured: shots of confirmed sessions, and when an object cannot be had."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import replace
from datetime import datetime
from typing import Any

from django.db.models import Min

from imaging_requests.campaigns.models import SessionState, ShotLine, ShotLineState
from imaging_requests.collection.models import Unavailability
from imaging_requests.deliverables.models import Deliverable
from imaging_requests.progress.gather.by_object import ByObject
from imaging_requests.reckoning.truth import facts as truth


def planned_of(ids: list[int]) -> ByObject[truth.PlannedShot]:
    """Return the shots of confirmed sessions, those given back also as such.

    A line that is done keeps its plan until its picture is begun from its first files, however
    long its session has been over by then.
    """
    found: ByObject[truth.PlannedShot] = defaultdict(list)
    begun = _pictures_begun(ids)
    through = ShotLine.owed_views.through
    rows = (
        through._default_manager.filter(
            shotline__object_id__in=ids, shotline__session__confirmed_at__isnull=False
        )
        .values_list(
            "pk",
            "owedview_id",
            "shotline__object_id",
            "shotline_id",
            "shotline__expected_files",
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
        line_id,
        expected_files,
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
        planned = truth.PlannedShot(
            key=f"s-{pk}",
            recorded_at=confirmed_at,
            view=str(view_id),
            session=f"session {session_id}",
            confirmed_at=confirmed_at,
            session_starts_at=starts_at,
            session_ends_at=ends_at,
        )
        found[object_id].append(planned)
        if line_state == ShotLineState.DONE and decided_at is not None and cancelled_at is None:
            found[object_id] += _shot(planned, decided_at, begun.get(line_id), expected_files)
            continue
        released = [instant for instant in (cancelled_at, closed_at) if instant is not None]
        if line_state != "planned" and decided_at is not None:
            released.append(decided_at)
        if session_state == SessionState.CANCELLED and not released:
            released.append(confirmed_at)
        if released:
            ended = min(released)
            found[object_id].append(replace(planned, recorded_at=ended, released_at=ended))
    return found


def _shot(
    planned: truth.PlannedShot, done_at: datetime, begun_at: datetime | None, expected_files: int
) -> list[truth.PlannedShot]:
    """What is known from the moment a line was done, and from when its first files came."""
    if begun_at is not None and begun_at <= done_at:
        return [replace(planned, recorded_at=done_at, released_at=done_at)]
    shot = replace(
        planned,
        recorded_at=done_at,
        session_ends_at=None,
        shot_at=done_at,
        files_awaited=expected_files,
    )
    if begun_at is None:
        return [shot]
    return [shot, replace(shot, recorded_at=begun_at, released_at=begun_at)]


def _pictures_begun(ids: list[int]) -> dict[int, datetime]:
    """When the first picture of each line was begun."""
    rows = (
        Deliverable.objects.filter(object_id__in=ids, shot_line__isnull=False)
        .order_by()
        .values("shot_line")
        .annotate(begun=Min("created_at"))
    )
    return dict(rows.values_list("shot_line", "begun"))


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
