"""Handing sealed packages over and writing down that they came."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import datetime

from django.db import transaction
from django.utils import timezone

from imaging_requests.deliverables import queries
from imaging_requests.deliverables.models import Delivery, Package
from imaging_requests.deliverables.policies import CONFIRM_RECEIPT, HAND_OVER
from imaging_requests.people import audit
from imaging_requests.people.actions import tell
from imaging_requests.people.errors import DomainError, IllegalStep
from imaging_requests.people.models import User
from imaging_requests.people.policies import demand
from imaging_requests.people.versions import lock_row, save_row

#: Answers with one sentence for each picture that a recipient may not have; None: no account here.
HandingRule = Callable[[Package, User | None, datetime], Sequence[str]]
_handing_rules: list[HandingRule] = []


def add_handing_rule(rule: HandingRule) -> None:
    """Let an outer room keep pictures from a recipient; called once at start."""
    if rule not in _handing_rules:
        _handing_rules.append(rule)


def _kept_back(package: Package, user: User | None, now: datetime) -> list[str]:
    return [words for rule in _handing_rules for words in rule(package, user, now)]


@transaction.atomic
def hand_over(
    *,
    actor: User,
    package_id: int,
    recipient: str,
    user_id: int | None = None,
    purpose: str = "",
    now: datetime | None = None,
) -> Delivery:
    """Write down to whom a sealed package is handed; somebody with an account is told."""
    now = now or timezone.now()
    package = Package.objects.select_for_update(of=("self",)).get(pk=package_id)
    demand(actor, HAND_OVER, package)
    user = None if user_id is None else User.objects.get(pk=user_id)
    name = recipient.strip() or ("" if user is None else user.name)
    if not name:
        raise DomainError(
            "Say who gets the package.",
            code="deliverables.no_recipient",
            next_step="Choose somebody inside, or write the name of somebody outside.",
        )
    if package.state != Package.State.SEALED:
        raise IllegalStep(
            "Only a sealed package is handed over.",
            code="deliverables.not_sealed",
            next_step="Seal it first.",
        )
    if package.deliveries.filter(recipient__iexact=name).exists():
        raise DomainError(
            f"{name} has this package already.",
            code="deliverables.handed_over_already",
            next_step="Its line on the page says when, and whether it came.",
        )
    if kept := _kept_back(package, user, now):
        raise DomainError(
            f"{name} may not have all of this package. " + " ".join(kept),
            code="deliverables.restricted",
            next_step="Have the restriction lifted, or seal a package without these pictures.",
        )
    return _deliver(package, name, user, purpose.strip(), actor=actor, now=now)


def send_to_former_recipients(
    package: Package, replaced: Package, *, actor: User, now: datetime
) -> None:
    """Give a package to everybody who had the one that it replaces; inside the sealing.

    Who may not have it any more does not get it, and who seals it is told why.
    """
    for former in replaced.deliveries.select_related("user").order_by("pk"):
        purpose = f"Replaces {replaced.number}"
        if kept := _kept_back(package, former.user, now):
            text = f"{package} was not handed to {former.recipient}. {kept[0]}"
            tell([actor], text, queries.package_address(package), now=now)
            continue
        _deliver(package, former.recipient, former.user, purpose, actor=actor, now=now)


def _deliver(
    package: Package,
    recipient: str,
    user: User | None,
    purpose: str,
    *,
    actor: User,
    now: datetime,
) -> Delivery:
    delivery = Delivery.objects.create(
        package=package,
        recipient=recipient,
        user=user,
        purpose=purpose,
        handed_over_at=now,
        handed_over_by=actor,
    )
    audit.record(
        "deliverables.handed_over",
        actor=actor,
        subject=package,
        after={"recipient": recipient, "purpose": purpose},
        now=now,
    )
    if user is not None and user.pk != actor.pk:
        text = f"{package} is yours: {purpose or package.purpose}. Confirm that it came."
        tell([user], text, queries.package_address(package), now=now)
    return delivery


@transaction.atomic
def confirm_receipt(
    *,
    actor: User,
    delivery_id: int,
    read_version: int,
    words: str = "",
    now: datetime | None = None,
) -> Delivery:
    """Write down that a package came to its recipient."""
    now = now or timezone.now()
    row = lock_row(Delivery, delivery_id, read_version=read_version)
    demand(actor, CONFIRM_RECEIPT, row)
    if row.received_at is not None:
        return row
    row.received_at, row.received_words = now, words.strip()[:200]
    save_row(row, fields=["received_at", "received_words"])
    audit.record(
        "deliverables.received",
        actor=actor,
        subject=row.package,
        after={"recipient": row.recipient},
        reason=row.received_words,
        now=now,
    )
    return row
