"""What pages say of steps begun against a shut gate, and of what such a start still owes."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from django.urls import reverse

from imaging_requests.people.models import Role, User
from imaging_requests.progress.answers import ROWS, Row, Section, clock, count
from imaging_requests.protocols.queries import trigger_table_in_force
from imaging_requests.requesting.words import numbers_of
from imaging_requests.treatments import rules
from imaging_requests.treatments.models import EmergencyOverride, TimesProposal
from imaging_requests.treatments.queries import incomplete_emergencies

#: What a start against a shut gate owes, by the field that holds it.
OWED = {"witness": "the name of a witness", "record_picture": "where its record picture is kept"}


@dataclass(frozen=True)
class Emergency:
    """An emergency start in sentences: what is known of it, and what it owes until when."""

    known: tuple[str, ...]
    owed: str
    is_late: bool
    lacking: tuple[str, ...]


def lacking_of(override: EmergencyOverride) -> tuple[str, ...]:
    """Return the fields that an emergency start has not filled yet."""
    filled = {"witness": override.witness_id, "record_picture": override.record_picture}
    return tuple(name for name in OWED if not filled[name])


def emergency_words(override: EmergencyOverride, now: datetime) -> Emergency:
    """Say who began, who was named as witness, where the record picture is, and what is owed."""
    who = override.conservator.name
    begun = (
        f"Its start was corrected by {who} to a time at which the gate was shut"
        if _is_by_correction(override)
        else f"Begun as an emergency by {who}"
    )
    known = [f"{begun}, {clock(override.recorded_at)}: {override.reason}"]
    if override.lost_views:
        known.append(f"Not accepted before it began: {rules.listed(override.lost_views)}.")
    if override.witness is not None and override.witnessed_at is not None:
        at_once = override.witnessed_at == override.recorded_at
        known.append(
            f"{override.witness.name} countersigned it."
            if _is_by_correction(override)
            else f"{override.witness.name} was named as witness{f' by {who}' if at_once else ''}, "
            f"{clock(override.witnessed_at)}."
        )
    if override.record_picture:
        known.append(f"Record picture: {override.record_picture}. It never counts as a view.")
    lacking = lacking_of(override)
    words, is_late = owed_words(override, lacking, now)
    return Emergency(tuple(known), words, is_late, lacking)


def _is_by_correction(override: EmergencyOverride) -> bool:
    """Whether it stands since times were corrected, not since the step began."""
    if override.witnessed_at != override.recorded_at:
        return False
    return override.intervention.times_proposals.filter(
        state=TimesProposal.State.COUNTERSIGNED, decided_at=override.recorded_at
    ).exists()


def owed_words(
    override: EmergencyOverride, lacking: tuple[str, ...], now: datetime
) -> tuple[str, bool]:
    """Say what an emergency start owes, and whether the time for it is over."""
    if not lacking:
        return "", False
    due = rules.witness_due_at(
        override.recorded_at, within_h=trigger_table_in_force(now).witness_within_h
    )
    is_late = now > due
    until = f"overdue since {clock(due)}" if is_late else f"due by {clock(due)}"
    return f"{rules.listed([OWED[name] for name in lacking])}, {until}", is_late


def emergencies_owed(user: User, now: datetime) -> Section:
    """Emergency starts without a witness's name or a record picture, the oldest first."""
    rows = incomplete_emergencies()
    if not user.has_role(Role.LEAD) and not user.has_role(Role.HEAD):
        rows = rows.filter(conservator=user)
    total = rows.count()
    first = list(rows[:ROWS]) if total else []
    numbers = numbers_of([each.intervention.object_id for each in first]) if first else {}
    return Section(
        answer=f"{count(total, 'emergency start')} {'is' if total == 1 else 'are'} not complete",
        rows=[
            Row(
                text=f"{numbers[each.intervention.object_id]}: {each.intervention.treatment}",
                href=reverse("progress:treatment", args=[each.intervention.treatment_id])
                + f"#step-{each.intervention_id}",
                note=f"{each.conservator.name}; {owed_words(each, lacking_of(each), now)[0]}",
            )
            for each in first
        ],
        is_pressing=bool(first),
        is_hidden=not first,
    )
