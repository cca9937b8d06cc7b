"""Writes about who sees pictures: restrictions, grants, and the trail of full-size views."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime, timedelta
from uuid import UUID

from django.db import transaction
from django.utils import timezone

from imaging_requests.collection.models import CollectionObject
from imaging_requests.deliverables.models import Deliverable
from imaging_requests.intake.models import Frame
from imaging_requests.people import audit
from imaging_requests.people.actions import tell
from imaging_requests.people.errors import DomainError, IllegalStep
from imaging_requests.people.models import User
from imaging_requests.people.policies import OUTSIDE, demand
from imaging_requests.people.versions import lock_row, save_row
from imaging_requests.pictures.models import Grant, Restriction, RestrictionKind, Sight
from imaging_requests.pictures.numbers import access_numbers
from imaging_requests.pictures.policies import GRANT, RESTRICT

LEAST_REASON = 10


@transaction.atomic
def set_restriction(
    *,
    actor: User,
    object_id: int,
    kind: str,
    reason: str,
    surface: str = "",
    chain: UUID | None = None,
    techniques: Iterable[str] = (),
    until: datetime | None = None,
    now: datetime | None = None,
) -> Restriction:
    """Keep pictures of an object, a surface or one picture from some people, from now on."""
    demand(actor, RESTRICT)
    now = now or timezone.now()
    thing = CollectionObject.objects.select_for_update().get(pk=object_id)
    if kind == RestrictionKind.EMBARGO and until is None:
        raise DomainError(
            "An embargo needs the day on which it ends.",
            code="pictures.embargo_without_end",
            next_step="Give the day, or choose another kind.",
        )
    if until is not None and until <= now:
        raise DomainError(
            "The restriction would be over before it begins.",
            code="pictures.restriction_over",
            next_step="Give a later day.",
        )
    if chain is not None and not Deliverable.objects.filter(chain=chain, object=thing).exists():
        raise DomainError(
            "This picture does not belong to the object.",
            code="pictures.picture_of_another_object",
            next_step="Choose a picture from the list.",
        )
    _demand_reason(reason)
    made = Restriction.objects.create(
        object=thing,
        surface=surface,
        chain=chain,
        techniques=sorted(set(techniques)),
        kind=RestrictionKind(kind),
        reason=reason.strip(),
        since=now,
        until=until,
        set_by=actor,
        set_at=now,
    )
    audit.record(
        "pictures.restricted",
        actor=actor,
        subject=made,
        object_id=thing.pk,
        after={
            "kind": made.kind,
            "surface": surface,
            "chain": str(chain or ""),
            "techniques": made.techniques,
            "until": until,
        },
        reason=made.reason,
        now=now,
    )
    return made


def _demand_reason(reason: str) -> None:
    if len(reason.strip()) < LEAST_REASON:
        raise DomainError(
            f"The reason is too short: at least {LEAST_REASON} characters.",
            code="pictures.reason_too_short",
            next_step="Say it so that somebody understands it in two years.",
        )


@transaction.atomic
def lift_restriction(
    *, actor: User, restriction_id: int, reason: str, read_version: int, now: datetime | None = None
) -> Restriction:
    """End a restriction; the row stays and says who ended it and why."""
    demand(actor, RESTRICT)
    now = now or timezone.now()
    row = lock_row(Restriction, restriction_id, read_version=read_version)
    if row.lifted_at is not None:
        raise IllegalStep("This restriction was lifted already.", code="pictures.lifted_already")
    _demand_reason(reason)
    row.lifted_by, row.lifted_at, row.lifted_because = actor, now, reason.strip()
    save_row(row, fields=["lifted_by", "lifted_at", "lifted_because"])
    audit.record(
        "pictures.restriction_lifted",
        actor=actor,
        subject=row,
        object_id=row.object_id,
        before={"kind": row.kind},
        reason=row.lifted_because,
        now=now,
    )
    return row


@transaction.atomic
def give_grants(
    *,
    actor: User,
    person_id: int,
    object_ids: Iterable[int],
    sight: str,
    until: datetime,
    purpose: str,
    now: datetime | None = None,
) -> list[Grant]:
    """Open pictures of objects to a person from outside until an instant."""
    now = now or timezone.now()
    person = User.objects.select_for_update().get(pk=person_id)
    if not person.has_role(*OUTSIDE):
        raise DomainError(
            f"{person} is no open account of somebody from outside.",
            code="pictures.grant_to_nobody",
            next_step="The system keeper opens accounts for co-authors and lenders.",
        )
    if until <= now:
        raise DomainError(
            "The grant would be over before it begins.",
            code="pictures.grant_over",
            next_step="Give a later day.",
        )
    most_days = access_numbers().grant_most_days
    if until - now > timedelta(days=most_days):
        raise DomainError(
            f"A grant holds for at most {most_days} days.",
            code="pictures.grant_too_long",
            next_step="Give an earlier day; it can be renewed.",
        )
    things = list(CollectionObject.objects.filter(pk__in=list(object_ids)).order_by("pk"))
    made = []
    for thing in things:
        demand(actor, GRANT, thing)
        grant = Grant.objects.create(
            person=person,
            object=thing,
            sight=Sight(sight),
            purpose=purpose.strip(),
            since=now,
            until=until,
            given_by=actor,
            given_at=now,
        )
        audit.record(
            "pictures.granted",
            actor=actor,
            subject=grant,
            object_id=thing.pk,
            after={"person": person.pk, "sight": grant.sight, "until": until},
            reason=grant.purpose,
            now=now,
        )
        made.append(grant)
    if made:
        tell([person], f"{actor} opened pictures to you: {purpose.strip()}", now=now)
    return made


def _end(grant: Grant, actor: User, reason: str, now: datetime) -> None:
    grant.ended_by, grant.ended_at, grant.ended_because = actor, now, reason
    save_row(grant, fields=["ended_by", "ended_at", "ended_because"])
    audit.record(
        "pictures.grant_ended",
        actor=actor,
        subject=grant,
        object_id=grant.object_id,
        before={"person": grant.person_id, "until": grant.until},
        reason=reason,
        now=now,
    )


@transaction.atomic
def end_grant(
    *, actor: User, grant_id: int, reason: str, read_version: int, now: datetime | None = None
) -> Grant:
    """End a grant before its day."""
    now = now or timezone.now()
    grant = lock_row(Grant, grant_id, read_version=read_version)
    demand(actor, GRANT, grant.object)
    if grant.ended_at is not None:
        raise IllegalStep("This grant was ended already.", code="pictures.ended_already")
    _demand_reason(reason)
    _end(grant, actor, reason.strip(), now)
    return grant


def end_grants_of(actor: User, person: User, now: datetime) -> None:
    """End every grant of somebody who leaves, in the transaction in which the account closes."""
    open_grants = Grant.objects.select_for_update().filter(
        person=person, ended_at=None, until__gt=now
    )
    for grant in open_grants:
        _end(grant, actor, "The account was closed or is no longer one from outside.", now)


@transaction.atomic
def record_look(
    *, actor: User, subject: Deliverable | Frame, code: str, after: dict[str, str]
) -> None:
    """Write down that somebody saw or took a picture in full size."""
    audit.record(
        code,
        actor=actor,
        subject=subject,
        object_id=getattr(subject, "object_id", None),
        after=after,
    )
