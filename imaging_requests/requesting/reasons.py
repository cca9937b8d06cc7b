"""Reasons in words, which every signed decision needs."""

from __future__ import annotations

from datetime import datetime

from imaging_requests.people.errors import DomainError
from imaging_requests.protocols.queries import trigger_table_in_force


def reason_text(text: str, what: str) -> str:
    """Return the reason without blanks around it, or refuse an empty one."""
    cleaned = text.strip()
    if not cleaned:
        raise DomainError(
            f"{what} needs its reason in words.",
            code="requesting.no_reason",
            next_step="Write one sentence that somebody understands in ten years.",
        )
    return cleaned


def gap_text(text: str, now: datetime) -> str:
    """Return what a gap statement says, or refuse one that nobody could follow later."""
    cleaned = reason_text(text, "A gap statement")
    at_least = trigger_table_in_force(now).min_reason_length
    if len(cleaned) < at_least:
        raise DomainError(
            f"The statement has {len(cleaned)} character{'' if len(cleaned) == 1 else 's'}; at "
            f"least {at_least} are needed, because it stands beside the entry for good.",
            code="requesting.gap_text_too_short",
            next_step="Say what is missing and why it can never be made again.",
        )
    return cleaned
