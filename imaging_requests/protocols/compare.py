"""What differs between two versions of the rules, place by place."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from imaging_requests.protocols import words
from imaging_requests.protocols.models import RuleKind
from imaging_requests.reckoning.shots.words import DIRECTION_NAMES
from imaging_requests.reckoning.truth.words import capital

Document = Mapping[str, Any]
NOT_THERE = "not there"
NOT_SET = "not set"


@dataclass(frozen=True, slots=True)
class Difference:
    """One place that differs: where, what stood there, what stands there now."""

    place: str
    part: str
    before: str
    after: str


def differences(kind: str, older: Document, newer: Document) -> list[Difference]:
    """Return every difference between two documents of one kind, in the order of the newer."""
    return list(_COMPARED[kind](older, newer))


def _by_key(items: Any, key: str) -> dict[str, Document]:
    return {str(item[key]): item for item in items or ()}


def _keyed(
    name: str, older: Mapping[str, Document], newer: Mapping[str, Document], *, skip: str = ""
) -> Iterator[Difference]:
    """Compare two groups of named rows: added, gone, and changed part by part."""
    for key in [*newer, *(key for key in older if key not in newer)]:
        place = f"{name} {key}"
        if key not in older:
            yield Difference(place, "added", NOT_THERE, _whole(newer[key]))
        elif key not in newer:
            yield Difference(place, "taken out", _whole(older[key]), NOT_THERE)
        else:
            yield from _parts(place, older[key], newer[key], skip=skip)


def _parts(place: str, older: Document, newer: Document, *, skip: str) -> Iterator[Difference]:
    for part in dict.fromkeys([*newer, *older]):
        if part != skip and older.get(part) != newer.get(part):
            before, after = (_said(row.get(part), part) for row in (older, newer))
            yield Difference(place, part.replace("_", " "), before, after)


def _whole(row: Document) -> str:
    """Everything a row says: for a line of a protocol its view first, then part by part.

    >>> line = {"id": "back.ir", "technique": "IR", "face": "unpainted_back", "mandatory": True}
    >>> _whole(line)
    'Infrared, back without paint; mandatory: yes'
    """
    said = []
    parts = {name: part for name, part in row.items() if name not in ("id", "row")}
    if {"technique", "face"} <= parts.keys():
        said.append(_view(parts))
        parts = {name: part for name, part in parts.items() if name not in _IN_THE_VIEW}
    if "anchor" in parts:
        anchor = str(parts.pop("anchor"))
        said.append(words.ANCHORS.get(anchor, anchor))
    said += [
        f"{name.replace('_', ' ')}: {_said(part, name)}" for name, part in parts.items() if part
    ]
    return "; ".join(said)


_IN_THE_VIEW = frozenset(("technique", "face", "direction"))


def _view(line: Document) -> str:
    technique, face, light = (
        str(line.get(name) or "") for name in ("technique", "face", "direction")
    )
    said = capital(words.TECHNIQUES.get(technique, technique))
    from_ = f" from the {DIRECTION_NAMES.get(light, light)}" if light else ""
    return f"{said}{from_}, {words.FACES.get(face, face)}"


def _said(stored: Any, part: str = "") -> str:
    if part == "preferred" and isinstance(stored, str):
        return words.preferred(stored)
    if isinstance(stored, Mapping) and stored.keys() & {"fact", "all", "any", "not"}:
        return words.condition(stored, words.FactNames(None))
    return words.value(stored) or NOT_SET


def _protocols(older: Document, newer: Document) -> Iterator[Difference]:
    for part, name in (
        ("lines", "Line"),
        ("not_applicable", "Not applicable:"),
        ("replacements", "In its place:"),
    ):
        yield from _keyed(name, _by_key(older.get(part), "id"), _by_key(newer.get(part), "id"))


def _tables(older: Document, newer: Document) -> Iterator[Difference]:
    before, after = _by_key(older["rows"], "row"), _by_key(newer["rows"], "row")
    yield from _keyed("Row", before, after, skip="cells")
    for key in (key for key in after if key in before):
        yield from _parts(
            f"Row {key}, {after[key]['name']}", before[key]["cells"], after[key]["cells"], skip=""
        )
    for part in ("area_rule", "emergency", "sign_off"):
        yield from _parts(part.replace("_", " ").capitalize(), older[part], newer[part], skip="")


def _settings(older: Document, newer: Document) -> Iterator[Difference]:
    yield from _keyed("Setting", older["values"], newer["values"])


_COMPARED: Mapping[str, Callable[[Document, Document], Iterator[Difference]]] = {
    RuleKind.PROTOCOL: _protocols,
    RuleKind.TRIGGERS: _tables,
    RuleKind.STUDIO: _settings,
}
