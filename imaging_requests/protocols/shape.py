"""The shape a document of rules must have before it is read, and its faults as sentences."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from jsonschema import Draft202012Validator
from jsonschema.exceptions import ValidationError

from imaging_requests.protocols.models import RuleKind
from imaging_requests.reckoning.shots.protocol import PREFERRED_STATES

_TEXT = {"type": "string", "minLength": 1}
_TEXTS = {"type": "array", "items": {"type": "string"}}
_NUMBER = {"type": "integer", "minimum": 1, "maximum": 9999}

_PROTOCOL_LINE = {
    "type": "object",
    "required": ["id", "technique", "face"],
    "properties": {
        "id": {**_TEXT, "maxLength": 40},
        "technique": {**_TEXT, "maxLength": 2},
        "face": _TEXT,
        "when": {"type": "object"},
        "direction": {"type": "string"},
        "anchor": _TEXT,
        "preferred": {"enum": list(PREFERRED_STATES)},
        "method": _TEXT,
        "mandatory": {"type": "boolean"},
        "waived_by": _TEXTS,
        "px_per_mm": {"type": "number", "exclusiveMinimum": 0},
        "tolerance_percent": {"type": "number", "minimum": 0, "maximum": 100},
        "overlap": {"type": "number", "minimum": 0, "exclusiveMaximum": 1},
        "exposures_ev": {"type": "array", "items": {"type": "number"}, "minItems": 1},
        "detail": {"type": "object"},
        "despite": _TEXTS,
        "why": {"type": "string"},
    },
    "additionalProperties": False,
}
_RULE = {
    "type": "object",
    "required": ["id", "reason"],
    "properties": {
        "id": _TEXT,
        "when": {"type": "object"},
        "reason": _TEXT,
        "techniques": _TEXTS,
        "faces": _TEXTS,
        "except_views": _TEXTS,
        "on_request": {"type": "string"},
    },
    "additionalProperties": False,
}
_REPLACEMENT = {
    "type": "object",
    "required": ["id", "technique", "by", "reason"],
    "properties": {
        "id": _TEXT,
        "when": {"type": "object"},
        "technique": _TEXT,
        "by": _TEXT,
        "reason": _TEXT,
        "except_faces": _TEXTS,
    },
    "additionalProperties": False,
}
_VALUE_WITH_UNIT = {
    "type": "object",
    "required": ["value", "unit"],
    "properties": {"value": {"type": "number", "minimum": 0}, "unit": _TEXT},
}
_TRIGGER_ROW = {
    "type": "object",
    "required": ["row", "name", "said", "cells", "reason"],
    "properties": {
        "row": _NUMBER,
        "name": _TEXT,
        "said": _TEXT,
        "cells": {"type": "object", "additionalProperties": {"type": "string"}},
        "last_look": {
            "type": "array",
            "items": {
                "type": "object",
                "required": ["column"],
                "properties": {"column": _TEXT, "as_of": _TEXT, "note": {"type": "string"}},
            },
        },
        "reason": {"type": "string"},
        "flags": _TEXTS,
        "surface_act": {
            "type": "object",
            "required": ["act", "columns"],
            "properties": {
                "act": {"enum": ["cover", "uncover", "line", "unline", "board", "replace"]},
                "columns": {"enum": ["F", "B"]},
            },
        },
        "by_kind": {
            "type": "object",
            "additionalProperties": {"enum": ["O", "V", "D+", "D-", "H", "N"]},
        },
    },
}

SHAPES: Mapping[str, Mapping[str, Any]] = {
    RuleKind.PROTOCOL: {
        "type": "object",
        "required": ["id", "version", "title", "lines"],
        "properties": {
            "id": {**_TEXT, "maxLength": 80},
            "version": _NUMBER,
            "title": _TEXT,
            "lines": {"type": "array", "items": _PROTOCOL_LINE, "minItems": 1},
            "not_applicable": {"type": "array", "items": _RULE},
            "replacements": {"type": "array", "items": _REPLACEMENT},
        },
    },
    RuleKind.TRIGGERS: {
        "type": "object",
        "required": [
            "version",
            "title",
            "columns",
            "families",
            "area_rule",
            "emergency",
            "sign_off",
            "rows",
        ],
        "properties": {
            "version": _NUMBER,
            "title": _TEXT,
            "columns": {"type": "array", "items": _TEXT, "minItems": 1, "uniqueItems": True},
            "families": {"type": "object", "additionalProperties": _TEXT},
            "area_rule": {
                "type": "object",
                "required": ["max_share", "max_area", "columns"],
                "properties": {
                    "max_share": _VALUE_WITH_UNIT,
                    "max_area": _VALUE_WITH_UNIT,
                    "columns": _TEXTS,
                },
            },
            "emergency": {
                "type": "object",
                "required": ["witness_within"],
                "properties": {"witness_within": _VALUE_WITH_UNIT},
            },
            "sign_off": {
                "type": "object",
                "required": ["min_reason_length"],
                "properties": {"min_reason_length": _VALUE_WITH_UNIT},
            },
            "rows": {"type": "array", "items": _TRIGGER_ROW, "minItems": 1},
        },
    },
    RuleKind.STUDIO: {
        "type": "object",
        "required": ["version", "title", "values"],
        "properties": {
            "version": _NUMBER,
            "title": _TEXT,
            "values": {
                "type": "object",
                "minProperties": 1,
                "additionalProperties": {
                    "type": "object",
                    "required": ["value", "unit", "source", "mark"],
                    "properties": {"unit": _TEXT, "source": _TEXT, "mark": _TEXT},
                },
            },
        },
    },
}

#: What is wrong, for the kinds of fault that a person meets; anything else is said plainly.
_FAULTS = {
    "minItems": "needs at least {value} of them",
    "enum": "must be one of {value}",
    "minimum": "must not be below {value}",
    "exclusiveMinimum": "must be above {value}",
    "maximum": "must not be above {value}",
    "exclusiveMaximum": "must be below {value}",
    "minLength": "must not be empty",
    "maxLength": "must not be longer than {value} characters",
    "uniqueItems": "names something twice",
    "minProperties": "must not be empty",
}
_TYPES = {
    "object": "a group of named values",
    "array": "a list",
    "string": "a text",
    "integer": "a whole number",
    "number": "a number",
    "boolean": "true or false",
    "null": "null",
}


def misfits(kind: str, document: object) -> list[str]:
    """Return one sentence for each place where `document` has not the shape of its kind."""
    return misfits_of(Draft202012Validator(SHAPES[kind]), document)


def misfits_of(shape: Draft202012Validator, document: object) -> list[str]:
    """Return one sentence for each place where `document` does not fit `shape`."""
    errors = sorted(shape.iter_errors(document), key=_place_in_order)
    return list(dict.fromkeys(_sentence(error, document) for error in errors))


def _place_in_order(error: ValidationError) -> list[str]:
    return [f"{part:05}" if isinstance(part, int) else str(part) for part in error.absolute_path]


def _sentence(error: ValidationError, document: object) -> str:
    where = _where(error.absolute_path, document)
    value: Any = error.validator_value
    found: Any = error.instance
    schema: Any = error.schema
    if error.validator == "type":
        kinds = [value] if isinstance(value, str) else value
        return f"{where} must be {' or '.join(_TYPES[kind] for kind in kinds)}."
    if error.validator == "additionalProperties":
        strange = sorted(set(found) - set(schema["properties"]))
        return f"{where} has {_listed(strange)}, which no version knows."
    if error.validator == "required":
        return f"{where} needs {_listed(name for name in value if name not in found)}."
    words = _FAULTS.get(str(error.validator), "is not as it must be")
    shown = _listed([str(each) for each in value]) if isinstance(value, list) else value
    return f"{where} {words.format(value=shown)}."


def _listed(names: Iterable[str]) -> str:
    return ", ".join(f"“{name}”" for name in names)


def _where(path: Iterable[str | int], document: object) -> str:
    """Name a place as people find it: "Line painted.uv", "Row 12, cells", "The document"."""
    parts: list[str] = []
    here: Any = document
    for step in path:
        here = here[step]
        if isinstance(step, int):
            own = here.get("id") or here.get("row") if isinstance(here, Mapping) else None
            parts.append(f"no. {step + 1}" if own is None else f"“{own}”")
        else:
            parts.append(f"“{step}”" if "." in step else step.replace("_", " "))
    words = ", ".join(parts)
    return words[:1].upper() + words[1:] if words else "The document"


def in_order(document: Any, shape: Mapping[str, Any]) -> Any:
    """Return a document with its named values in the order of its shape, others by alphabet.

    PostgreSQL does not keep the order in which a document was written; people read it so.
    """
    if isinstance(document, Mapping):
        known: Mapping[str, Any] = shape.get("properties", {})
        inner = shape.get("additionalProperties")
        further = inner if isinstance(inner, Mapping) else {}
        names = [
            *(name for name in known if name in document),
            *sorted(name for name in document if name not in known),
        ]
        return {name: in_order(document[name], known.get(name, further)) for name in names}
    if isinstance(document, list):
        return [in_order(each, shape.get("items", {})) for each in document]
    return document
