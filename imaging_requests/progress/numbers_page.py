"""The numbers of a catalogue with the rows behind each."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from django.http import Http404
from django.urls import reverse

from imaging_requests.collection.models import Catalogue
from imaging_requests.people.templatetags.marks import STATUS_WORDS, mark_name
from imaging_requests.progress.board_reads import headline
from imaging_requests.progress.metrics import Metric, Part, metrics_of
from imaging_requests.progress.metrics_known import read_catalogue

#: Rows shown of each part on the page of all numbers; the rest is one link away.
SHOWN = 8


def _label(part: Part) -> str:
    return part.words or STATUS_WORDS[mark_name(part.key, STATUS_WORDS)]


def _laid_out(catalogue: Catalogue, metric: Metric) -> dict[str, Any]:
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
                "href": reverse("progress:rows", args=[catalogue.pk, metric.key, part.key]),
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


def rows_context(catalogue: Catalogue, metric: str, part: str, *, now: datetime) -> dict[str, Any]:
    """Lay out all rows of one part of a number."""
    for found in metrics_of(read_catalogue(catalogue, now=now)):
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
                            + f"#{found.key}",
                        },
                    ],
                }
    raise Http404(f"There is no number {metric} with a part {part}.")


def _crumbs(catalogue: Catalogue) -> list[dict[str, str]]:
    return [{"label": catalogue.title, "href": reverse("progress:board", args=[catalogue.pk])}]
