"""Correcting the times of a step: proposed with what would change, countersigned under one lock."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime

from django.db import transaction
from django.utils import timezone

from imaging_requests.people.models import User
from imaging_requests.progress.acts import (
    correction_sentences,
    gate_answer,
    known_event,
    locked_object,
    moment_of,
    new_cases,
    step_of,
)
from imaging_requests.progress.names import speech_for
from imaging_requests.reckoning.truth.decisions import cases_after
from imaging_requests.reckoning.truth.gate import with_event
from imaging_requests.reckoning.truth.moment import look
from imaging_requests.treatments import actions as treatments
from imaging_requests.treatments.models import Intervention, TimesProposal


def proposal_sentences(proposal: TimesProposal, *, now: datetime) -> tuple[str, ...]:
    """Say what proposed times would change, as things stand now."""
    return correction_sentences(
        proposal.intervention,
        started_at=proposal.started_at,
        finished_at=proposal.finished_at,
        now=now,
        is_correction=True,
    )


@transaction.atomic
def propose_step_times(
    *,
    actor: User,
    intervention_id: int,
    read_version: int,
    started_at: datetime,
    finished_at: datetime | None,
    reason: str,
    now: datetime | None = None,
) -> TimesProposal:
    """Propose other times for a step; the list of what they would change is kept with them."""
    now = now or timezone.now()
    step = step_of(intervention_id)
    locked_object(step.object_id)
    changes = correction_sentences(
        step, started_at=started_at, finished_at=finished_at, now=now, is_correction=True
    )
    return treatments.propose_times(
        actor=actor,
        intervention_id=intervention_id,
        read_version=read_version,
        started_at=started_at,
        finished_at=finished_at,
        reason=reason,
        changes=changes,
        now=now,
    )


@transaction.atomic
def countersign_step_times(
    *, actor: User, proposal_id: int, read_version: int, now: datetime | None = None
) -> Intervention:
    """Put proposed times into force; questions follow the corrected history."""
    now = now or timezone.now()
    proposal = TimesProposal.objects.select_related("intervention").get(pk=proposal_id)
    step = proposal.intervention
    locked_object(step.object_id)
    speech = speech_for([step.object_id])
    moment = moment_of(step.object_id, speech=speech, t=now, u=now)
    corrected = replace(
        known_event(moment, step),
        started_at=proposal.started_at,
        ended_at=proposal.finished_at,
        recorded_at=now,
    )
    then = look(with_event(moment.case, corrected), speech.tables, t=now, u=now)
    is_moved = proposal.started_at != step.started_at
    return treatments.countersign_times(
        actor=actor,
        proposal_id=proposal_id,
        read_version=read_version,
        gate=gate_answer(step, at=proposal.started_at, now=now, speech=speech)
        if is_moved
        else None,
        cases=new_cases(cases_after(then, corrected.key), speech),
        now=now,
    )
