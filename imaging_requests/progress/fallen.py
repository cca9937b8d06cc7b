"""An entry that was further already: what treatments have undone of it, and since when."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from django.utils import timezone

from imaging_requests.people.counting import number_of
from imaging_requests.progress.models import ViewStatus
from imaging_requests.progress.shown import ShownView
from imaging_requests.protocols.queries import trigger_tables
from imaging_requests.reckoning.truth.terms import Status
from imaging_requests.reckoning.truth.triggers import TriggerTable
from imaging_requests.treatments.events import event_key
from imaging_requests.treatments.models import Intervention, InterventionState

UNDONE = {
    Status.OUT_OF_DATE: ("is out of date", "are out of date"),
    Status.UNDECIDED: ("waits for a decision", "wait for a decision"),
}


@dataclass(frozen=True)
class Fallen:
    """What happened, and what it did to the pictures, in words."""

    because: str
    counted: str


def fallen_back(views: Sequence[ShownView], object_ids: Iterable[int]) -> Fallen | None:
    """Say what made present pictures untrue or doubtful; None if every one is true."""
    present = [view for view in views if view.is_present]
    undone = {view.pk: Status(view.status) for view in present if view.status in UNDONE}
    if not undone:
        return None
    reasons = ViewStatus.objects.filter(pk__in=undone).values_list("reason", flat=True)
    keys = {key for reason in reasons for key in reason.get("events", [])}
    steps = [
        step
        for step in Intervention.objects.filter(
            object__in=list(object_ids), state=InterventionState.FINISHED
        )
        .select_related("treatment")
        .order_by("finished_at")
        if event_key(step.pk) in keys
    ]
    tables = trigger_tables()
    said = list(dict.fromkeys(_said(step, tables) for step in steps))
    parts = []
    for status, (one, many) in UNDONE.items():
        number = sum(each is status for each in undone.values())
        if number:
            parts.append(f"{number} {one if number == 1 else many}")
    made = sum(view.picture is not None for view in present)
    return Fallen(
        because=" and ".join(said) or "something was done to it",
        counted=f"Counting pictures alone would say {made} of "
        f"{number_of(len(present), 'present view')}; of these {' and '.join(parts)}.",
    )


def _said(step: Intervention, tables: Mapping[int, TriggerTable]) -> str:
    """What a step did: by its own short name, else as the newest table that knows it says."""
    rows = [table.rows[step.type_row] for table in tables.values() if step.type_row in table.rows]
    what = step.label or (rows[-1].said if rows else f"step {step.step} of {step.treatment.code}")
    joint = "" if what.endswith(" on") else " on"
    day = timezone.localtime(step.finished_at) if step.finished_at else None
    return f"{what}{joint} {day:%-d %b %Y}" if day else what
