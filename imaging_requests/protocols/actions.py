"""Writes about versioned rules: drafting, signing, publishing, retiring, and moving entries."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django.db import transaction
from django.urls import reverse
from django.utils import timezone

from imaging_requests.collection.models import Entry, EntryObject
from imaging_requests.collection.policies import KEEP_CATALOGUE
from imaging_requests.collection.stale import mark_stale
from imaging_requests.people import audit
from imaging_requests.people.actions import tell
from imaging_requests.people.errors import DomainError, IllegalStep
from imaging_requests.people.models import User
from imaging_requests.people.policies import demand
from imaging_requests.people.queries import holders
from imaging_requests.people.versions import lock_row, save_row
from imaging_requests.protocols import news, queries, rules, trial
from imaging_requests.protocols.actions_rehearsing import demand_rehearsed
from imaging_requests.protocols.models import (
    MODELS,
    EntryPin,
    ProtocolVersion,
    RuleKind,
    RuleVersion,
    VersionState,
)
from imaging_requests.protocols.policies import (
    CO_SIGN_RULES,
    DRAFT_RULES,
    MOVE_PIN,
    RETIRE_RULES,
    SIGN_RULES,
)
from imaging_requests.protocols.rules import CO_SIGNERS, Step


def _family(kind: str, document: Mapping[str, Any]) -> dict[str, Any]:
    """Return what the versions of one series share: a protocol's name, nothing otherwise."""
    return {"name": str(document["id"])} if kind == RuleKind.PROTOCOL else {}


def _demand_usable(kind: str, document: Mapping[str, Any], now: datetime | None) -> None:
    """Refuse a document that could not be used together with what is in force."""
    protocol, settings = queries.companions(now or timezone.now())
    trial.demand_usable(kind, document, protocol=protocol, settings=settings)


def _demand_room(kind: str, document: Mapping[str, Any], *, own_pk: int | None = None) -> None:
    """Refuse a number that is taken, or that would stand before a published one."""
    family, number = _family(kind, document), rules.version_number(document)
    rules.demand_higher_number(number, queries.newest_number(kind, family))
    taken = MODELS[kind]._default_manager.filter(number=number, **family).exclude(pk=own_pk)
    if taken.exists():
        raise DomainError(
            f"There is a draft of version {number} already.",
            code="protocols.number_taken",
            next_step="Change that draft, or give this one the next number.",
        )


@transaction.atomic
def draft_version(
    *, actor: User, kind: str, document: Mapping[str, Any], now: datetime | None = None
) -> RuleVersion:
    """Keep a document as a new draft, once it can be read without a fault."""
    demand(actor, DRAFT_RULES)
    now = now or timezone.now()
    _demand_usable(kind, document, now)
    _demand_room(kind, document)
    row = MODELS[kind]._default_manager.create(
        number=rules.version_number(document),
        definition=dict(document),
        created_at=now,
        **_family(kind, document),
    )
    audit.record(
        "protocols.drafted",
        actor=actor,
        subject=row,
        after={"kind": kind, "number": row.number},
        now=now,
    )
    return row


@transaction.atomic
def replace_draft(
    *,
    actor: User,
    kind: str,
    pk: int,
    read_version: int,
    document: Mapping[str, Any],
    now: datetime | None = None,
) -> RuleVersion:
    """Put a new document into a draft; a signature under the old words no longer counts."""
    row = lock_row(MODELS[kind], pk, read_version=read_version)
    demand(actor, DRAFT_RULES, row)
    rules.next_state(row.state, Step.EDIT)
    _demand_usable(kind, document, now)
    family = _family(kind, document)
    _demand_room(kind, document, own_pk=row.pk)
    before = {"number": row.number, "signed_by": row.published_by_id}
    row.definition = dict(document)
    row.number = rules.version_number(document)
    row.published_by = None
    for name, value in family.items():
        setattr(row, name, value)
    save_row(row, fields=["definition", "number", "published_by", *family])
    audit.record(
        "protocols.draft_replaced",
        actor=actor,
        subject=row,
        before=before,
        after={"number": row.number},
        now=now,
    )
    return row


@transaction.atomic
def sign_version(
    *, actor: User, kind: str, pk: int, read_version: int, now: datetime | None = None
) -> RuleVersion:
    """Give the lead's signature under a draft that was rehearsed, and ask for the second one."""
    row = lock_row(MODELS[kind], pk, read_version=read_version)
    demand(actor, SIGN_RULES, row)
    now = now or timezone.now()
    rules.next_state(row.state, Step.SIGN)
    demand_rehearsed(row, actor)
    _sign(row, actor=actor, now=now)
    return row


@transaction.atomic
def co_sign_version(
    *, actor: User, kind: str, pk: int, read_version: int, now: datetime | None = None
) -> RuleVersion:
    """Give the second signature: the draft is published and never changes again."""
    row = lock_row(MODELS[kind], pk, read_version=read_version)
    demand(actor, CO_SIGN_RULES, row)
    rules.next_state(row.state, Step.CO_SIGN)
    rules.demand_two_people(row.published_by_id, actor.pk)
    demand_rehearsed(row, actor)
    _publish(row, actor=actor, now=now or timezone.now())
    return row


def _sign(row: RuleVersion, *, actor: User, now: datetime) -> None:
    kind = row.kind
    _demand_usable(kind, row.definition, now)
    row.published_by = actor
    save_row(row, fields=["published_by"])
    audit.record("protocols.signed", actor=actor, subject=row, now=now)
    others = [user for user in holders(CO_SIGNERS[kind]) if user.pk != actor.pk]
    said = f"{actor.name} signed the {row}; your signature publishes it."
    tell(others, said, reverse("protocols:version", args=[kind, row.pk]), now=now)


def _publish(row: RuleVersion, *, actor: User, now: datetime) -> None:
    state = rules.next_state(row.state, Step.CO_SIGN)
    rules.demand_two_people(row.published_by_id, actor.pk)
    rules.demand_higher_number(
        row.number, queries.newest_number(row.kind, _family(row.kind, row.definition))
    )
    row.state, row.co_signed_by, row.published_at = state, actor, now
    save_row(row, fields=["state", "co_signed_by", "published_at"])
    audit.record(
        "protocols.published",
        actor=actor,
        subject=row,
        before={"state": VersionState.DRAFT},
        after={"state": state, "signed_by": row.published_by_id, "co_signed_by": actor.pk},
        now=now,
    )
    news.published(row.kind)


@transaction.atomic
def load_published(
    *,
    kind: str,
    document: Mapping[str, Any],
    actor: User,
    co_signed_by: User,
    published_at: datetime | None = None,
    now: datetime | None = None,
) -> RuleVersion:
    """Publish a document in one go, with both people named; for first loading, by no page.

    There is nothing yet that it could change, so it is not rehearsed. `published_at` lets a house
    bring in rules that were in force before it used the program.
    """
    now = now or timezone.now()
    row = draft_version(actor=actor, kind=kind, document=document, now=now)
    demand(actor, SIGN_RULES, row)
    _sign(row, actor=actor, now=now)
    demand(co_signed_by, CO_SIGN_RULES, row)
    _publish(row, actor=co_signed_by, now=published_at or now)
    return row


@transaction.atomic
def retire_version(
    *, actor: User, kind: str, pk: int, read_version: int, now: datetime | None = None
) -> RuleVersion:
    """Take a published version out of use; what followed from it stays in the history."""
    row = lock_row(MODELS[kind], pk, read_version=read_version)
    demand(actor, RETIRE_RULES, row)
    state = rules.next_state(row.state, Step.RETIRE)
    if reason := queries.in_use_because(row):
        raise IllegalStep(
            reason,
            code="protocols.version_in_use",
            next_step="Let the version that follows it take its place first.",
        )
    row.state = state
    save_row(row, fields=["state"])
    audit.record(
        "protocols.retired",
        actor=actor,
        subject=row,
        before={"state": VersionState.PUBLISHED},
        after={"state": state},
        now=now,
    )
    return row


@transaction.atomic
def move_entry_pin(
    *,
    actor: User,
    entry_id: int,
    read_version: int,
    protocol_id: int,
    reason: str,
    now: datetime | None = None,
) -> EntryPin:
    """Let an entry follow another protocol version from now on, or its first one."""
    entry = lock_row(Entry, entry_id, read_version=read_version)
    demand(actor, MOVE_PIN, entry)
    now = now or timezone.now()
    protocol = ProtocolVersion.objects.defer("definition").get(pk=protocol_id)
    if protocol.state != VersionState.PUBLISHED:
        raise IllegalStep(
            f"The {protocol} is {protocol.get_state_display().lower()}; entries follow published "
            "versions only.",
            code="protocols.pin_to_unpublished",
            next_step="Choose a published version.",
        )
    present = entry.pins.select_for_update().filter(unpinned_at=None).first()
    if present is not None and present.protocol_id == protocol.pk:
        raise IllegalStep(
            f"Entry {entry.number} follows the {protocol} already.",
            code="protocols.pin_unchanged",
        )
    # The database ends the present pin at the instant at which the new one begins.
    pin = EntryPin.objects.create(
        entry=entry, protocol=protocol, pinned_at=now, recorded_at=now, reason=reason.strip()
    )
    save_row(entry, fields=[])
    audit.record(
        "protocols.pin_moved",
        actor=actor,
        subject=entry,
        before={"protocol": present.protocol_id if present is not None else None},
        after={"protocol": protocol.pk},
        reason=reason.strip(),
        now=now,
    )
    members = EntryObject.objects.filter(entry=entry, removed_at=None)
    mark_stale(members.values_list("object_id", flat=True), "protocols.pin_moved")
    return pin


@transaction.atomic
def pin_new_entry(*, actor: User, entry: Entry, now: datetime | None = None) -> EntryPin:
    """Let an entry that follows nothing yet follow the newest published protocol."""
    demand(actor, KEEP_CATALOGUE)
    now = now or timezone.now()
    if entry.pins.exists():
        raise IllegalStep(
            f"Entry {entry.number} follows a protocol already.",
            code="protocols.pinned_already",
            next_step="Move it to another version with a reason.",
        )
    protocol = queries.newest_protocol(now)
    pin = EntryPin.objects.create(
        entry=entry, protocol=protocol, pinned_at=now, recorded_at=now, reason="new entry"
    )
    audit.record(
        "protocols.entry_pinned",
        actor=actor,
        subject=entry,
        after={"protocol": str(protocol)},
        now=now,
    )
    return pin
