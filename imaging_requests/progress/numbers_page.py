"""The numbers of a catalogue with the rows behind each."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from django.http import Http404
from django.urls import reverse

from imaging_requests.collection.models import Catalogue
from imaging_requests.people.templatetags.marks import STATUS_WORDS, mark_name
from imaging_requests.progress.board_reads import headline
from imaging_requests.progress.catalogue_then import catalogue_then, known_then
from imaging_requests.progress.metrics import Metric, Part, metrics_of, metrics_then
from imaging_requests.progress.metrics_known import read_catalogue
from imaging_requests.progress.two_times import TwoTimes

#: Rows shown of each part on the page of all numbers; the rest is one link away.
SHOWN = 8
#: What is not said of a past day, and why.
LEFT_OUT = (
    "Gates, only-now windows, waivers, the review queue and files not placed are shown for today "
    "only: what they count is not kept for every past day. Entries that had no object yet are "
    "left out."
)


def _label(part: Part) -> str:
    return part.words or STATUS_WORDS[mark_name(part.key, STATUS_WORDS)]


def _laid_out(catalogue: Catalogue, metric: Metric, query: str = "") -> dict[str, Any]:
    return {
        "key": metric.key,
        "name": metric.name,
        "answer": metric.answer,
        "definition": metric.definition,
        "parts": [
            {
                "key": part.key,
                "label": _label(part),
                "figure": part.figure,
                "rows": part.rows[:SHOWN],
                "more": part.figure > SHOWN,
                "href": reverse("progress:rows", args=[catalogue.pk, metric.key, part.key]) + query,
            }
            for part in metric.parts
        ],
    }


def numbers_context(catalogue: Catalogue, *, now: datetime) -> dict[str, Any]:
    """Lay out every number with its first rows."""
    metrics = metrics_of(read_catalogue(catalogue, now=now))
    return {
        "catalogue": catalogue,
        "answer": headline(catalogue).sentence,
        "sub": f"{catalogue.title}. Every number opens the rows that it counts.",
        "crumbs": _crumbs(catalogue),
        "metrics": [_laid_out(catalogue, metric) for metric in metrics],
    }


def numbers_then(catalogue: Catalogue, times: TwoTimes, *, now: datetime) -> dict[str, Any]:
    """Lay out the numbers of a past day that the records answer."""
    then = catalogue_then(catalogue, times, now=now)
    return {
        "catalogue": catalogue,
        "answer": f"On {times.as_of_words}, {then.totals.sentence}",
        "sub": f"{catalogue.title}. Every number opens the rows that it counts.",
        "crumbs": _crumbs(catalogue),
        "metrics": [
            _laid_out(catalogue, metric, times.query) for metric in metrics_then(known_then(then))
        ],
        "left_out": LEFT_OUT,
    }


def rows_context(
    catalogue: Catalogue, metric: str, part: str, *, now: datetime, times: TwoTimes | None = None
) -> dict[str, Any]:
    """Lay out all rows of one part of a number."""
    query = times.query if times is not None else ""
    metrics = (
        metrics_of(read_catalogue(catalogue, now=now))
        if times is None
        else metrics_then(known_then(catalogue_then(catalogue, times, now=now)))
    )
    for found in metrics:
        for each in found.parts:
            if (found.key, each.key) == (metric, part):
                return {
                    "rows": each.rows,
                    "figure": each.figure,
                    "answer": f"{each.figure} {_label(each)}",
                    "sub": f"{found.name}: {found.answer}. {found.definition}",
                    "crumbs": [
                        *_crumbs(catalogue),
                        {
                            "label": "Numbers",
                            "href": reverse("progress:numbers", args=[catalogue.pk])
                            + query
                            + f"#{found.key}",
                        },
                    ],
                }
    raise Http404(f"There is no number {metric} with a part {part}.")


def _crumbs(catalogue: Catalogue) -> list[dict[str, str]]:
    return [{"label": catalogue.title, "href": reverse("progress:board", args=[catalogue.pk])}]
