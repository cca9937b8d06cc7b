"""Draw the catalogue board.

What is drawn is remembered under everything it shows: the very values that were read from the
database are the key. So a changed value draws anew at once, in every process, and there is nothing
to invalidate.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any, NamedTuple

from django.template.loader import get_template
from django.urls import reverse
from django.utils.safestring import SafeString, mark_safe
from django.utils.text import Truncator

from imaging_requests.people.counting import noun_of, number_of
from imaging_requests.people.templatetags.marks import STATUS_WORDS, mark_name, status_legend
from imaging_requests.progress.board_order import BoardHead
from imaging_requests.progress.columns import COLUMNS, GROUPS, OPENS
from imaging_requests.reckoning.truth.terms import Grade
from imaging_requests.reckoning.truth.waiting import usual_waits

GRADE_WORDS = {
    Grade.FULL: "full",
    Grade.FULL_WAIVED: "full with waivers",
    Grade.GAP: "gap signed",
    Grade.IN_PROGRESS: "in progress",
    Grade.NOT_STARTED: "not started",
}
#: So much of a signed statement is shown in a row; the entry's page has all of it.
GAP_CHARACTERS = 120
#: Rows and whole pages of boards that a process remembers; a row takes two kilobytes.
ROWS_KEPT = 4_000
PAGES_KEPT = 40


@dataclass(frozen=True)
class Totals:
    """The numbers above the board: entries by grade, then present views."""

    total: int
    full: int = 0
    waived: int = 0
    gap: int = 0
    present: int = 0
    resolved: int = 0
    debt: int = 0
    lost: int = 0

    @property
    def sentence(self) -> str:
        """Say how many entries are fully documented, waivers always beside the number."""
        waivers = f" + {self.waived} with waivers" if self.waived else ""
        verb = "is" if 1 in (self.full + self.waived, self.total) else "are"
        entries = number_of(self.total, "entry", "entries")
        return f"{self.full}{waivers} of {entries} {verb} fully documented"

    @property
    def counts(self) -> list[dict[str, Any]]:
        """The count line: present views resolved, and what treatments have undone."""
        return [
            {
                "figure": f"{self.resolved} of {self.present}",
                "unit": f"{noun_of(self.present, 'present view')} resolved",
            },
            {
                "figure": self.debt,
                "unit": f"{noun_of(self.debt, 'present view')} no longer true or undecided",
            },
            {"figure": self.lost, "unit": "lost for good"},
        ]


class BoardRow(NamedTuple):
    """One entry as it is read for the board; `cells` is the text of the cached statuses.

    `query` leads to the entry's page as of the same past day; empty on the board of today.
    """

    pk: int
    number: str
    title: str
    grade: str | None
    unmet: int | None
    cells: str | None
    lost: int | None = None
    gap: str | None = None
    query: str = ""

    @property
    def grade_words(self) -> str:
        """The grade, and how many views are lost for good, waived ones not counted."""
        words = GRADE_WORDS[Grade(self.grade)] if self.grade else "not derived yet"
        return f"{words}, {self.lost} lost" if self.lost else words

    @property
    def gap_words(self) -> str:
        """What was signed about the lost views, or that this is awaited."""
        if self.gap:
            return f"“{Truncator(self.gap).chars(GAP_CHARACTERS)}”"
        return "Waits for a gap statement signed by the department head." * bool(self.lost)


def draw(template: str, context: dict[str, Any]) -> SafeString:
    """Draw a component without a request."""
    return mark_safe(get_template(template).render(context))


@lru_cache(maxsize=PAGES_KEPT)
def draw_board(
    rows: Sequence[BoardRow], heads: Sequence[BoardHead] = (), order: str = ""
) -> SafeString:
    """Draw the table of some rows; with `heads` its columns can be put in order."""
    none: list[BoardHead | None] = [None] * (3 + len(COLUMNS))
    entry, unmet, grade, *columns = heads or none
    return draw(
        "components/board.html",
        {
            "caption": "Entries and the views they are owed" + (f", {order}" if order else ""),
            "entry": entry,
            "unmet": unmet,
            "grade": grade,
            "groups": [{"label": label, "span": span} for label, span in GROUPS],
            "columns": [
                {"code": column.code, "words": column.words, "head": head}
                for column, head in zip(COLUMNS, columns, strict=True)
            ],
            "waits": _waits(),
            "body": mark_safe("".join(draw_row(row) for row in rows)),
        },
    )


@lru_cache(maxsize=1)
def _waits() -> list[tuple[str, str]]:
    """What a view under each mark waits for, in the order of the legend."""
    waits = {mark_name(status, STATUS_WORDS): words for status, words in usual_waits().items()}
    return [(word, waits[name]) for name, word in STATUS_WORDS.items() if name in waits]


@lru_cache(maxsize=1)
def draw_legend() -> SafeString:
    """Draw every mark with its word; it is always the same."""
    return draw("components/legend.html", status_legend(empty="not owed"))


@lru_cache(maxsize=ROWS_KEPT)
def draw_row(row: BoardRow) -> SafeString:
    """Draw one row of the table."""
    cells: dict[str, list[str]] = json.loads(row.cells) if row.cells else {}
    href = reverse("progress:entry", args=[row.pk]) + row.query
    shown = {
        "number": row.number,
        "title": row.title,
        "href": href,
        "cells": [
            {"statuses": cells[column.key], "href": f"{href}#{column.key}"}
            if column.key in cells
            else None
            for column in COLUMNS
        ],
        "grade": row.grade_words,
        "gap": row.gap_words,
        "unmet": "" if row.unmet is None else row.unmet,
        "unmet_href": f"{href}#unmet",
    }
    return draw("components/board_row.html", {"row": shown, "opens": OPENS})
