"""Write down treatments' steps and times away, as rows and as facts that the rules read."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta

from imaging_requests.collection.models import Unavailability
from imaging_requests.demo.large import rows as tables
from imaging_requests.demo.large.ground import Rules
from imaging_requests.demo.large.rows import Rows
from imaging_requests.demo.large.subjects import Subject
from imaging_requests.reckoning.truth import facts as truth
from imaging_requests.treatments.events import step_event
from imaging_requests.treatments.models import Intervention

AWAY_NOW = 0.03
AWAY_ONCE = 0.06


def keep_courses(subject: Subject, rules: Rules, rows: Rows) -> None:
    """Write the steps of every treatment; the treatments themselves follow when all is decided."""
    subject.note("published", *rules.numbers)
    for course in subject.courses:
        for step in course.steps:
            _step_rows(step, course.treatment.conservator_id, rows)
            subject.note("events", *_events(step, rules))


def _step_rows(step: Intervention, by: int, rows: Rows) -> None:
    rows.add(
        tables.STEPS,
        step.pk,
        step.treatment_id,
        step.object_id,
        step.step,
        step.type_row,
        str(step.state),
        step.planned_on,
        step.started_at,
        step.finished_at,
        step.recorded_at,
    )
    if step.started_at is not None:
        rows.add(
            tables.STEP_RECORDS,
            step.pk,
            step.pk,
            _record_at(step),
            by,
            str(step.state),
            step.started_at,
            step.finished_at,
        )


def _record_at(step: Intervention) -> datetime:
    """A step is recorded half an hour after it began or ended."""
    at = step.finished_at or step.started_at
    assert at is not None
    return at + timedelta(minutes=30)


def _events(step: Intervention, rules: Rules) -> list[truth.Event]:
    """A step as it was planned, and as it was recorded once it had begun."""
    planned = step_event(step, rules.numbers)
    if step.started_at is None:
        return [planned]
    begun = replace(
        planned,
        recorded_at=_record_at(step),
        started_at=step.started_at,
        ended_at=step.finished_at,
    )
    return [planned, begun]


def keep_absences(subject: Subject, rows: Rows, *, now: datetime) -> None:
    """Let a few objects be on loan now, and some long ago."""
    luck = subject.dice.random()
    if luck > AWAY_NOW + AWAY_ONCE:
        return
    since = now - timedelta(days=20 if luck < AWAY_NOW else 700)
    until = since + timedelta(days=subject.dice.randint(30, 150))
    pk = rows.key(tables.AWAY)
    reason = str(Unavailability.Reason.LOAN)
    recorded_at = since - timedelta(days=5)
    rows.add(tables.AWAY, pk, subject.pk, reason, since, until, recorded_at)
    subject.note(
        "unavailable",
        truth.Unavailable(
            key=f"u-{pk}",
            recorded_at=recorded_at,
            kind=Unavailability.Reason.LOAN.in_a_sentence,
            starts_at=since,
            ends_at=until,
        ),
    )
