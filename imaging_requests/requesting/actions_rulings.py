"""Writes that people sign about duties: views that do not apply, replacements, gaps."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime

from django.db import transaction
from django.utils import timezone

from imaging_requests.collection.models import CollectionObject, Entry, EntryObject
from imaging_requests.collection.stale import mark_stale
from imaging_requests.people import audit
from imaging_requests.people.errors import DomainError, IllegalStep
from imaging_requests.people.models import User
from imaging_requests.people.policies import demand
from imaging_requests.people.versions import lock_row, save_row
from imaging_requests.requesting import outlook, rules
from imaging_requests.requesting.models import (
    GapStatement,
    NotApplicable,
    OwedView,
)
from imaging_requests.requesting.policies import (
    DECIDE_APPLICABLE,
    REPLACE_VIEW,
    SIGN_GAP,
)
from imaging_requests.requesting.reasons import gap_text, reason_text
from imaging_requests.requesting.words import numbers_of

LOST = "lost"


@transaction.atomic
def decide_not_applicable(
    *,
    actor: User,
    object_id: int,
    technique: str,
    face: str,
    variant: str = "",
    reason: str,
    now: datetime | None = None,
) -> NotApplicable:
    """Say by hand that a view does not apply to an object."""
    demand(actor, DECIDE_APPLICABLE)
    now = now or timezone.now()
    rules.check_view(technique, face, variant, number=numbers_of([object_id])[object_id])
    thing = CollectionObject.objects.select_for_update().get(pk=object_id)
    place = {"object": thing, "technique": technique, "face": face, "variant": variant}
    if NotApplicable.objects.filter(**place, until=None).exists():
        raise IllegalStep(
            "This view does not apply already.",
            code="requesting.not_applicable_already",
        )
    row = NotApplicable.objects.create(
        **place, reason=reason_text(reason, "The decision"), by=actor, since=now
    )
    audit.record(
        "requesting.not_applicable_decided",
        actor=actor,
        subject=row,
        object_id=object_id,
        after={"technique": technique, "face": face, "variant": variant},
        reason=row.reason,
        now=now,
    )
    mark_stale([object_id], "not applicable")
    return row


@transaction.atomic
def end_not_applicable(
    *, actor: User, decision_id: int, reason: str, now: datetime | None = None
) -> NotApplicable:
    """Take a decision made by hand back; what a rule says is changed by the rule only."""
    demand(actor, DECIDE_APPLICABLE)
    now = now or timezone.now()
    row = NotApplicable.objects.select_for_update().get(pk=decision_id)
    if row.rule or row.until is not None:
        raise IllegalStep(
            "Only a decision made by hand and still in force can be taken back.",
            code="requesting.not_by_hand",
            next_step="A rule follows the facts of the object: correct the facts.",
        )
    row.until = now
    row.save(update_fields=["until"])
    audit.record(
        "requesting.not_applicable_ended",
        actor=actor,
        subject=row,
        object_id=row.object_id,
        reason=reason_text(reason, "Taking it back"),
        now=now,
    )
    mark_stale([row.object_id], "applicable again")
    return row


@transaction.atomic
def replace_view(
    *,
    actor: User,
    owed_view_id: int,
    by_view_id: int,
    read_version: int,
    reason: str,
    now: datetime | None = None,
) -> OwedView:
    """Let another view of the same object stand for this one; never in a circle."""
    demand(actor, REPLACE_VIEW)
    now = now or timezone.now()
    object_id = OwedView.objects.values_list("object_id", flat=True).get(pk=owed_view_id)
    CollectionObject.objects.select_for_update().get(pk=object_id)
    view = lock_row(OwedView, owed_view_id, read_version=read_version)
    links = dict(
        OwedView.objects.filter(object=object_id, replaced_by__isnull=False).values_list(
            "pk", "replaced_by_id"
        )
    )
    if not OwedView.objects.filter(pk=by_view_id, object=object_id, ended_at=None).exists():
        raise DomainError(
            "Only a view that is owed of the same object can stand for this one.",
            code="requesting.replacement_elsewhere",
            next_step="Choose one from the object's page.",
        )
    rules.check_replacement(links, owed_view_id, by_view_id)
    view.replaced_by_id, view.replaced_at = by_view_id, now
    save_row(view, fields=["replaced_by", "replaced_at"])
    audit.record(
        "requesting.view_replaced",
        actor=actor,
        subject=view,
        object_id=object_id,
        after={"replaced_by": by_view_id},
        reason=reason_text(reason, "A replacement"),
        now=now,
    )
    mark_stale([object_id], "view replaced")
    return view


@transaction.atomic
def sign_gap_statement(
    *,
    actor: User,
    entry_id: int,
    text: str,
    view_ids: Iterable[int] | None = None,
    now: datetime | None = None,
) -> GapStatement:
    """Sign that what is lost stays missing; a new statement takes the place of an older one.

    `view_ids` are the lost views that are meant; without them, all that are lost today.
    """
    demand(actor, SIGN_GAP)
    now = now or timezone.now()
    entry = Entry.objects.select_for_update().get(pk=entry_id)
    lost = sorted(lost_views(entry_id) if view_ids is None else set(view_ids))
    if not lost:
        raise DomainError(
            f"No view of entry {entry.number} is lost, so there is no gap to sign for.",
            code="requesting.no_gap",
            next_step="What is only open can still be made.",
        )
    words = gap_text(text, now)
    GapStatement.objects.filter(entry=entry, ended_at=None).update(ended_at=now)
    statement = GapStatement.objects.create(
        entry=entry,
        view_ids=lost,
        text=words,
        signed_by=actor,
        signed_at=now,
    )
    audit.record(
        "requesting.gap_signed",
        actor=actor,
        subject=statement,
        after={"entry": entry.pk, "views": lost},
        reason=statement.text,
        now=now,
    )
    mark_stale(entry_objects(entry_id), "gap statement signed")
    return statement


def entry_objects(entry_id: int) -> list[int]:
    """The objects that belong to an entry today."""
    return list(
        EntryObject.objects.filter(entry=entry_id, removed_at=None).values_list(
            "object_id", flat=True
        )
    )


def lost_views(entry_id: int) -> set[int]:
    """The views of an entry's objects that can never be made, as far as somebody knows."""
    ids = OwedView.objects.filter(object_id__in=entry_objects(entry_id), ended_at=None).values_list(
        "pk", flat=True
    )
    return {pk for pk, view in outlook.standing_of(list(ids)).items() if view.status == LOST}
