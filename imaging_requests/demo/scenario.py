"""The scenario as data: who, which objects, what was treated, photographed and asked for."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any

from django.conf import settings

from imaging_requests.reckoning import shots

SIZES = ("small", "full")
FILES = ("museum", "people", "objects", "pictures", "treatments", "campaigns", "requests")


def fixture(path: str) -> Any:
    """Read one file of the folder `fixtures`."""
    return json.loads((Path(settings.BASE_DIR) / "fixtures" / path).read_text("utf-8"))


@dataclass(frozen=True, kw_only=True)
class Thing:
    """One object of the scenario: its number, its entry, what is known of it, how it looks."""

    number: str
    entry: str
    facts: Mapping[str, Any]
    looks: Mapping[str, Any]

    @property
    def is_two_sided(self) -> bool:
        """Whether both faces are painted."""
        return len(self.facts["painted_faces"]) > 1


@dataclass(frozen=True, kw_only=True)
class Scenario:
    """All files of the scenario, and which entries this size of demo has."""

    size: str
    files: Mapping[str, Any]
    asked_reduction: float | None = None

    def __getitem__(self, name: str) -> Any:
        return self.files[name]

    @cached_property
    def things(self) -> tuple[Thing, ...]:
        """Every object of the catalogue, whatever the size of the demo."""
        looks = self["pictures"]["objects"]
        return tuple(
            Thing(
                number=row["object_number"],
                entry=row["entry"],
                facts=row["facts"],
                looks=looks[row["object_number"]],
            )
            for row in self["objects"]["objects"]
        )

    @cached_property
    def entries(self) -> tuple[Mapping[str, Any], ...]:
        """The entries of this demo."""
        chosen = self["museum"]["entries_of_small"] if self.size == "small" else None
        return tuple(
            entry for entry in self["objects"]["entries"] if chosen is None or entry["no"] in chosen
        )

    @cached_property
    def numbers(self) -> frozenset[str]:
        """The inventory numbers of this demo's objects."""
        return frozenset(number for entry in self.entries for number in entry["objects"])

    def mine(self, rows: Sequence[Mapping[str, Any]]) -> list[Mapping[str, Any]]:
        """Return rows whose object belongs to this demo."""
        return [row for row in rows if row["object"] in self.numbers]

    @property
    def reduction(self) -> float:
        """By how much every picture is smaller than it would be in a real studio."""
        return self.asked_reduction or float(self["pictures"]["reduction"])

    def reduction_of(self, technique: str) -> float:
        """By how much pictures of one technique are smaller: X-ray plates are made finer."""
        finer = self["pictures"]["reduced_settings"]["finer"]
        return finer_reduction(finer, technique, self.reduction)

    @cached_property
    def studio_document(self) -> dict[str, Any]:
        """The studio's settings for cameras with fewer and larger pixels; all else unchanged."""
        return reduced_settings(
            fixture("studio/settings-1.json"),
            rules=self["pictures"]["reduced_settings"],
            reduction=self.reduction,
        )

    @cached_property
    def studio(self) -> shots.StudioSettings:
        """The studio's settings, typed."""
        return shots.read_settings(self.studio_document)


def read_scenario(size: str, *, reduction: float | None = None) -> Scenario:
    """Read the scenario for one size; `reduction` replaces how small its pictures usually are."""
    if size not in SIZES:
        raise ValueError(f"There is no scenario of size {size}.")
    return Scenario(
        size=size,
        files={name: fixture(f"demo/{name}.json") for name in FILES},
        asked_reduction=reduction,
    )


def people_of_the_house() -> dict[str, Any]:
    """Everybody of the invented museum, their password, and the museum's name."""
    found: dict[str, Any] = fixture("demo/people.json")
    return found


def reduced_settings(
    document: Mapping[str, Any], *, rules: Mapping[str, Any], reduction: float
) -> dict[str, Any]:
    """Return studio settings whose cameras have pixels that are larger and fewer by `reduction`.

    Every tile, exposure, focus slice and minute stays as it was: a field of 11,600 px at 12 px/mm
    is as wide as one of 966.7 px at 1 px/mm.
    """
    values = {name: dict(row) for name, row in document["values"].items()}
    finer = rules["finer"]
    for name in (*rules["divide"], *rules["multiply"]):
        by = finer_reduction(finer, finer["settings"].get(name, ""), reduction)
        factor = by if name in rules["multiply"] else 1 / by
        values[name]["value"] = _scaled(values[name]["value"], factor)
        values[name]["source"] = rules["source"].format(reduction=f"{by:g}")
    return {
        **document,
        "title": rules["title"].format(reduction=f"{reduction:g}"),
        "values": values,
    }


def finer_reduction(finer: Mapping[str, Any], technique: str, reduction: float) -> float:
    """Return by how much a technique's pictures are smaller; none is larger than in the studio."""
    return max(1.0, reduction / float(finer["by"].get(technique, 1)))


def _scaled(value: Any, factor: float) -> Any:
    if isinstance(value, int | float):
        return round(value * factor, 9)
    if isinstance(value, list):
        return [_scaled(each, factor) for each in value]
    return {
        name: _scaled(each, factor) if name == "px_per_mm" else each for name, each in value.items()
    }
