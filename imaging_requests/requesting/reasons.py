"""Reasons in words, which every signed decision needs."""

from __future__ import annotations

from imaging_requests.people.errors import DomainError


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
