"""Read the catalogue board from the cache, in a fixed number of queries."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from typing import Any

from django.db.models import QuerySet
from django.urls import reverse

from imaging_requests.collection.models import Catalogue, Entry
from imaging_requests.progress.columns import COLUMNS, GROUPS, OPENS
from imaging_requests.reckoning.truth.terms import Grade

GRADE_WORDS = {
    Grade.FULL: "full",
    Grade.FULL_WAIVED: "full with waivers",
    Grade.GAP: "gap signed",
    Grade.IN_PROGRESS: "in progress",
    Grade.NOT_STARTED: "not started",
}


@dataclass(frozen=True)
class Headline:
    """The numbers above the board."""

    full: int
    waived: int
    gap: int
    total: int

    @property
    def sentence(self) -> str:
        """Say how many entries are fully documented, waivers always beside the number."""
        waivers = f" + {self.waived} with waivers" if self.waived else ""
        verb = "is" if self.full + self.waived == 1 else "are"
        return f"{self.full}{waivers} of {self.total} entries {verb} fully documented"


def headline(catalogue: Catalogue) -> Headline:
    """Count entries by grade in one query."""
    grades = Counter(
        Entry.objects.filter(catalogue=catalogue).values_list("derived__grade", flat=True)
    )
    return Headline(
        full=grades[Grade.FULL],
        waived=grades[Grade.FULL_WAIVED],
        gap=grades[Grade.GAP],
        total=sum(grades.values()),
    )


def board_entries(catalogue: Catalogue) -> QuerySet[Entry]:
    """Return the entries of a catalogue with their cached status, in order."""
    return (
        Entry.objects.filter(catalogue=catalogue)
        .select_related("derived", "curator")
        .order_by("sort_key", "pk")
    )


def board_context(entries: list[Entry]) -> dict[str, Any]:
    """Lay entries out for the board component."""
    rows = []
    for entry in entries:
        derived = getattr(entry, "derived", None)
        cells: dict[str, list[str]] = derived.cells if derived is not None else {}
        href = reverse("progress:entry", args=[entry.pk])
        rows.append(
            {
                "number": entry.number,
                "title": entry.title,
                "href": href,
                "cells": [
                    {"statuses": cells[column.key], "href": f"{href}#{column.key}"}
                    if column.key in cells
                    else None
                    for column in COLUMNS
                ],
                "grade": GRADE_WORDS[Grade(derived.grade)] if derived else "not derived yet",
                "unmet": derived.unmet if derived else "",
                "unmet_href": f"{href}#unmet",
            }
        )
    return {
        "groups": [{"label": label, "span": span} for label, span in GROUPS],
        "columns": [{"code": column.code, "words": column.words} for column in COLUMNS],
        "opens": list(OPENS),
        "rows": rows,
    }
