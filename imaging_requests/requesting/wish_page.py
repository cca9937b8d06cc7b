"""The pages on which a request is put together: choosing, wishing, seeing what is there."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any
from urllib.parse import urlencode

from django.http import QueryDict
from django.urls import reverse

from imaging_requests.collection.models import CollectionObject, Entry
from imaging_requests.people.models import User
from imaging_requests.people.requests import whole_number
from imaging_requests.requesting import outlook, queries
from imaging_requests.requesting.forms import TICKS, WishForm
from imaging_requests.requesting.overlaps import Overlap, WishedView
from imaging_requests.requesting.words import Numbers, numbers_of, view_words

_TECHNIQUES = (
    ("VF", "Visible light, flash"),
    ("VC", "Visible light, continuous"),
    ("RK", "Raking light from"),
    ("UV", "UV"),
    ("IR", "Infrared"),
)
_DIRECTIONS = (("L", "left"), ("R", "right"), ("T", "top"), ("B", "below"))


def chosen_objects(data: QueryDict) -> dict[int, int | None]:
    """The chosen objects of an address or a form, each with the entry it was chosen through."""
    entries = [pk for value in data.getlist("entry") if (pk := whole_number(value)) is not None]
    chosen: dict[int, int | None] = {}
    for entry_id, object_ids in queries.entry_objects(entries).items():
        for object_id in object_ids:
            chosen.setdefault(object_id, entry_id)
    for value in data.getlist("object"):
        thing, _, through = value.partition("-")
        if (chosen_id := whole_number(thing)) is not None:
            chosen.setdefault(chosen_id, whole_number(through))
    return chosen


def object_values(chosen: Mapping[int, int | None]) -> list[str]:
    """The chosen objects as the form carries them: "12", or "12-3" through entry 3."""
    return [f"{pk}-{entry}" if entry else str(pk) for pk, entry in chosen.items()]


def choose_context(data: QueryDict, user: User) -> dict[str, Any]:
    """The step of choosing objects: what is chosen, what the words find, or one's own entries."""
    words = str(data.get("q", "")).strip()
    chosen = chosen_objects(data)
    found = queries.find_objects(words) if words else []
    entries = queries.find_entries(words) if words else queries.entries_of(user)
    kept = queries.objects_by_id(chosen)
    ids = [row.pk for row in (*found, *kept)]
    ids += [link.object_id for entry in entries for link in entry.present]  # type: ignore[attr-defined]
    numbers = numbers_of(ids)
    return {
        "words": words,
        "chosen": [_choice(row, numbers, chosen) for row in kept],
        "found": [_choice(row, numbers, {}) for row in found if row.pk not in chosen],
        "entries": [_entry_choice(entry, numbers) for entry in entries],
        "is_cut": len(found) >= queries.FOUND_AT_MOST,
    }


def _choice(
    row: CollectionObject, numbers: Numbers, chosen: Mapping[int, int | None]
) -> dict[str, str]:
    entry = chosen.get(row.pk)
    return {
        "value": f"{row.pk}-{entry}" if entry else str(row.pk),
        "number": numbers[row.pk],
        "title": row.title,
    }


def _entry_choice(entry: Entry, numbers: Numbers) -> dict[str, Any]:
    present = entry.present  # type: ignore[attr-defined]
    return {
        "value": str(entry.pk),
        "number": entry.number,
        "title": entry.title,
        "objects": ", ".join(numbers[link.object_id] for link in present) or "no object yet",
    }


@dataclass(frozen=True, kw_only=True)
class Tick:
    """One box of the grid of views."""

    value: str
    label: str
    words: str
    is_ticked: bool


def wish_context(form: WishForm) -> dict[str, Any]:
    """The step of wishing: the grid of views, the pictures to draw a region on."""
    rows = queries.objects_by_id(form.objects)
    numbers = numbers_of(form.objects)
    ticked = set(form["views"].value() or ())
    pictures = outlook.pictures_of(rows[0].pk) if len(rows) == 1 else ()
    again = urlencode([("object", value) for value in object_values(form.objects)])
    return {
        "form": form,
        "objects": [
            {
                "number": numbers[row.pk],
                "title": row.title,
                "href": _object_href(row.pk),
                "look_href": reverse("progress:look", args=[row.pk]),
            }
            for row in rows
        ],
        "object_values": object_values(form.objects),
        "choose_href": f"{reverse('requesting:request_new')}?choose=1&{again}",
        "grid": _grid(ticked),
        "through": _tick("XR-T", "X-ray", ticked),
        "pictures": pictures,
        "answer": "What do you need of "
        + (numbers[rows[0].pk] if len(rows) == 1 else f"these {len(rows)} objects")
        + "?",
    }


def _object_href(pk: int) -> str:
    return reverse("progress:object", args=[pk])


def _tick(value: str, label: str, ticked: set[str]) -> Tick:
    return Tick(
        value=value, label=label, words=view_words(*TICKS[value]), is_ticked=value in ticked
    )


def _grid(ticked: set[str]) -> list[dict[str, Any]]:
    """Techniques down, faces across; raking light has a box for each side it comes from."""
    grid = []
    for technique, label in _TECHNIQUES:
        cells = []
        for face in ("F", "B", "E"):
            if technique == "RK":
                values = [
                    (f"RK-{face}-{code}", words)
                    for code, words in _DIRECTIONS
                    if f"RK-{face}-{code}" in TICKS
                ]
            else:
                values = [(f"{technique}-{face}", "")] if f"{technique}-{face}" in TICKS else []
            cells.append([_tick(value, words, ticked) for value, words in values])
        grid.append({"label": label, "cells": cells})
    return grid


def review_context(
    form: WishForm, wishes: Sequence[WishedView], overlaps: Sequence[Overlap]
) -> dict[str, Any]:
    """The step before filing: each wish with what is there already."""
    numbers = numbers_of(form.objects)
    rows = [
        {
            "number": numbers[wish.object_id],
            "words": view_words(wish.technique, wish.face, wish.direction),
            "region": wish.detail_mm,
            "overlap": overlap,
            "insist_value": f"{wish.object_id}:{tick_of(wish)}",
            "is_insisted": bool(wish.insists_because),
        }
        for wish, overlap in zip(wishes, overlaps, strict=True)
    ]
    here = sum(overlap.is_here for overlap in overlaps)
    out = sum(overlap.not_applicable is not None for overlap in overlaps)
    shared = sum(bool(overlap.askers) and not overlap.needs_insisting for overlap in overlaps)
    return {
        "form": form,
        "object_values": object_values(form.objects),
        "rows": rows,
        "answer": review_answer(total=len(rows), here=here, out=out, shared=shared),
        "needs_insisting": any(overlap.needs_insisting for overlap in overlaps),
        "kept": [
            (name, value)
            for name in form.fields
            if name not in ("insists", "insists_because")
            for value in _values(form.data, name)
        ],
    }


def _values(data: Any, name: str) -> list[str]:
    return list(data.getlist(name))


def tick_of(wish: WishedView) -> str:
    """The value of the box that a wish was ticked in."""
    return next(
        value
        for value, parts in TICKS.items()
        if parts == (wish.technique, wish.face, wish.direction)
    )


def review_answer(*, total: int, here: int, out: int, shared: int) -> str:
    """What filing will do, in one sentence."""
    new = total - here - out - shared
    if here == total:
        return (
            "The picture is here already"
            if total == 1
            else f"All {total} pictures are here already"
        )
    if shared == total > 1:
        return f"Others ask for these {total} pictures too"
    parts = []
    if here:
        parts.append(f"{here} {'is' if here == 1 else 'are'} here already")
    if shared:
        parts.append(f"{shared} {'is' if shared == 1 else 'are'} asked for by others too")
    if out:
        parts.append(f"{out} {'does' if out == 1 else 'do'} not apply")
    if new:
        parts.append(f"{new} {'is' if new == 1 else 'are'} new")
    return f"Of {total} pictures {', '.join(parts)}" if total > 1 else _single(here, shared, out)


def _single(here: int, shared: int, out: int) -> str:
    if shared:
        return "Others ask for this picture too"
    return "This view does not apply" if out else "Nobody has asked for this picture yet"
