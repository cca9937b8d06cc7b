"""Asking whether an older picture is still true, deciding it, reopening and reassigning."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from django.db import transaction
from django.urls import reverse
from django.utils import timezone

from imaging_requests.collection.stale import mark_stale
from imaging_requests.people import audit
from imaging_requests.people.actions import tell
from imaging_requests.people.errors import DomainError
from imaging_requests.people.models import User
from imaging_requests.people.policies import demand
from imaging_requests.people.versions import lock_row, save_row
from imaging_requests.protocols.queries import trigger_table_in_force
from imaging_requests.treatments import rules
from imaging_requests.treatments.actions.plans import demand_change_of_hands, demand_conservator
from imaging_requests.treatments.models import (
    DecisionCase,
    DecisionVerdict,
    Incident,
    Intervention,
    Verdict,
)
from imaging_requests.treatments.policies import DECIDE, REASSIGN, REOPEN_CASE
from imaging_requests.treatments.rules import CaseAct, NewCase

Event = Intervention | Incident


def ask_cases(
    event: Event,
    cases: Sequence[NewCase],
    *,
    assigned_to: User,
    actor: User,
    now: datetime,
    is_complete: bool = False,
) -> list[DecisionCase]:
    """Keep exactly one case for each picture chain and event, inside the caller's transaction.

    With `is_complete` the list is everything the event asks: an open case that is not in it is
    put away, one that was put away before is asked again.
    """
    place = {"intervention" if isinstance(event, Intervention) else "incident": event}
    known = {case.chain: case for case in DecisionCase.objects.select_for_update().filter(**place)}
    asked = [_ask(known.get(new.chain), new, event, place, assigned_to, now) for new in cases]
    if is_complete:
        wanted = {new.chain for new in cases}
        for chain, case in known.items():
            if chain not in wanted and case.state == DecisionCase.State.OPEN:
                case.state = rules.next_case_state(case.state, CaseAct.DROP)
                save_row(case, fields=["state"])
    fresh = [case for case, is_fresh in asked if is_fresh]
    if fresh:
        audit.record(
            "treatments.cases_asked",
            actor=actor,
            subject=event,
            object_id=event.object_id,
            after={"cases": [case.pk for case in fresh], "assigned_to": assigned_to.pk},
            now=now,
        )
        count = len(fresh)
        tell(
            [assigned_to],
            f"{count} older picture{'' if count == 1 else 's'} of {event.object} "
            f"{'waits' if count == 1 else 'wait'} for your decision.",
            reverse("progress:decisions"),
            now=now,
        )
    return [case for case, _ in asked]


def _ask(
    case: DecisionCase | None,
    new: NewCase,
    event: Event,
    place: dict[str, Event],
    assigned_to: User,
    now: datetime,
) -> tuple[DecisionCase, bool]:
    """Return the case and whether it is asked anew."""
    if case is None:
        made = DecisionCase.objects.create(
            object_id=event.object_id,
            chain=new.chain,
            technique=new.technique,
            face=new.face,
            variant=new.variant,
            proposal=new.proposal,
            reason=new.reason,
            assigned_to=assigned_to,
            opened_at=now,
            **place,
        )
        return made, True
    if case.state != DecisionCase.State.DROPPED:
        return case, False
    case.state = rules.next_case_state(case.state, CaseAct.ASK_AGAIN)
    save_row(case, fields=["state"])
    return case, True


@transaction.atomic
def decide_case(
    *,
    actor: User,
    case_id: int,
    read_version: int,
    verdict: str,
    reason: str,
    now: datetime | None = None,
) -> DecisionVerdict:
    """Decide whether an older picture is still true, with a reason others can follow."""
    now = now or timezone.now()
    case = lock_row(DecisionCase, case_id, read_version=read_version)
    demand(actor, DECIDE, case)
    case.state = rules.next_case_state(case.state, CaseAct.DECIDE)
    if verdict not in (Verdict.VALID, Verdict.OUT_OF_DATE):
        raise DomainError(
            "A decision says “still valid” or “out of date”.",
            code="treatments.unknown_verdict",
            next_step="Choose one of the two.",
        )
    words = rules.demand_reason(reason, at_least=trigger_table_in_force(now).min_reason_length)
    return _answer(case, verdict, words, actor=actor, code="treatments.decided", now=now)


@transaction.atomic
def reopen_case(
    *,
    actor: User,
    case_id: int,
    read_version: int,
    reason: str,
    now: datetime | None = None,
) -> DecisionVerdict:
    """Open a decided question again: a later fact, or a colleague who sees it otherwise."""
    now = now or timezone.now()
    case = lock_row(DecisionCase, case_id, read_version=read_version)
    demand(actor, REOPEN_CASE, case)
    case.state = rules.next_case_state(case.state, CaseAct.REOPEN)
    words = rules.demand_reason(reason, at_least=trigger_table_in_force(now).min_reason_length)
    answer = _answer(
        case, Verdict.REOPENED, words, actor=actor, code="treatments.case_reopened", now=now
    )
    if actor.pk != case.assigned_to_id:
        said = f"{actor.name} reopened a decision of yours: {words}"
        tell([case.assigned_to], said, reverse("progress:decisions"), now=now)
    return answer


def _answer(
    case: DecisionCase, verdict: str, words: str, *, actor: User, code: str, now: datetime
) -> DecisionVerdict:
    save_row(case, fields=["state"])
    answer = DecisionVerdict.objects.create(
        case=case, verdict=verdict, reason=words, by=actor, recorded_at=now
    )
    audit.record(
        code,
        actor=actor,
        subject=case,
        object_id=case.object_id,
        after={"verdict": verdict, "state": case.state},
        reason=words,
        now=now,
    )
    mark_stale({case.object_id}, code)
    return answer


@transaction.atomic
def reassign_case(
    *,
    actor: User,
    case_id: int,
    read_version: int,
    conservator_id: int,
    reason: str,
    now: datetime | None = None,
) -> DecisionCase:
    """Give an open question to another conservator, and say why."""
    now = now or timezone.now()
    conservator = demand_conservator(conservator_id)
    case = lock_row(
        DecisionCase, case_id, read_version=read_version, wanted={"assigned_to": conservator}
    )
    demand(actor, REASSIGN, case)
    rules.next_case_state(case.state, CaseAct.REASSIGN)
    words = demand_change_of_hands(case.assigned_to, conservator, reason, now)
    giver, case.assigned_to = case.assigned_to, conservator
    save_row(case, fields=["assigned_to"])
    audit.record(
        "treatments.case_reassigned",
        actor=actor,
        subject=case,
        object_id=case.object_id,
        before={"assigned_to": giver.pk},
        after={"assigned_to": conservator.pk},
        reason=words,
        now=now,
    )
    page = reverse("progress:decisions")
    said = f"{actor.name} gave you a decision on {case.object}: {words}"
    tell([conservator], said, page, now=now)
    said = f"{actor.name} gave a decision on {case.object} to {conservator.name}: {words}"
    tell([giver], said, page, now=now)
    return case
