"""The page of an object or an entry as it stood on a past day."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from django.urls import reverse

from imaging_requests.collection.models import CollectionObject, Entry
from imaging_requests.collection.queries import facts_at
from imaging_requests.people.counting import number_of
from imaging_requests.progress.board import GRADE_WORDS
from imaging_requests.progress.entries import gaps_of
from imaging_requests.progress.facts_part import fact_rows
from imaging_requests.progress.ruler import draw_ruler
from imaging_requests.progress.rules import DerivedEntry, derive_entry
from imaging_requests.progress.surfaces_part import surfaces_over_time
from imaging_requests.progress.two_times import (
    Then,
    ThenView,
    TwoTimes,
    look_back,
    members_then,
    of_catalogue,
    views_then,
)
from imaging_requests.reckoning.truth.terms import Grade
from imaging_requests.requesting.words import numbers_of


def object_then(thing: CollectionObject, times: TwoTimes, *, now: datetime) -> dict[str, Any]:
    """Lay out an object as it stood."""
    found = look_back([thing.pk], times, now=now)
    derived = found.then[thing.pk]
    number = numbers_of([thing.pk])[thing.pk]
    address = reverse("progress:object", args=[thing.pk])
    views = views_then(found, times)
    return {
        "answer": _answer(number, views),
        "sub": thing.title,
        "line": draw_ruler(
            derived.moment, found.speech, chosen=derived.state_index, address=address
        ),
        "counts": [{"figure": f"s{derived.state_index}", "unit": "was the present state"}],
        "surfaces": surfaces_over_time(derived.moment, found.speech, is_past=True),
        "facts": fact_rows(facts_at(thing.pk, valid_at=times.as_of, known_at=times.known_on)),
        "crumbs": [{"label": f"{number} as it is now", "href": address}],
        **_common(views, times, address),
    }


def entry_then(entry: Entry, times: TwoTimes, *, now: datetime) -> dict[str, Any]:
    """Lay out an entry as it stood, with its grade then and the grade that is known now."""
    ids = members_then([entry], times)[entry.pk]
    found = look_back(ids, times, now=now)
    gaps = gaps_of([entry.pk]).get(entry.pk, [])
    catalogue = str(entry.catalogue_id)
    graded = derive_entry([found.then[pk].moment for pk in ids], catalogue=catalogue, gaps=gaps)
    later = derive_entry([found.later[pk].moment for pk in ids], catalogue=catalogue, gaps=gaps)
    counted = Then(
        found.speech, of_catalogue(found.then, catalogue), of_catalogue(found.later, catalogue)
    )
    views = views_then(counted, times)
    address = reverse("progress:entry", args=[entry.pk])
    return {
        "answer": f"Entry {entry.number} was {_grade(graded)}",
        "sub": f"{entry.title}. {graded.why}",
        "otherwise": f"As known today, on that day it was {_grade(later)}: {later.why}"
        if later.grade.grade is not graded.grade.grade
        else "",
        "counts": [{"figure": f"{graded.met} of {graded.owed}", "unit": "views resolved"}],
        "crumbs": [{"label": f"Entry {entry.number} as it is now", "href": address}],
        **_common(views, times, address),
    }


def _answer(number: str, views: list[ThenView]) -> str:
    """The same sentence as on the page of today, of that day."""
    owed = [each.view for each in views if each.was_owed]
    unmet = sum(not view.is_resolved for view in owed)
    if not owed:
        return f"{number} was owed nothing"
    if not unmet:
        return f"{number} had every view it was owed"
    return f"{number} lacked {unmet} of the {number_of(len(owed), 'view')} it was owed"


def _grade(graded: DerivedEntry) -> str:
    words = GRADE_WORDS[Grade(graded.grade.grade)]
    return words.replace("full", "fully documented", 1) if words.startswith("full") else words


def _common(views: list[ThenView], times: TwoTimes, address: str) -> dict[str, Any]:
    return {
        "views": [each for each in views if each.was_owed],
        "changed": [each for each in views if each.later_why],
        "as_of": times.as_of_words,
        "known_on": times.known_words,
        "address": address,
    }
