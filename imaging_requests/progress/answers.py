"""One answer of a first page: a sentence and the rows behind it, with the words they share."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime

from django.utils import timezone

ROWS = 8


@dataclass(frozen=True)
class Row:
    """One line below an answer."""

    text: str
    href: str = ""
    note: str = ""
    status: str = ""
    #: address to which "Try again" is posted
    again: str = ""


@dataclass(frozen=True)
class Section:
    """One answer with its rows, and what to do when there are none.

    The first pressing answer is the title of the page, unless one `is_headline`. One that
    `is_hidden` is left out: nothing like it has ever happened, and nobody need read that.
    """

    answer: str
    rows: list[Row] = field(default_factory=list)
    empty: str = ""
    more_label: str = ""
    more_href: str = ""
    is_pressing: bool = False
    is_headline: bool = False
    is_hidden: bool = False


def count(number: int, noun: str, plural: str = "") -> str:
    """Say a number with its noun: "No wish", "1 wish", "2 wishes"."""
    if number == 0:
        return f"No {noun}"
    return f"{number} {noun if number == 1 else plural or noun + 's'}"


def day(instant: datetime | None) -> str:
    """Say the day of an instant; nothing for none."""
    return timezone.localtime(instant).strftime("%-d %b %Y") if instant else ""


def clock(instant: datetime) -> str:
    """Say an instant with its weekday."""
    return timezone.localtime(instant).strftime("%a %-d %b %Y, %H:%M")
