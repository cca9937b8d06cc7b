"""What a person still has ahead, asked before the account is closed; outer rooms know it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime

from imaging_requests.people.models import User


@dataclass(frozen=True, slots=True)
class Ahead:
    """One thing that waits for the person: in words, and where it is planned anew."""

    text: str
    href: str


Outlook = Callable[[User, datetime], list[Ahead]]
_outlooks: list[Outlook] = []


def tell_ahead(outlook: Outlook) -> None:
    """Let an outer room say what it has planned with a person; called once at start."""
    if outlook not in _outlooks:
        _outlooks.append(outlook)


def ahead_of(user: User, now: datetime) -> list[Ahead]:
    """Everything that is planned with the person from now on."""
    return [each for outlook in _outlooks for each in outlook(user, now)]
