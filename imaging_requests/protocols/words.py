"""Rules in words: protocol lines, conditions over facts, and effects, as people read them."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from imaging_requests.reckoning.shots.protocol import NotApplicableRule, ProtocolLine, Replacement
from imaging_requests.reckoning.shots.settings import StudioSettings
from imaging_requests.reckoning.shots.words import DIRECTION_NAMES, FACE_NAMES
from imaging_requests.reckoning.truth.words import PREFERRED_WORDS, inside, view_words

TECHNIQUES: Mapping[str, str] = {
    "VF": "visible light, flash",
    "VC": "visible light, continuous",
    "RK": "raking light",
    "UV": "UV fluorescence",
    "IR": "infrared",
    "XR": "X-ray",
}
FACES: Mapping[str, str] = {
    **FACE_NAMES,
    "painted": "every painted face",
    "unpainted_back": "back without paint",
    "T": "whole object",
}
ANCHORS: Mapping[str, str] = {
    "CUR": "as it is now",
    "BT": "before treatment",
    "DT": "during treatment",
    "AT": "after treatment",
    "WIN": "while the surface can be seen",
    "FIX": "as of an instant",
}
_COMPARED: Mapping[str, str] = {
    "at_least": "is at least",
    "at_most": "is at most",
    "above": "is above",
    "below": "is below",
    "is": "is",
    "includes": "includes",
}


class FactNames:
    """How facts are called and in which unit, from the studio's settings where they say so."""

    def __init__(self, settings: StudioSettings | None) -> None:
        self._rules = {} if settings is None else settings.facts

    def name(self, fact: str) -> str:
        """Return the name people use for a fact."""
        rule = self._rules.get(fact)
        return rule.name if rule is not None else fact.replace("_", " ")

    def with_unit(self, fact: str, value: Any) -> str:
        """Return a value with the fact's unit where there is one."""
        rule = self._rules.get(fact)
        is_number = isinstance(value, int | float) and not isinstance(value, bool)
        unit = rule.unit if rule is not None and is_number else ""
        return f"{_plain(value)} {unit}".strip()


def _plain(value: Any) -> str:
    if value is None:
        return "–"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return f"{value:g}"
    return str(value).replace("_", " ")


def condition(source: Mapping[str, Any], facts: FactNames) -> str:
    """Say a condition as a phrase; an empty one holds always.

    >>> condition({"fact": "warp_mm", "at_least": 10}, FactNames(None))
    'warp mm is at least 10'
    >>> condition({"not": {"fact": "kind", "is": "frame"}}, FactNames(None))
    'kind is not frame'
    """
    return _phrase(source, facts, inner=False) if source else "always"


def _phrase(source: Mapping[str, Any], facts: FactNames, *, inner: bool) -> str:
    if "fact" in source:
        return _test(source, facts)
    kind, parts = next(iter(source.items()))
    if kind == "not":
        if parts.get("is") is not None and not isinstance(parts["is"], bool):
            return f"{facts.name(parts['fact'])} is not {_plain(parts['is'])}"
        return f"not ({_phrase(parts, facts, inner=False)})"
    joint = ", and " if kind == "all" else ", or "
    said = joint.join(_phrase(part, facts, inner=True) for part in parts)
    return f"({said})" if inner else said


def _test(source: Mapping[str, Any], facts: FactNames) -> str:
    fact = str(source["fact"])
    test, limit = next((key, value) for key, value in source.items() if key != "fact")
    name = facts.name(fact)
    if isinstance(limit, bool):
        return f"{name}: {_plain(limit)}"
    if test == "in":
        return f"{name} is {' or '.join(_plain(each) for each in limit)}"
    return f"{name} {_COMPARED[test]} {facts.with_unit(fact, limit)}"


def view(line: ProtocolLine) -> str:
    """Say which view a line asks for: "raking light from the left, every painted face"."""
    technique = TECHNIQUES.get(line.technique, line.technique)
    light = f" from the {DIRECTION_NAMES[line.direction]}" if line.direction else ""
    detail = f", detail “{line.detail.name}”" if line.detail is not None else ""
    return f"{technique}{light}, {FACES[line.face]}{detail}"


def as_of(line: ProtocolLine) -> str:
    """Say as of which state a line asks for its view, and which one it would rather have.

    >>> from imaging_requests.reckoning.shots.protocol import read_line
    >>> as_of(read_line({"id": "ir", "technique": "IR", "face": "painted", "preferred": "cleaned"}))
    'preferably the cleaned state, before retouching; as second best as it is now'
    """
    anchor = ANCHORS.get(line.anchor, line.anchor)
    if not line.preferred:
        return anchor
    return f"preferably {preferred(line.preferred)}; as second best {anchor}"


def preferred(state: str) -> str:
    """Say a state that a line may prefer."""
    return PREFERRED_WORDS.get(state, state)


def departures(line: ProtocolLine) -> str:
    """Say where a line departs from the studio's settings of its technique."""
    parts = []
    if line.px_per_mm is not None:
        parts.append(f"{line.px_per_mm:g} px/mm")
    if line.tolerance_percent is not None:
        parts.append(f"tolerance {line.tolerance_percent:g} %")
    if line.overlap is not None:
        parts.append(f"overlap {line.overlap:.0%}")
    if line.exposures_ev is not None:
        parts.append(f"exposures {', '.join(f'{ev:+g}' for ev in line.exposures_ev)} EV")
    return ", ".join(parts)


def not_applicable(rule: NotApplicableRule) -> str:
    """Say which views a rule takes away: "X-ray", or "every view but UV of the front"."""
    techniques = " and ".join(TECHNIQUES.get(each, each) for each in rule.techniques)
    faces = " and ".join(FACES.get(each, each) for each in rule.faces)
    said = ", ".join(part for part in (techniques or "every view", faces) if part)
    kept = " and ".join(_one_view(code) for code in rule.except_views)
    return f"{said} but {kept}" if kept else said


def _one_view(code: str) -> str:
    """Say a view by the code that documents use for it: technique, face, light direction."""
    technique, _, rest = code.partition("-")
    face, _, direction = rest.partition("-")
    return inside(view_words(technique, face or "T", direction))


def replacement(rule: Replacement) -> str:
    """Say which technique takes the place of which."""
    said = (
        f"{TECHNIQUES.get(rule.by, rule.by)} in the place of "
        f"{TECHNIQUES.get(rule.technique, rule.technique)}"
    )
    faces = " and ".join(FACES.get(each, each) for each in rule.except_faces)
    return f"{said}, except {faces}" if faces else said


def value(stored: Any) -> str:
    """Say a setting's value in one line, tables included; named parts in alphabetical order.

    >>> value([{"px_per_mm": 24, "long_side_up_to_mm": 400}])
    'long side up to mm: 400, px per mm: 24'
    """
    if isinstance(stored, Mapping):
        return ", ".join(f"{_plain(key)}: {value(each)}" for key, each in sorted(stored.items()))
    if isinstance(stored, list | tuple):
        joint = "; " if any(isinstance(each, Mapping) for each in stored) else ", "
        return joint.join(value(each) for each in stored)
    return _plain(stored)
