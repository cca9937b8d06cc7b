"""Gather everything recorded about objects, in a fixed number of queries, as plain facts.

Each record keeps both its times: when it was true and when the house learnt it. What counts at a
given pair of times is decided by the pure rules, never here.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from imaging_requests.collection.models import CollectionObject
from imaging_requests.progress.gather.by_object import ByObject, T
from imaging_requests.progress.gather.chances import planned_of, unavailable_of
from imaging_requests.progress.gather.changes import (
    decisions_of,
    events_of,
    facts_of,
    overrides_of,
)
from imaging_requests.progress.gather.duties import (
    demands_of,
    not_applicable_of,
    views_of,
    waivers_of,
)
from imaging_requests.progress.gather.filings import filings_of
from imaging_requests.progress.gather.results import (
    corrections_of,
    pictures_of,
    reviews_of,
)
from imaging_requests.reckoning.truth import facts as truth
from imaging_requests.requesting.models import OwedView
from imaging_requests.treatments.events import published_tables


def gather_cases(object_ids: Iterable[int]) -> dict[int, truth.ObjectCase]:
    """Return the case file of each object; the number of queries does not depend on how many.

    Records that were merged into an object bring their pictures and events with them.
    """
    ids = sorted(set(object_ids))
    doubles = _doubles(ids)
    everyone = sorted({*ids, *doubles})
    views = list(OwedView.objects.defer("spec").filter(object_id__in=ids))
    published = published_tables()
    parts: dict[str, Mapping[int, list[Any]]] = {
        "facts": facts_of(ids),
        "events": _joined(events_of(everyone, published), doubles),
        "pictures": _joined(pictures_of(everyone), doubles),
        "reviews": _joined(reviews_of(everyone), doubles),
        "filings": _joined(filings_of(everyone), doubles),
        "views": views_of(views),
        "demands": demands_of(ids),
        "waivers": waivers_of(ids),
        "not_applicable": not_applicable_of(ids, views),
        "decisions": _joined(decisions_of(everyone), doubles),
        "planned": planned_of(ids),
        "unavailable": unavailable_of(ids),
        "overrides": _joined(overrides_of(everyone), doubles),
        "corrections": _joined(corrections_of(everyone), doubles),
    }
    return {
        pk: truth.ObjectCase(
            object_id=str(pk),
            published=tuple(published),
            **{name: tuple(part.get(pk, ())) for name, part in parts.items()},
        )
        for pk in ids
    }


def _doubles(ids: list[int]) -> dict[int, int]:
    """Return the records merged into some objects, each with the object that it is."""
    rows = CollectionObject.objects.filter(merged_into__in=ids).values_list("pk", "merged_into_id")
    return {pk: kept for pk, kept in rows if kept is not None}


def _joined(found: ByObject[T], doubles: Mapping[int, int]) -> ByObject[T]:
    joined = dict(found)
    for double, kept in doubles.items():
        joined[kept] = [*joined.get(kept, ()), *found.get(double, ())]
    return joined
