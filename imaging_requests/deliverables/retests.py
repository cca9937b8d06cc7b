"""Test and retest pairs: what a station's pictures differ by although nothing was done."""

from __future__ import annotations

from imaging_requests.deliverables.models import (
    Comparison,
    Deliverable,
    DeliverableState,
    RetestPair,
)
from imaging_requests.imaging.comparison.terms import VISIBLE
from imaging_requests.treatments.models import Intervention


def floor_unit(technique: str) -> str:
    """Return the unit of a noise floor.

    >>> floor_unit("VF"), floor_unit("UV")
    ('ΔE00', '%')
    """
    return "ΔE00" if technique in VISIBLE else "%"


def station_of(row: Deliverable) -> int | None:
    """Return the station a picture was shot at, if that is known."""
    return None if row.shot_line is None else row.shot_line.session.station_id


def retest_for(before: Deliverable, after: Deliverable) -> RetestPair | None:
    """Return the newest retest of the station that both pictures were shot at."""
    station = station_of(before)
    if station is None or station != station_of(after):
        return None
    return (
        RetestPair.objects.filter(station=station, technique=before.technique)
        .exclude(comparison__before=before, comparison__after=after)
        .order_by("-recorded_at", "-pk")
        .first()
    )


def why_no_retest(row: Comparison) -> str:
    """Return why two pictures cannot stand for the noise of a station; empty if they can."""
    before, after = row.before, row.after
    station = station_of(before)
    if station is None or station != station_of(after):
        return "the two pictures were not shot at one station, or it is not recorded."
    if {before.state, after.state} != {DeliverableState.ACCEPTED}:
        return "both pictures must be accepted first."
    if row.noise_floor is None:
        return "no map could be computed of this pair."
    done = Intervention.objects.filter(
        object_id=before.object_id,
        started_at__lte=after.captured_at,
        finished_at__gte=before.captured_at,
    )
    if done.exists():
        return "something was done to the object in between."
    if RetestPair.objects.filter(comparison=row).exists():
        return "it is kept as one already."
    return ""
