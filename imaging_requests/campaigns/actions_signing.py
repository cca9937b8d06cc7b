"""Writes of signatures for limits, and of the light book."""

from __future__ import annotations

from datetime import date, datetime

from django.db import transaction
from django.utils import timezone

from imaging_requests.campaigns.checks import Finding, check_session
from imaging_requests.campaigns.models import LightDose, Session, SessionSignature
from imaging_requests.campaigns.policies import RECORD_LIGHT, SIGN_LIMIT
from imaging_requests.people import audit
from imaging_requests.people.errors import DomainError, NotAllowed
from imaging_requests.people.models import User
from imaging_requests.people.policies import demand
from imaging_requests.people.versions import lock_row


@transaction.atomic
def sign_limit(
    *,
    actor: User,
    session_id: int,
    read_version: int,
    check_code: str,
    object_id: int,
    face: str = "",
    reason: str,
    now: datetime | None = None,
) -> SessionSignature:
    """Answer for a session that passes a limit, in the role whose signature is lacking."""
    demand(actor, SIGN_LIMIT)
    now = now or timezone.now()
    session = lock_row(Session, session_id, read_version=read_version)
    finding = _finding(session, check_code, object_id, face, now)
    role = next((role for role in finding.lacking if actor.has_role(role)), None)
    if role is None:
        raise NotAllowed(
            "The signature that is lacking here is not yours.",
            code="not_allowed.campaigns.sign_limit",
            next_step=f"Ask a person who is {' or '.join(finding.lacking)}.",
        )
    if any(signature.signed_by_id == actor.pk for signature in finding.signatures):
        raise DomainError(
            "You have signed this already; the second signature is somebody else's.",
            code="campaigns.signed_twice",
        )
    if not reason.strip():
        raise DomainError(
            "A signature needs its reason.",
            code="campaigns.sign_reason",
            next_step="Write why the limit may be passed this time.",
        )
    signature = SessionSignature.objects.create(
        session=session,
        check_code=finding.code,
        object_id=object_id,
        face=face,
        amount=finding.amount,
        as_role=role,
        signed_by=actor,
        signed_at=now,
        reason=reason.strip(),
    )
    audit.record(
        "campaigns.limit_signed",
        actor=actor,
        subject=session,
        object_id=object_id,
        after={"check": finding.code, "amount": finding.amount, "as": role},
        reason=signature.reason,
        now=now,
    )
    return signature


def _finding(
    session: Session, check_code: str, object_id: int, face: str, now: datetime
) -> Finding:
    for finding in check_session(session, now=now):
        if (finding.code, finding.object_id, finding.face) == (check_code, object_id, face):
            if finding.lacking:
                return finding
            break
    raise DomainError(
        "Nothing is to be signed here any more.",
        code="campaigns.nothing_to_sign",
        next_step="Load the session again.",
    )


@transaction.atomic
def record_light(
    *,
    actor: User,
    object_id: int,
    received_on: date,
    lxh: float,
    note: str,
    now: datetime | None = None,
) -> LightDose:
    """Write light that an object received outside the sessions into its light book."""
    demand(actor, RECORD_LIGHT)
    now = now or timezone.now()
    if lxh <= 0:
        raise DomainError(
            "Light is written in as lux hours above 0.",
            code="campaigns.light_amount",
            next_step="Multiply the lux by the hours.",
        )
    if not note.strip():
        raise DomainError(
            "The light book needs to know where the light came from.",
            code="campaigns.light_note",
            next_step="Name the exhibition, the film, the visit.",
        )
    dose = LightDose.objects.create(
        object_id=object_id,
        received_on=received_on,
        lxh=lxh,
        note=note.strip(),
        recorded_by=actor,
        recorded_at=now,
    )
    audit.record(
        "campaigns.light_recorded",
        actor=actor,
        subject=dose,
        object_id=object_id,
        after={"received_on": received_on, "lxh": lxh},
        reason=dose.note,
        now=now,
    )
    return dose
