"""Steps and incidents as the rules of truth read them; one place for every room that asks."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, date, datetime, time
from functools import lru_cache
from typing import Any

from imaging_requests.protocols.models import TriggerTableVersion, VersionState
from imaging_requests.reckoning.truth.facts import Event
from imaging_requests.treatments.models import Incident, Intervention

INCIDENT_ROW = 32
Published = Sequence[tuple[datetime, int]]


_DIRECTIONS = {"on": True, "off": False}


def event_key(intervention_id: int) -> str:
    """Return the key by which the rules know an intervention."""
    return f"i-{intervention_id}"


def incident_key(incident_id: int) -> str:
    """Return the key by which the rules know an incident."""
    return f"n-{incident_id}"


def order_of(recorded_at: datetime) -> int:
    """Return the journal number of a first record: it breaks ties between events."""
    return int(recorded_at.timestamp() * 1_000_000)


@lru_cache(maxsize=4096)
def start_of(day: date | None) -> datetime | None:
    """Return the instant at which a planned day begins."""
    return None if day is None else datetime.combine(day, time(0), tzinfo=UTC)


def published_tables() -> Published:
    """Return the numbers of the published trigger tables with their instants, oldest first."""
    rows = (
        TriggerTableVersion.objects.exclude(state=VersionState.DRAFT)
        .order_by("published_at")
        .values_list("published_at", "number")
    )
    return [(published_at, number) for published_at, number in rows if published_at is not None]


def table_at(published: Published, instant: datetime) -> int:
    """Return the table in force at an instant; before any, the first."""
    number = published[0][1] if published else 1
    for published_at, candidate in published:
        if published_at <= instant:
            number = candidate
    return number


def step_event(step: Intervention, published: Published, **record: Any) -> Event:
    """Return a step as an event; `record` holds what one record says of its times.

    Which table judges it depends on when it is asked about; a case file that says when tables were
    published answers that. The version given here is the one in force when the step was entered.
    """
    recorded_at = step.recorded_at
    values: dict[str, Any] = {
        "recorded_at": recorded_at,
        "planned_start_at": start_of(step.planned_on),
        "exposure_until": step.exposure_until,
        "area_cm2": step.area_cm2,
        "area_pct": step.area_percent,
    }
    return Event(
        key=event_key(step.pk),
        order=order_of(recorded_at),
        row=step.type_row,
        table_version=table_at(published, recorded_at),
        face=step.face,
        puts_on=_DIRECTIONS.get(step.direction),
        treatment=str(step.treatment_id),
        phase=step.phase,
        step=step.step,
        label=step.label,
        **(values | record),
    )


def incident_event(incident: Incident, published: Published) -> Event:
    """Return an incident as an event."""
    return Event(
        key=incident_key(incident.pk),
        recorded_at=incident.recorded_at,
        order=order_of(incident.recorded_at),
        row=INCIDENT_ROW,
        table_version=table_at(published, incident.recorded_at),
        started_at=incident.occurred_at,
        ended_at=incident.occurred_at,
        label=incident.get_kind_display(),
    )
