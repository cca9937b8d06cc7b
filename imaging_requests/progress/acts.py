"""Acts that span several rooms: what a treatment step needs to know of pictures, under one lock.

A step is started or finished by the treatments room; whether it may and which questions
it raises follows from pictures, which that room does not know. Here the object's row is locked,
its case file gathered, the rules asked, and the answer handed inward.
"""

from __future__ import annotations

import uuid
from collections.abc import Iterable
from dataclasses import replace
from datetime import datetime

from django.db import transaction
from django.utils import timezone

from imaging_requests.collection.actions import create_entry, create_object, put_into_entry
from imaging_requests.collection.models import Catalogue, CollectionObject, Entry
from imaging_requests.people.errors import DomainError
from imaging_requests.people.models import User
from imaging_requests.progress.gates import event_of, gate_of, say_loss, scope_lines
from imaging_requests.progress.gather import gather_cases
from imaging_requests.progress.names import speech_for
from imaging_requests.progress.settle import rederive
from imaging_requests.protocols.actions import pin_new_entry
from imaging_requests.reckoning.truth.changes import Changes, meaning_changes
from imaging_requests.reckoning.truth.decisions import Case, cases_after
from imaging_requests.reckoning.truth.facts import Event
from imaging_requests.reckoning.truth.gate import GateState, with_event
from imaging_requests.reckoning.truth.moment import Moment, look
from imaging_requests.reckoning.truth.terms import Validity, face_of
from imaging_requests.reckoning.truth.words import Speech, capital, inside, name_anchor, name_view
from imaging_requests.treatments import actions as treatments
from imaging_requests.treatments.events import INCIDENT_ROW, order_of
from imaging_requests.treatments.models import Incident, Intervention
from imaging_requests.treatments.rules import EmergencyStart, GateAnswer, NewCase, listed


def locked_object(object_id: int) -> None:
    """Lock the row that keeps two acts on one object apart."""
    CollectionObject.objects.select_for_update().get(pk=object_id)


def moment_of(object_id: int, *, speech: Speech, t: datetime, u: datetime) -> Moment:
    """Read one object at a pair of times."""
    return look(gather_cases([object_id])[object_id], speech.tables, t=t, u=u)


def step_of(intervention_id: int) -> Intervention:
    """Return a step with its treatment."""
    return Intervention.objects.select_related("treatment").get(pk=intervention_id)


def known_event(moment: Moment, step: Intervention) -> Event:
    """Return a step as the rules know it, or refuse in words."""
    event = event_of(moment, step)
    if event is None:
        raise DomainError(
            "This step is not known to the rules yet.",
            code="progress.unknown_step",
            next_step="Load the page again.",
        )
    return event


def gate_answer(step: Intervention, *, at: datetime, now: datetime, speech: Speech) -> GateAnswer:
    """Ask the gate of a step at an instant, as known now; a start on record is left out."""
    case = gather_cases([step.object_id])[step.object_id]
    today = look(case, speech.tables, t=now, u=now)
    if step.started_at is not None:
        event = known_event(today, step)
        planned = replace(event, started_at=None, ended_at=None, recorded_at=now)
        case = with_event(case, planned)
    moment = look(case, speech.tables, t=at, u=now)
    found = gate_of(moment, step, scope=scope_lines(today, step.treatment_id))
    if found is None:
        raise DomainError(
            "The gate of this step cannot be asked yet.",
            code="progress.no_gate",
            next_step="Load the page again.",
        )
    return GateAnswer(
        intervention_id=step.pk,
        at=at,
        is_open=found.state is GateState.OPEN,
        missing=tuple(say_loss(each, speech) for each in found.missing),
    )


@transaction.atomic
def start_step(
    *,
    actor: User,
    intervention_id: int,
    read_version: int,
    started_at: datetime,
    emergency: EmergencyStart | None = None,
    now: datetime | None = None,
) -> Intervention:
    """Start a step if its gate is open at that instant, or as an emergency with two names."""
    now = now or timezone.now()
    step = step_of(intervention_id)
    locked_object(step.object_id)
    rederive([step.object_id], now=now)
    speech = speech_for([step.object_id])
    return treatments.start_intervention(
        actor=actor,
        intervention_id=intervention_id,
        read_version=read_version,
        started_at=started_at,
        gate=gate_answer(step, at=started_at, now=now, speech=speech),
        emergency=emergency,
        now=now,
    )


def new_cases(cases: Iterable[Case], speech: Speech) -> list[NewCase]:
    """Put the questions that an event raises into the words of the treatments room."""
    return [
        NewCase(
            chain=uuid.UUID(case.chain),
            technique=case.picture.technique,
            face=face_of(case.picture.surface),
            variant=case.picture.variant,
            proposal="valid" if case.proposal is Validity.VALID else "out_of_date",
            reason=question_of(case, speech),
        )
        for case in cases
    ]


def question_of(case: Case, speech: Speech) -> str:
    """Say what was done, and ask whether a picture is still true."""
    row = speech.tables[case.event.table_version].row(case.event.row)
    words = inside(name_view(case.picture))
    captured = speech.day(case.picture.captured_at)
    return (
        f"{capital(speech.dated(case.event))}. Is {words}, captured on {captured}, "
        f"still true? {capital(row.reason)}."
    )


@transaction.atomic
def finish_step(
    *,
    actor: User,
    intervention_id: int,
    read_version: int,
    finished_at: datetime,
    now: datetime | None = None,
) -> Intervention:
    """Finish a step and open exactly one question for each picture it puts in doubt."""
    now = now or timezone.now()
    step = step_of(intervention_id)
    locked_object(step.object_id)
    speech = speech_for([step.object_id])
    moment = moment_of(step.object_id, speech=speech, t=now, u=now)
    ended = replace(known_event(moment, step), ended_at=finished_at, recorded_at=now)
    then = look(with_event(moment.case, ended), speech.tables, t=now, u=now)
    return treatments.finish_intervention(
        actor=actor,
        intervention_id=intervention_id,
        read_version=read_version,
        finished_at=finished_at,
        cases=new_cases(cases_after(then, ended.key), speech),
        now=now,
    )


def correction_changes(
    step: Intervention,
    *,
    started_at: datetime | None,
    finished_at: datetime | None,
    now: datetime,
    speech: Speech,
) -> Changes:
    """List what other times of a step would change, before anything is saved."""
    moment = moment_of(step.object_id, speech=speech, t=now, u=now)
    proposed = replace(
        known_event(moment, step), started_at=started_at, ended_at=finished_at, recorded_at=now
    )
    return meaning_changes(moment, proposed)


@transaction.atomic
def record_incident(
    *,
    actor: User,
    object_id: int,
    kind: str,
    occurred_at: datetime,
    assigned_to_id: int,
    note: str = "",
    now: datetime | None = None,
) -> Incident:
    """Record an incident and ask a conservator about every picture it puts in doubt."""
    now = now or timezone.now()
    locked_object(object_id)
    speech = speech_for([object_id])
    case = gather_cases([object_id])[object_id]
    happened = _incident(occurred_at, speech=speech, now=now)
    then = look(with_event(case, happened), speech.tables, t=now, u=now)
    return treatments.record_incident(
        actor=actor,
        object_id=object_id,
        kind=kind,
        occurred_at=occurred_at,
        assigned_to_id=assigned_to_id,
        note=note,
        cases=new_cases(cases_after(then, happened.key), speech),
        now=now,
    )


def _incident(occurred_at: datetime, *, speech: Speech, now: datetime) -> Event:
    """An incident that is about to be recorded."""
    return Event(
        key="incident",
        recorded_at=now,
        order=order_of(now),
        row=INCIDENT_ROW,
        table_version=max(speech.tables),
        started_at=occurred_at,
        ended_at=occurred_at,
    )


def incident_sentences(object_id: int, *, occurred_at: datetime, now: datetime) -> tuple[str, ...]:
    """Say what an incident entered late changes about pictures made since, before it is saved."""
    speech = speech_for([object_id])
    moment = moment_of(object_id, speech=speech, t=now, u=now)
    changes = meaning_changes(moment, _incident(occurred_at, speech=speech, now=now))
    return tuple(
        f"{capital(inside(name_view(change.picture)))}, "
        f"captured on {speech.day(change.picture.captured_at)}, "
        "will count as made after the incident, not before it."
        for change in changes.pictures
        if change.picture.captured_at >= occurred_at
    )


def correction_sentences(
    step: Intervention,
    *,
    started_at: datetime | None,
    finished_at: datetime | None,
    now: datetime,
    is_correction: bool,
) -> tuple[str, ...]:
    """Say what recorded times would change about pictures made since, before they are saved.

    A correction without a start takes the step back.
    For a start or an end that is entered as it happens nothing is listed: only pictures whose
    place in the object's history changes are worth a warning.
    """
    if started_at is None and not is_correction:
        return ()
    speech = speech_for([step.object_id])
    changes = correction_changes(
        step, started_at=started_at, finished_at=finished_at, now=now, speech=speech
    )
    since = [
        change.picture
        for change in changes.pictures
        if is_correction or change.picture.captured_at >= (finished_at or started_at or now)
    ]
    turn = (
        "will count as made while this step was under way, not before it."
        if finished_at is None and not is_correction
        else "will show another state than it is believed to show now."
    )
    sentences = [
        f"{capital(inside(name_view(picture)))}, "
        f"captured on {speech.day(picture.captured_at)}, {turn}"
        for picture in since
    ]
    if is_correction and started_at is not None and started_at != step.started_at:
        sentences += shut_then(step, started_at=started_at, now=now, speech=speech)
    if is_correction:
        sentences += [
            f"{name_view(view)} {name_anchor(view.anchor, speech)}: {before} now, "
            f"{then} afterwards."
            for view, before, then in (
                (
                    (change.then or change.before).view,  # type: ignore[union-attr]
                    str(change.before.status).replace("_", " ") if change.before else "not owed",
                    str(change.then.status).replace("_", " ") if change.then else "not owed",
                )
                for change in changes.views
            )
        ]
    return tuple(sentences)


def shut_then(
    step: Intervention, *, started_at: datetime, now: datetime, speech: Speech
) -> list[str]:
    """Say what was not accepted at a corrected start, and what countersigning then means."""
    answer = gate_answer(step, at=started_at, now=now, speech=speech)
    if answer.is_open:
        return []
    return [
        "At that time the gate was shut. Not accepted before it: "
        f"{listed(answer.missing)}. Once countersigned it stands as a start against a shut gate, "
        "and the two who sign answer for it; what was not captured before it is lost."
    ]


@transaction.atomic
def add_entry(
    *,
    actor: User,
    catalogue: Catalogue,
    number: str,
    title: str,
    curator: User | None,
    weight: int,
    now: datetime | None = None,
) -> Entry:
    """Add an entry that follows the newest published protocol from the beginning."""
    entry = create_entry(
        actor=actor,
        catalogue=catalogue,
        number=number,
        title=title,
        curator=curator,
        weight=weight,
        now=now,
    )
    pin_new_entry(actor=actor, entry=entry, now=now)
    return entry


@transaction.atomic
def put_object(
    *,
    actor: User,
    entry: Entry,
    number: str,
    title: str,
    kind: str,
    part_of: CollectionObject | None,
    owner: str,
    consent_needed: str,
    now: datetime | None = None,
) -> CollectionObject:
    """Put an object into an entry; a number that is not known yet registers a new object."""
    thing = CollectionObject.objects.filter(numbers__number__iexact=number.strip()).first()
    if thing is None:
        if not title.strip():
            raise DomainError(
                f"No object has the number {number}, and a new one needs a title.",
                code="progress.title_missing",
                next_step="Check the number, or give the title to register the object.",
            )
        thing = create_object(
            actor=actor,
            title=title,
            number=number,
            kind=kind,
            part_of=part_of,
            owner=owner,
            consent_needed=consent_needed,
            now=now,
        )
    position = entry.entry_objects.filter(removed_at=None).count() + 1
    put_into_entry(actor=actor, entry_id=entry.pk, object_id=thing.pk, position=position, now=now)
    return thing
