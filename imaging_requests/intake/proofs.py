"""What is said of one copy after it was read again."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class CopyOutcome(StrEnum):
    """What was found of one copy, and what became of it.

    A file that the program made itself is made again if no copy is good, or dropped if nothing
    needs it any more; a master can only be repaired or lost.
    """

    GOOD = "good"
    REPAIRED = "repaired"
    MADE_AGAIN = "made again"
    DROPPED = "dropped"
    LOST = "lost"
    UNREAD = "unread"


@dataclass(frozen=True, slots=True)
class CopyReport:
    """One copy after it was read again."""

    place: str
    sha256: str
    name: str
    outcome: CopyOutcome
    sentence: str
    size_bytes: int
