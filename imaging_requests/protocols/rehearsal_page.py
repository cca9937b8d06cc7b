"""What the page of a draft shows of its rehearsal."""

from __future__ import annotations

from typing import Any

from imaging_requests.people.models import User
from imaging_requests.people.policies import may
from imaging_requests.protocols.models import Rehearsal, RuleVersion, VersionState
from imaging_requests.protocols.policies import READ_REHEARSAL, REHEARSE
from imaging_requests.protocols.rehearsals import REHEARSED, content_hash, made_of, newest_of


def context_of(row: RuleVersion, user: User) -> dict[str, Any] | None:
    """Return the newest report about a draft, whether it still fits, and what may be done.

    Versions that were published long ago keep the report they were signed on.
    """
    if row.kind not in REHEARSED:
        return None
    newest = newest_of(row)
    is_draft = row.state == VersionState.DRAFT
    if newest is None and not is_draft:
        return None
    fitting = made_of(row)
    shown = fitting or newest
    fits = shown is not None and shown.content_sha256 == content_hash(row.definition)
    readings = [] if shown is None else list(shown.readings.select_related("by"))
    has_read = any(reading.by_id == user.pk for reading in readings)
    return {
        "row": shown,
        "report": shown.report if shown is not None else {},
        "is_made": shown is not None and shown.state == Rehearsal.State.MADE,
        "is_waiting": newest is not None
        and newest.state == Rehearsal.State.ASKED
        and newest.content_sha256 == content_hash(row.definition),
        "has_failed": shown is not None and shown.state == Rehearsal.State.FAILED,
        "is_stale": shown is not None and not fits,
        "readings": readings,
        "may_rehearse": is_draft and may(user, REHEARSE, row),
        "may_read": is_draft
        and fitting is not None
        and not has_read
        and may(user, READ_REHEARSAL, row),
    }
