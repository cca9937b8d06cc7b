"""What an object is, what was done to it, and what conservators decided about it."""

from __future__ import annotations

from collections import defaultdict
from typing import Any

from django.db.models import F

from imaging_requests.collection.models import ObjectFacts
from imaging_requests.collection.rules import layers_of
from imaging_requests.progress.gather.by_object import ByObject
from imaging_requests.reckoning.truth import facts as truth
from imaging_requests.reckoning.truth.terms import Validity
from imaging_requests.treatments.events import (
    Published,
    event_key,
    incident_event,
    incident_key,
    step_event,
)
from imaging_requests.treatments.models import (
    DecisionCase,
    DecisionVerdict,
    EmergencyOverride,
    Incident,
    Intervention,
    InterventionRecord,
    InterventionState,
)


def facts_of(ids: list[int]) -> ByObject[truth.ObjectFacts]:
    """Return every record of what the objects are."""
    found: ByObject[truth.ObjectFacts] = defaultdict(list)
    for row in ObjectFacts.objects.filter(object_id__in=ids).annotate(kind=F("object__kind")):
        found[row.object_id].append(
            truth.ObjectFacts(
                key=f"f-{row.pk}",
                recorded_at=row.recorded_at,
                valid_from=row.valid_from,
                kind=row.kind,
                two_sided=row.painted_faces == "FB",
                height_mm=row.height_mm,
                width_mm=row.width_mm,
                depth_mm=row.depth_mm,
                warp_mm=row.warp_mm,
                support=row.support or None,
                framed=row.framed,
                glazed=row.glazed,
                light_class=row.light_class or None,
                layers=layers_of(is_lined=row.is_lined),
            )
        )
    return found


def events_of(ids: list[int], published: Published) -> ByObject[truth.Event]:
    """Return steps with each record of their times, and incidents."""
    found: ByObject[truth.Event] = defaultdict(list)
    records: dict[int, list[InterventionRecord]] = defaultdict(list)
    for record in InterventionRecord.objects.filter(intervention__object_id__in=ids):
        records[record.intervention_id].append(record)
    for step in Intervention.objects.filter(object_id__in=ids):
        found[step.object_id].append(step_event(step, published))
        for record in records.get(step.pk, ()):
            dropped = record.state == InterventionState.DROPPED
            found[step.object_id].append(
                step_event(
                    step,
                    published,
                    recorded_at=record.recorded_at,
                    started_at=record.started_at,
                    ended_at=record.finished_at,
                    dropped_at=record.recorded_at if dropped else None,
                )
            )
    for incident in Incident.objects.filter(object_id__in=ids):
        found[incident.object_id].append(incident_event(incident, published))
    return found


def decisions_of(ids: list[int]) -> ByObject[truth.Decision]:
    """Return the questions asked about older pictures, each with its answers."""
    verdicts: dict[int, list[DecisionVerdict]] = defaultdict(list)
    for verdict in DecisionVerdict.objects.filter(case__object_id__in=ids):
        verdicts[verdict.case_id].append(verdict)
    found: ByObject[truth.Decision] = defaultdict(list)
    for case in DecisionCase.objects.filter(object_id__in=ids):
        event = (
            event_key(case.intervention_id)
            if case.intervention_id is not None
            else incident_key(case.incident_id or 0)
        )
        common: dict[str, Any] = {
            "chain": str(case.chain),
            "event": event,
            "opened_at": case.opened_at,
        }
        opening = truth.Decision(key=f"c-{case.pk}", recorded_at=case.opened_at, **common)
        found[case.object_id].append(opening)
        for verdict in verdicts.get(case.pk, ()):
            reopened = verdict.verdict == "reopened"
            found[case.object_id].append(
                truth.Decision(
                    key=f"c-{case.pk}-{verdict.pk}",
                    recorded_at=verdict.recorded_at,
                    verdict=None if reopened else Validity(verdict.verdict),
                    decided_at=verdict.recorded_at,
                    by=str(verdict.by_id),
                    reason=verdict.reason,
                    **common,
                )
            )
    return found


def overrides_of(ids: list[int]) -> ByObject[truth.Override]:
    """Return the emergency starts against a shut gate."""
    found: ByObject[truth.Override] = defaultdict(list)
    rows = EmergencyOverride.objects.filter(intervention__object_id__in=ids).select_related(
        "intervention"
    )
    for row in rows:
        step = row.intervention
        found[step.object_id].append(
            truth.Override(
                key=f"o-{row.pk}",
                recorded_at=row.recorded_at,
                event=event_key(step.pk),
                at=step.started_at or row.recorded_at,
                conservator=str(row.conservator_id),
                witness=str(row.witness_id or ""),
                witness_named_at=row.witnessed_at,
            )
        )
    return found
