"""A draft is tried before it is kept: its values have the right kinds, and lists come out of it.

What the reader passes can still be of no use: a text where a number belongs, a condition that
compares words with numbers, a technique that nobody has a way of working for. Such a draft would
be noticed only when it is in force and every page of every object asks it, so it is noticed here.
A version that was published once is read without this: the program may have learnt to ask more.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from functools import cache
from typing import Any

from django.conf import settings as django_settings
from jsonschema import Draft202012Validator

from imaging_requests.protocols.models import RuleKind
from imaging_requests.protocols.rules import read_definition, unusable
from imaging_requests.protocols.shape import misfits_of
from imaging_requests.reckoning.shots.answer import as_data
from imaging_requests.reckoning.shots.derive import derive_shot_list
from imaging_requests.reckoning.shots.facts import FACT_NAMES, ObjectFacts
from imaging_requests.reckoning.shots.predicates import read_condition
from imaging_requests.reckoning.shots.protocol import Protocol
from imaging_requests.reckoning.shots.settings import StudioSettings
from imaging_requests.reckoning.truth.triggers import TableError, TriggerTable

#: Ids under which a studio may add and leave out rows of its own.
OPEN_GROUPS = ("caution", "fact", "method", "size", "station")
#: Groups whose every value has one form, whatever its id.
UNIFORM = ("caution", "fact")
PRESENT = "CUR"
CONDITIONS = ("when", "only_if")
#: What a table of triggers is asked about from the first day.
ASKED = (
    *((technique, face) for technique in ("VF", "VC", "RK", "UV", "IR") for face in ("F", "B")),
    ("VF", "E"),
    ("XR", "T"),
)
_KNOWN: dict[str, Any] = {
    "depth_mm": 18,
    "weight_kg": 9,
    "framed": True,
    "glazed": False,
    "sealed": False,
    "painted_faces": ("F",),
    "flash_allowed": True,
    "uv_allowed": True,
    "light_class": "medium",
    "loan_departure_in_days": 20,
    "uv_cap_min": 10,
    "frame_height_mm": 1100,
    "frame_width_mm": 900,
}
INVENTED = {
    "a canvas": {"height_mm": 920, "width_mm": 740, "warp_mm": 4, "support": "canvas"},
    "a painting on copper": {"height_mm": 240, "width_mm": 180, "warp_mm": 0, "support": "copper"},
    "a wing painted on both sides": {
        "height_mm": 1480,
        "width_mm": 560,
        "warp_mm": 14,
        "support": "panel",
        "painted_faces": ("F", "B"),
        "framed": False,
        "light_class": "low",
    },
    "a sealed gouache": {
        "height_mm": 610,
        "width_mm": 480,
        "warp_mm": 3,
        "support": "canvas",
        "glazed": True,
        "sealed": True,
        "flash_allowed": False,
        "light_class": "high",
    },
    "a very large canvas": {
        "height_mm": 2650,
        "width_mm": 3900,
        "warp_mm": 25,
        "weight_kg": 95,
        "support": "canvas",
    },
    "a frame": {
        "height_mm": 1340,
        "width_mm": 1620,
        "warp_mm": 0,
        "support": "frame",
        "kind": "frame",
        "painted_faces": (),
    },
}


def demand_usable(
    kind: str,
    document: object,
    *,
    protocol: Protocol | None = None,
    settings: StudioSettings | None = None,
) -> None:
    """Refuse a draft with every sentence there is to say about it.

    `protocol` and `settings` are those in force; without them a draft of the other kind is read
    and its conditions are tried, but no list is made.
    """
    if kind == RuleKind.STUDIO:
        misfitting = misfits_of(Draft202012Validator(_pattern_of_settings()), document)
        if misfitting:
            raise unusable(misfitting)
    definition = read_definition(kind, document)
    faults = list(dict.fromkeys(_conditions_at_fault(document)))
    if isinstance(definition, TriggerTable):
        faults += _columns_at_fault(definition)
    else:
        if isinstance(definition, Protocol):
            protocol = definition
            faults += _anchors_at_fault(definition)
        settings = definition if isinstance(definition, StudioSettings) else settings
        if not faults and protocol is not None and settings is not None:
            faults += _lists_at_fault(protocol, settings)
    if faults:
        raise unusable(faults)


def _invented() -> Iterator[tuple[str, ObjectFacts]]:
    for name, facts in INVENTED.items():
        yield name, ObjectFacts(**(_KNOWN | facts))


def _lists_at_fault(protocol: Protocol, settings: StudioSettings) -> Iterator[str]:
    for name, facts in _invented():
        try:
            json.dumps(as_data(derive_shot_list(facts, protocol=protocol, settings=settings)))
        except (ArithmeticError, AttributeError, LookupError, TypeError, ValueError) as fault:
            yield f"A trial with {name} did not come to a shot list: {fault}"


def _conditions_at_fault(document: object) -> Iterator[str]:
    for test in _tests_in(document):
        condition = read_condition(test, known=FACT_NAMES)
        try:
            for _, facts in _invented():
                condition.holds(facts)
        except TypeError:
            asked = ", ".join(
                f"{name.replace('_', ' ')} {limit}"
                for name, limit in test.items()
                if name != "fact"
            )
            yield f"The condition on “{test['fact']}” cannot be answered: {asked}."


def _tests_in(value: object, *, of_condition: bool = False) -> Iterator[Mapping[str, Any]]:
    """Single tests of conditions, wherever a condition stands in a document."""
    if isinstance(value, Mapping):
        if of_condition and "fact" in value:
            yield value
            return
        for name, part in value.items():
            yield from _tests_in(part, of_condition=of_condition or name in CONDITIONS)
    elif isinstance(value, list):
        for part in value:
            yield from _tests_in(part, of_condition=of_condition)


def _anchors_at_fault(protocol: Protocol) -> Iterator[str]:
    """Treatments ask for other states; a line that asks for one would be passed over."""
    for line in protocol.lines:
        if line.anchor != PRESENT:
            yield (
                f"Line {line.id} asks for a picture as of “{line.anchor}”, but a protocol asks for "
                f"the present state only ({PRESENT}): treatments ask for the states they make."
            )


def _columns_at_fault(table: TriggerTable) -> Iterator[str]:
    for technique, face in ASKED:
        try:
            table.column(technique, face)
        except TableError as fault:
            yield str(fault)


@cache
def _pattern_of_settings() -> dict[str, Any]:
    """What a complete document of settings looks like, learnt from the one that is shipped."""
    path = django_settings.BASE_DIR / "fixtures" / "studio" / "settings-1.json"
    shipped = json.loads(path.read_text("utf-8"))["values"]
    groups: dict[str, list[Any]] = {}
    for name, row in shipped.items():
        groups.setdefault(_group(name), []).append(row["value"])
    forms = {group: _like(values) for group, values in groups.items()}
    known = {name: _valued(forms[_group(name)]) for name in shipped}
    further = {f"^{group}[.]": _valued(forms[group]) for group in UNIFORM}
    needed = [name for name in shipped if name.partition(".")[0] not in OPEN_GROUPS]
    return {
        "type": "object",
        "properties": {
            "values": {
                "type": "object",
                "required": needed,
                "properties": known,
                "patternProperties": further,
            }
        },
    }


def _group(name: str) -> str:
    """Return what values of the same form have in common."""
    first, *_, last = name.split(".")
    if first in UNIFORM:
        return first
    return f"{first}…{last}" if first in OPEN_GROUPS else name


def _valued(form: Mapping[str, Any]) -> dict[str, Any]:
    return {"type": "object", "properties": {"value": form}}


def _like(examples: list[Any]) -> dict[str, Any]:
    """Return the form that all examples have: a number stays a number, a list a list."""
    given = [value for value in examples if value is not None]
    if not given:
        return {}
    if len(given) < len(examples):
        form = _like(given)
        return form | {"type": [form["type"], "null"]}
    if all(isinstance(value, bool) for value in given):
        return {"type": "boolean"}
    if all(isinstance(value, int | float) for value in given):
        return {"type": "number"} | ({"minimum": 0} if min(given) >= 0 else {})
    if all(isinstance(value, str) for value in given):
        return {"type": "string", "minLength": 1}
    if all(isinstance(value, list) for value in given):
        parts = [part for value in given for part in value]
        form = _like(parts) if parts else {}
        if form.get("type") == "number":
            form.pop("minimum", None)
        return {"type": "array", "minItems": 1, "items": form}
    names = dict.fromkeys(name for value in given for name in value)
    return {
        "type": "object",
        "required": [
            name
            for name in names
            if name not in CONDITIONS and all(name in value for value in given)
        ],
        "properties": {
            name: {"type": "object"}
            if name in CONDITIONS
            else _like([value[name] for value in given if name in value])
            for name in names
        },
    }
