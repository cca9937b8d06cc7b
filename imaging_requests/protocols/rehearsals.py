"""Which report counts for which content of a draft, and why a draft cannot be signed yet."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from typing import Any

from imaging_requests.people.models import User
from imaging_requests.protocols.models import Rehearsal, RehearsalReading, RuleKind, RuleVersion

#: Kinds of rules whose drafts are rehearsed before anybody signs them.
REHEARSED = frozenset((RuleKind.PROTOCOL, RuleKind.TRIGGERS))


def content_hash(definition: Mapping[str, Any]) -> str:
    """Return the SHA-256 of a document, whatever the order of its keys.

    >>> content_hash({"a": 1, "b": 2}) == content_hash({"b": 2, "a": 1})
    True
    >>> content_hash({"a": 1}) == content_hash({"a": 2})
    False
    """
    text = json.dumps(definition, sort_keys=True, separators=(",", ":"))
    return hashlib.sha256(text.encode()).hexdigest()


def newest_of(row: RuleVersion) -> Rehearsal | None:
    """Return the newest report about a version, whichever content it is about."""
    return (
        Rehearsal.objects.filter(kind=row.kind, version_id=row.pk)
        .select_related("asked_by")
        .order_by("-asked_at", "-pk")
        .first()
    )


def made_of(row: RuleVersion) -> Rehearsal | None:
    """Return the newest finished report about exactly this content."""
    return (
        Rehearsal.objects.filter(
            kind=row.kind,
            version_id=row.pk,
            content_sha256=content_hash(row.definition),
            state=Rehearsal.State.MADE,
        )
        .order_by("-made_at", "-pk")
        .first()
    )


def unsigned_because(row: RuleVersion, user: User) -> tuple[str, str]:
    """Return why this person cannot sign yet and what comes next; two empty texts if they can."""
    if row.kind not in REHEARSED:
        return "", ""
    newest, made = newest_of(row), made_of(row)
    if newest is None:
        return (
            "Nobody has rehearsed this draft yet, so nobody knows what it would change.",
            "Rehearse it, read the report, then sign.",
        )
    if newest.content_sha256 != content_hash(row.definition) and made is None:
        return (
            "The draft has changed since it was rehearsed; the report is about its old words.",
            "Rehearse it again, read the report, then sign.",
        )
    if made is None:
        if newest.state == Rehearsal.State.FAILED:
            return "The rehearsal of this draft failed.", "Rehearse it again."
        return "The rehearsal is still being worked out.", "Load the page again in a while."
    if not RehearsalReading.objects.filter(rehearsal=made, by=user).exists():
        return (
            "You have not opened the report of the rehearsal yet.",
            "Read what the draft would change, say so under the report, then sign.",
        )
    return "", ""
