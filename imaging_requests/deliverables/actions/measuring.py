"""Asking for the measuring of a picture, and keeping what was found."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from datetime import datetime

from django.db import transaction

from imaging_requests.deliverables.queries import MEASURE
from imaging_requests.imaging.measure.finding import Finding
from imaging_requests.intake.jobs import enqueue
from imaging_requests.intake.models import FileCheck

QUEUE = "pixels"


def ask_to_measure(shot_line_id: int, *, because: str = MEASURE) -> None:
    """Ask for the picture of a shot line to be measured, again if it was before.

    A picture is not accepted before it was measured because its frames changed; what is stated
    later is held against the marker in the background.
    """
    enqueue(MEASURE, shot_line_id, key=f"{because}:{shot_line_id}", queue=QUEUE, again=True)


@transaction.atomic
def keep_measurements(
    *,
    found: Iterable[tuple[int, Finding]],
    frame_ids: Collection[int],
    rules: Collection[str],
    now: datetime,
) -> None:
    """Replace what was found on frames by these rules."""
    FileCheck.objects.filter(frame__in=list(frame_ids), rule__in=list(rules)).delete()
    for frame_id, finding in found:
        FileCheck.objects.update_or_create(
            frame_id=frame_id,
            rule=finding.rule_id,
            rule_version=finding.rule_version,
            defaults={
                "value": "" if finding.value is None else f"{finding.value:g}",
                "unit": finding.unit[:60],
                "limit": finding.limit[:240],
                "verdict": finding.outcome.value,
                "sentence": finding.sentence,
                "place_px": None if finding.place is None else finding.place.as_list(),
                "checked_at": now,
            },
        )
