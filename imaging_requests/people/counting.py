"""Numbers with their nouns, so that no page says "1 views"."""

from __future__ import annotations


def noun_of(number: int, noun: str, many: str = "") -> str:
    """Return a noun as it stands behind a number.

    >>> noun_of(1, "view"), noun_of(0, "view"), noun_of(2, "entry", "entries")
    ('view', 'views', 'entries')
    """
    return noun if number == 1 else many or f"{noun}s"


def number_of(number: int, noun: str, many: str = "") -> str:
    """Write a number with its noun.

    >>> number_of(1, "step"), number_of(1200, "frame"), number_of(3, "entry", "entries")
    ('1 step', '1,200 frames', '3 entries')
    """
    return f"{number:,} {noun_of(number, noun, many)}"
