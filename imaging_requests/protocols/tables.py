"""Versions laid out as the rows that pages show."""

from __future__ import annotations

from typing import Any

from imaging_requests.protocols import queries, words
from imaging_requests.protocols.models import (
    ProtocolVersion,
    RuleVersion,
    StudioSettingsVersion,
    TriggerTableVersion,
)
from imaging_requests.reckoning.shots.settings import StudioSettings
from imaging_requests.reckoning.truth.triggers import EITHER_WAY, Row, TriggerTable

#: What the letters of the trigger table mean, in the order of the legend.
EFFECTS: dict[str, str] = {
    "O": "out of date",
    "V": "still valid",
    "D+": "a conservator decides, proposed: out of date",
    "D-": "a conservator decides, proposed: still valid",
    "H": "the surface becomes hidden; its pictures stay true",
    "N": "a new or re-exposed surface appears",
    EITHER_WAY: "hidden when put on, new when taken off",
}
#: What the first part of a column of the trigger table means, and what its second part does.
COLUMN_WORDS = {
    "VIS": "visible light",
    "RK": "raking light",
    "UV": "UV fluorescence",
    "IR": "infrared",
    "XR": "X-ray",
    "E": "edges",
}
SIDE_WORDS = {"F": ", the front", "B": ", the back"}
AS_OF = {"before": "before treatment", "cleaned": "of the cleaned state"}


def layout(version: RuleVersion, settings: StudioSettings | None) -> dict[str, Any]:
    """Return what the page of one version shows, by its kind."""
    if isinstance(version, ProtocolVersion):
        return _protocol(version, words.FactNames(settings))
    if isinstance(version, TriggerTableVersion):
        return _table(queries.trigger_table_of(version))
    assert isinstance(version, StudioSettingsVersion)
    return _settings(version)


def _protocol(version: ProtocolVersion, facts: words.FactNames) -> dict[str, Any]:
    protocol = queries.protocol_of(version)
    return {
        "title": protocol.title,
        "lines": [
            {
                "id": line.id,
                "view": words.view(line),
                "departures": words.departures(line),
                "when": words.condition(line.when.source, facts),
                "anchor": words.as_of(line),
                "is_long": bool(line.preferred),
                "waived_by": " or ".join(line.waived_by) or "nobody",
                "is_mandatory": line.mandatory,
                "why": line.why,
            }
            for line in protocol.lines
        ],
        "not_applicable": [
            {
                "views": words.not_applicable(rule),
                "when": words.condition(rule.when.source, facts),
                "reason": rule.reason,
                "on_request": rule.on_request,
            }
            for rule in protocol.not_applicable
        ],
        "replacements": [
            {
                "what": words.replacement(rule),
                "when": words.condition(rule.when.source, facts),
                "reason": rule.reason,
            }
            for rule in protocol.replacements
        ],
        "pinned": queries.entries_pinned_to(version),
    }


def _table(table: TriggerTable) -> dict[str, Any]:
    return {
        "columns": [{"code": code, "words": column_words(code)} for code in table.columns],
        "effects": [{"letter": letter, "words": said} for letter, said in EFFECTS.items()],
        "rows": [_trigger_row(row, table.columns) for row in table.rows.values()],
        "area_cm2": f"{table.max_area_cm2:g}",
        "area_percent": f"{table.max_area_pct:g}",
        "softened": sorted(table.softened_columns, key=table.columns.index),
        "witness_within_h": f"{table.witness_within_h:g}",
        "reason_length": table.min_reason_length,
    }


def column_words(code: str) -> str:
    """Say which pictures a column of the trigger table speaks of.

    >>> column_words("VIS-F"), column_words("XR")
    ('visible light, the front', 'X-ray')
    """
    technique, _, side = code.partition("-")
    return COLUMN_WORDS.get(technique, technique) + SIDE_WORDS.get(side, "")


def _trigger_row(row: Row, columns: tuple[str, ...]) -> dict[str, Any]:
    letters = [
        EITHER_WAY if (effect := row.cells[column]) is None else effect.value for column in columns
    ]
    return {
        "number": row.number,
        "name": row.name,
        "cells": [
            {"column": column_words(column), "letter": letter, "words": EFFECTS[letter]}
            for column, letter in zip(columns, letters, strict=True)
        ],
        "last_look": _last_looks(row),
        "reason": row.reason,
    }


def _last_looks(row: Row) -> list[str]:
    """Say the views a step destroys, those with the same words together."""
    columns: dict[str, list[str]] = {}
    for look in row.last_look:
        columns.setdefault(look.note or AS_OF[look.as_of], []).append(look.column)
    return [f"{', '.join(names)} {said}" for said, names in columns.items()]


def _settings(version: StudioSettingsVersion) -> dict[str, Any]:
    document = version.definition
    groups: dict[str, list[dict[str, str]]] = {}
    for name, row in sorted(document["values"].items()):
        groups.setdefault(name.split(".")[0], []).append(
            {
                "id": name,
                "value": words.value(row["value"]),
                "unit": row["unit"],
                "source": row["source"],
                "mark": row["mark"],
            }
        )
    return {
        "title": document["title"],
        "marks": document.get("marks", {}),
        "groups": [{"name": name, "rows": rows} for name, rows in groups.items()],
    }
