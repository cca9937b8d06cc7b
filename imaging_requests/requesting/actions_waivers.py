"""Writes about waivers: proposing, signing one by one, refusing, granting, ending."""

from __future__ import annotations

from datetime import datetime

from django.db import transaction
from django.urls import reverse
from django.utils import timezone

from imaging_requests.collection.models import CollectionObject
from imaging_requests.collection.stale import mark_stale
from imaging_requests.people import audit
from imaging_requests.people.actions import tell
from imaging_requests.people.errors import DomainError, IllegalStep
from imaging_requests.people.models import Role, User
from imaging_requests.people.policies import demand
from imaging_requests.people.queries import holders
from imaging_requests.people.versions import lock_row, save_row
from imaging_requests.requesting import rules
from imaging_requests.requesting.last_looks import last_look_step
from imaging_requests.requesting.models import (
    OwedView,
    Waiver,
    WaiverAnswer,
    WaiverProposal,
    WaiverReason,
)
from imaging_requests.requesting.policies import (
    END_WAIVER,
    PROPOSE_WAIVER,
    REFUSE_WAIVER,
    SIGN_WAIVER,
)
from imaging_requests.requesting.reasons import reason_text
from imaging_requests.requesting.words import inside_words, numbers_of


def _lock_view(view_id: int) -> OwedView:
    """Lock the object and read its view, which must be in force and not waived."""
    object_id = OwedView.objects.values_list("object_id", flat=True).get(pk=view_id)
    CollectionObject.objects.select_for_update().get(pk=object_id)
    view = OwedView.objects.select_related("treatment").get(pk=view_id)
    if view.ended_at is not None:
        raise IllegalStep(
            f"This view is not owed any more: {view.end_reason}",
            code="requesting.view_ended",
            next_step="Nothing needs to be waived.",
        )
    if view.waivers.filter(ended_at=None).exists():
        raise IllegalStep(
            "This view is waived already.",
            code="requesting.waived_already",
            next_step="Look it up in the waiver book; if it asks for a second signature, that is "
            "given there, and a wrong one is ended first.",
        )
    return view


def _ask_again(proposal: WaiverProposal, view: OwedView, now: datetime) -> None:
    """Find out anew whether the view is a last look: a step planned since may have made it one."""
    if not proposal.is_last_look:
        proposal.is_last_look = bool(last_look_step(view, now))


def _refuse_past_lapse(lapses_at: datetime | None, now: datetime) -> None:
    if lapses_at is not None and lapses_at <= now:
        raise DomainError(
            "A waiver that has lapsed already would change nothing.",
            code="requesting.lapsed_waiver",
            next_step="Give a later day, or none.",
        )


@transaction.atomic
def grant_waiver(
    *,
    actor: User,
    owed_view_id: int,
    reason_code: str,
    text: str,
    co_signed_by: User | None = None,
    is_last_look: bool = False,
    lapses_at: datetime | None = None,
    now: datetime | None = None,
) -> Waiver:
    """Waive a view. A last look, asked for or found by the trigger table, needs two people.

    A page never names the second person for them: there the two sign a proposal one by one.
    """
    demand(actor, SIGN_WAIVER)
    now = now or timezone.now()
    view = _lock_view(owed_view_id)
    return _grant(
        view=view,
        first=actor,
        second=co_signed_by,
        reason_code=reason_code,
        text=text,
        is_last_look=is_last_look or bool(last_look_step(view, now)),
        lapses_at=lapses_at,
        now=now,
    )


def _grant(
    *,
    view: OwedView,
    first: User,
    second: User | None,
    reason_code: str,
    text: str,
    is_last_look: bool,
    lapses_at: datetime | None,
    now: datetime,
) -> Waiver:
    _refuse_past_lapse(lapses_at, now)
    rules.check_waiver(
        granter_id=first.pk,
        granter_roles=first.roles,
        co_signer_id=second.pk if second else None,
        co_signer_roles=second.roles if second else frozenset(),
        is_last_look=is_last_look,
    )
    if second is not None and not first.has_role(Role.LEAD):
        first, second = second, first
    waiver = Waiver.objects.create(
        owed_view=view,
        reason_code=WaiverReason(reason_code),
        text=reason_text(text, "A waiver"),
        granted_by=first,
        co_signed_by=second,
        is_last_look=is_last_look,
        granted_at=now,
        recorded_at=now,
        lapses_at=lapses_at,
    )
    audit.record(
        "requesting.waiver_granted",
        actor=first,
        subject=waiver,
        object_id=view.object_id,
        after={
            "view": view.pk,
            "reason_code": waiver.reason_code,
            "co_signed_by": second.pk if second else None,
            "is_last_look": is_last_look,
            "lapses_at": lapses_at,
        },
        reason=waiver.text,
        now=now,
    )
    mark_stale([view.object_id], "waiver granted")
    return waiver


@transaction.atomic
def propose_waiver(
    *,
    actor: User,
    owed_view_id: int,
    reason_code: str,
    text: str,
    lapses_at: datetime | None = None,
    now: datetime | None = None,
) -> WaiverProposal:
    """Ask that a view need not be made; those who may sign are told."""
    demand(actor, PROPOSE_WAIVER)
    now = now or timezone.now()
    view = _lock_view(owed_view_id)
    if view.waiver_proposals.filter(state=WaiverAnswer.ASKED).exists():
        raise IllegalStep(
            "A waiver of this view has been proposed already.",
            code="requesting.proposed_already",
            next_step="It waits for its signatures in the waiver book.",
        )
    _refuse_past_lapse(lapses_at, now)
    proposal = WaiverProposal.objects.create(
        owed_view=view,
        reason_code=WaiverReason(reason_code),
        text=reason_text(text, "A waiver"),
        is_last_look=bool(last_look_step(view, now)),
        lapses_at=lapses_at,
        asked_by=actor,
        asked_at=now,
    )
    audit.record(
        "requesting.waiver_proposed",
        actor=actor,
        subject=proposal,
        object_id=view.object_id,
        after={"view": view.pk, "reason_code": proposal.reason_code},
        reason=proposal.text,
        now=now,
    )
    signers = [Role.LEAD, Role.CONSERVATOR] if proposal.is_last_look else [Role.LEAD]
    tell(
        holders(*signers).exclude(pk=actor.pk),
        f"{actor} proposes to waive {inside_words(view)} of "
        f"{numbers_of([view.object_id])[view.object_id]}.",
        reverse("requesting:waivers"),
        now=now,
    )
    return proposal


@transaction.atomic
def sign_waiver(
    *, actor: User, proposal_id: int, read_version: int, now: datetime | None = None
) -> WaiverProposal:
    """Sign a proposed waiver. It takes force with the last signature that it needs.

    How many it needs is asked when it is signed, not when it was proposed.
    """
    demand(actor, SIGN_WAIVER)
    now = now or timezone.now()
    view_id = WaiverProposal.objects.values_list("owed_view_id", flat=True).get(pk=proposal_id)
    view = _lock_view(view_id)
    proposal = lock_row(WaiverProposal, proposal_id, read_version=read_version)
    _refuse_answered(proposal)
    was_last_look = proposal.is_last_look
    _ask_again(proposal, view, now)
    if proposal.is_last_look and proposal.first_signed_by is None:
        proposal.first_signed_by, proposal.first_signed_at = actor, now
        save_row(proposal, fields=["is_last_look", "first_signed_by", "first_signed_at"])
        if not was_last_look:
            _tell_it_needs_two(proposal, view, actor=actor, now=now)
        audit.record(
            "requesting.waiver_signed",
            actor=actor,
            subject=proposal,
            object_id=view.object_id,
            now=now,
        )
        return proposal
    proposal.waiver = _grant(
        view=view,
        first=actor,
        second=proposal.first_signed_by,
        reason_code=proposal.reason_code,
        text=proposal.text,
        is_last_look=proposal.is_last_look,
        lapses_at=proposal.lapses_at,
        now=now,
    )
    proposal.state = WaiverAnswer.GRANTED
    proposal.answered_by, proposal.answered_at = actor, now
    save_row(proposal, fields=["waiver", "state", "answered_by", "answered_at"])
    return proposal


def _tell_it_needs_two(
    proposal: WaiverProposal, view: OwedView, *, actor: User, now: datetime
) -> None:
    """Tell those who may sign second that a step planned since has made the view a last look."""
    needed = Role.CONSERVATOR if actor.has_role(Role.LEAD) else Role.LEAD
    tell(
        holders(needed).exclude(pk=actor.pk),
        f"{actor} signed the waiver of {inside_words(view)} of "
        f"{numbers_of([view.object_id])[view.object_id]}. A step planned since ends this view for "
        "good, so it needs a second signature.",
        reverse("requesting:waivers"),
        now=now,
    )


@transaction.atomic
def co_sign_waiver(*, actor: User, waiver_id: int, now: datetime | None = None) -> Waiver:
    """Sign a waiver in force as the second person: its view has become a last look since."""
    demand(actor, SIGN_WAIVER)
    now = now or timezone.now()
    found = Waiver.objects.values_list("owed_view__object_id", flat=True).get(pk=waiver_id)
    CollectionObject.objects.select_for_update().get(pk=found)
    waiver = Waiver.objects.select_related("owed_view", "granted_by").get(pk=waiver_id)
    if waiver.ended_at is not None:
        raise IllegalStep(
            f"This waiver is over: {waiver.end_reason}",
            code="requesting.waiver_over",
            next_step="Propose a new one if the view is still not to be made.",
        )
    if waiver.co_signed_by_id is not None or not last_look_step(waiver.owed_view, now):
        raise IllegalStep(
            "This waiver has the signatures that it needs.",
            code="requesting.signed_enough",
            next_step="Load the waiver book again.",
        )
    rules.check_waiver(
        granter_id=waiver.granted_by_id,
        granter_roles=waiver.granted_by.roles,
        co_signer_id=actor.pk,
        co_signer_roles=actor.roles,
        is_last_look=True,
    )
    waiver.co_signed_by, waiver.co_signed_at, waiver.is_last_look = actor, now, True
    waiver.save(update_fields=["co_signed_by", "co_signed_at", "is_last_look"])
    object_id = waiver.owed_view.object_id
    audit.record(
        "requesting.waiver_co_signed",
        actor=actor,
        subject=waiver,
        object_id=object_id,
        before={"co_signed_by": None, "is_last_look": False},
        after={"co_signed_by": actor.pk, "is_last_look": True},
        now=now,
    )
    mark_stale([object_id], "waiver co-signed")
    return waiver


@transaction.atomic
def refuse_waiver(
    *,
    actor: User,
    proposal_id: int,
    read_version: int,
    answer: str,
    now: datetime | None = None,
) -> WaiverProposal:
    """Refuse a proposed waiver and say why: the view stays owed."""
    demand(actor, REFUSE_WAIVER)
    now = now or timezone.now()
    proposal = lock_row(WaiverProposal, proposal_id, read_version=read_version)
    _refuse_answered(proposal)
    _ask_again(proposal, proposal.owed_view, now)
    demand(actor, REFUSE_WAIVER, proposal)
    proposal.state = WaiverAnswer.REFUSED
    proposal.answered_by, proposal.answered_at = actor, now
    proposal.answer = reason_text(answer, "A refusal")
    save_row(proposal, fields=["is_last_look", "state", "answered_by", "answered_at", "answer"])
    audit.record(
        "requesting.waiver_refused",
        actor=actor,
        subject=proposal,
        object_id=proposal.owed_view.object_id,
        reason=proposal.answer,
        now=now,
    )
    if proposal.asked_by_id != actor.pk:
        tell(
            [proposal.asked_by],
            f"{actor} refused the waiver you proposed: {proposal.answer}",
            reverse("requesting:waivers"),
            now=now,
        )
    return proposal


def _refuse_answered(proposal: WaiverProposal) -> None:
    if proposal.state != WaiverAnswer.ASKED:
        raise IllegalStep(
            f"This proposal was {proposal.get_state_display().lower()} already.",
            code="requesting.answered_already",
            next_step="Load the waiver book again.",
        )


@transaction.atomic
def end_waiver(*, actor: User, waiver_id: int, reason: str, now: datetime | None = None) -> Waiver:
    """End a waiver: the view is owed again."""
    demand(actor, END_WAIVER)
    now = now or timezone.now()
    waiver = Waiver.objects.select_for_update().get(pk=waiver_id)
    if waiver.ended_at is not None:
        raise IllegalStep(
            f"This waiver has ended already: {waiver.end_reason}",
            code="requesting.waiver_over",
        )
    waiver.ended_at, waiver.end_reason = now, reason_text(reason, "Ending a waiver")[:160]
    waiver.save(update_fields=["ended_at", "end_reason"])
    object_id = waiver.owed_view.object_id
    audit.record(
        "requesting.waiver_ended",
        actor=actor,
        subject=waiver,
        object_id=object_id,
        reason=waiver.end_reason,
        now=now,
    )
    mark_stale([object_id], "waiver ended")
    return waiver
