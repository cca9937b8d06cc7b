"""Sealing packages of accepted pictures whose frames are proven in enough places."""

from __future__ import annotations

import uuid
from collections.abc import Sequence
from datetime import datetime

from django.db import transaction
from django.utils import timezone

from imaging_requests.collection.models import Entry
from imaging_requests.collection.stale import mark_stale
from imaging_requests.deliverables import filing, naming
from imaging_requests.deliverables.actions.handing_over import send_to_former_recipients
from imaging_requests.deliverables.actions.records import spoken
from imaging_requests.deliverables.models import (
    Deliverable,
    DeliverableState,
    Package,
    PackageItem,
)
from imaging_requests.deliverables.policies import SEAL
from imaging_requests.people import audit
from imaging_requests.people.errors import DomainError
from imaging_requests.people.models import User
from imaging_requests.people.policies import demand


@transaction.atomic
def seal_package(
    *,
    actor: User,
    entry_id: int,
    deliverable_ids: Sequence[int],
    purpose: str,
    replaces_id: int | None = None,
    now: datetime | None = None,
) -> Package:
    """Seal accepted pictures of an entry with a manifest that names every file and every gap.

    Sealing counts as filing only for frames proven in enough places, so others are refused here.
    A package that puts another one right names it and goes to everybody who had the old one.
    """
    entry = Entry.objects.select_related("catalogue").get(pk=entry_id)
    demand(actor, SEAL, entry)
    now = now or timezone.now()
    wanted = sorted(set(deliverable_ids))
    rows = list(
        Deliverable.objects.select_for_update(of=("self",))
        .filter(pk__in=wanted)
        .select_related("object")
        .order_by("pk")
    )
    words = purpose.strip() or f"Entry {entry.number}, {entry.title}"[:160]
    replaces = _replaced(replaces_id, entry)
    _demand_sealable(rows, wanted, entry, words if replaces is None else "", now)
    package = Package.objects.create(
        number=uuid.uuid4().hex[:20],
        purpose=words,
        entry=entry,
        made_by=actor,
        made_at=now,
        replaces=replaces,
    )
    package.number = f"P{package.pk:05}"
    for row in rows:
        PackageItem.objects.create(package=package, deliverable=row)
    package.manifest = filing.manifest_of(package, rows, now=now)
    package.manifest_sha256 = naming.manifest_sha256(package.manifest)
    package.state, package.sealed_at = Package.State.SEALED, now
    package.row_version += 1
    package.save()
    audit.record(
        "deliverables.package_sealed",
        actor=actor,
        subject=package,
        after={
            "number": package.number,
            "entry": entry.pk,
            "pictures": wanted,
            "manifest_sha256": package.manifest_sha256,
            "replaces": "" if replaces is None else replaces.number,
        },
        now=now,
    )
    mark_stale({row.object_id for row in rows}, "deliverables.package_sealed")
    if replaces is not None:
        send_to_former_recipients(package, replaces, actor=actor, now=now)
    return package


def _replaced(replaces_id: int | None, entry: Entry) -> Package | None:
    if replaces_id is None:
        return None
    found = Package.objects.filter(
        pk=replaces_id, entry=entry, state=Package.State.SEALED, replaced_by=None
    ).first()
    if found is None:
        raise DomainError(
            "The package that this one is to replace is not a standing package of the entry.",
            code="deliverables.not_replaceable",
            next_step="Choose the newest of its packages.",
        )
    return found


def _demand_sealable(
    rows: Sequence[Deliverable], wanted: Sequence[int], entry: Entry, purpose: str, now: datetime
) -> None:
    if not rows or len(rows) != len(wanted):
        raise DomainError(
            "There is no picture to seal.",
            code="deliverables.nothing_to_seal",
            next_step="Choose accepted pictures whose files are proven in two places.",
        )
    members = set(entry.entry_objects.filter(removed_at=None).values_list("object_id", flat=True))
    not_ready = filing.not_ready_because([row.pk for row in rows], now)
    sealed = filing.sealed_for(entry, purpose, [row.pk for row in rows])
    for row in rows:
        if row.pk in sealed:
            reason = f"it lies in package {sealed[row.pk]} for the same purpose"
        elif row.state != DeliverableState.ACCEPTED:
            reason = f"it is {row.get_state_display().lower()}"
        elif row.object_id not in members:
            reason = f"its object is not in entry {entry.number}"
        else:
            reason = not_ready.get(row.pk, "")
        if reason:
            raise DomainError(
                f"{spoken(row)} cannot be sealed: {reason.rstrip('.')}.",
                code="deliverables.not_sealable",
                next_step="Leave it out for now; a further package can follow.",
            )


@transaction.atomic
def file_accepted(
    *, actor: User, entry_id: int, purpose: str = "", now: datetime | None = None
) -> Package:
    """Seal every accepted picture of an entry that is ready and lies in no package yet."""
    now = now or timezone.now()
    ready = [line.deliverable.pk for line in filing.sheet_of(entry_id, now).ready]
    return seal_package(
        actor=actor, entry_id=entry_id, deliverable_ids=ready, purpose=purpose, now=now
    )
