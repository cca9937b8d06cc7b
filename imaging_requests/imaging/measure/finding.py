"""What a rule found: the value, the limit it was held against, the verdict, and where it lies.

A limit is data: a ``Band`` says up to where a value passes and up to where it only warns. A value
that could not be measured gives "cannot tell" with the reason, never a pass.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Literal

from imaging_requests.imaging.files.data_values import DataError, take, take_version
from imaging_requests.imaging.files.verdicts import Outcome

Kind = Literal["at_most", "at_least", "within", "between"]
SIGN = {"at_most": "≤ ", "at_least": "≥ ", "within": "±", "between": ""}


WHOLE_SHARE = 0.9
PARTS = (
    ("upper left", "upper middle", "upper right"),
    ("left, half way down", "in the middle", "right, half way down"),
    ("lower left", "lower middle", "lower right"),
)


@dataclass(frozen=True, slots=True)
class Band:
    """Limits of one rule.

    ``kind``: ``at_most``, ``at_least``, ``within`` (the value's distance from 0) or ``between``
    (a ratio; the limits are its lower and upper ends). ``passing`` and ``warning``: lower and
    upper end; for one-sided kinds both are the same number. ``warning`` of None: there is none.

    >>> band = Band("at_most", (2.0, 2.0), (4.0, 4.0))
    >>> [band.judge(value).value for value in (2.0, 3.9, 4.1)]
    ['pass', 'warn', 'fail']
    >>> band.words("ΔE00")
    '≤ 2 ΔE00 (warns to 4)'
    """

    kind: Kind
    passing: tuple[float, float]
    warning: tuple[float, float] | None

    def judge(self, value: float) -> Outcome:
        """Return the verdict of a value; a value that is no number cannot be judged."""
        if not math.isfinite(value):
            return Outcome.CANNOT_TELL
        if self._holds(value, self.passing):
            return Outcome.PASS
        if self.warning is not None and self._holds(value, self.warning):
            return Outcome.WARN
        return Outcome.FAIL

    def words(self, unit: str) -> str:
        """Say the limit as people read it."""
        passing = self._say(self.passing)
        tail = f" {unit}" if unit else ""
        if self.warning is None or self.warning == self.passing:
            return f"{passing}{tail}"
        warning = self._say(self.warning).lstrip("≤≥ ±")
        return f"{passing}{tail} (warns to {warning})"

    @property
    def fail_limit(self) -> float:
        """The value beyond which the rule fails (the upper one of ``between``)."""
        ends = self.passing if self.warning is None else self.warning
        return ends[0] if self.kind == "at_least" else ends[1]

    def _holds(self, value: float, ends: tuple[float, float]) -> bool:
        if self.kind == "at_most":
            return value <= ends[1]
        if self.kind == "at_least":
            return value >= ends[0]
        if self.kind == "within":
            return abs(value) <= ends[1]
        return ends[0] <= value <= ends[1]

    def _say(self, ends: tuple[float, float]) -> str:
        if self.kind == "between":
            return f"{ends[0]:g} to {ends[1]:g}"
        return f"{SIGN[self.kind]}{ends[1]:g}"


@dataclass(frozen=True, slots=True)
class Place:
    """Where in the picture something was measured: a rectangle in px, (0, 0) the top left pixel."""

    x: float
    y: float
    width: float
    height: float

    def scaled(self, factor: float) -> Place:
        """Return the same place in a picture ``factor`` times as large."""
        return Place(*(round(part * factor, 1) for part in self.as_list()))

    def as_list(self) -> list[float]:
        """Return x, y, width, height."""
        return [self.x, self.y, self.width, self.height]

    def words(self, width_px: int, height_px: int) -> str:
        """Say where it lies in a picture of so many px; empty if it is nearly the whole picture.

        The picture is divided into nine parts alike; the middle of the place decides.

        >>> Place(40, 30, 120, 80).words(6000, 4000)
        'upper left, 120 × 80 px'
        >>> Place(2900, 1960, 200, 80).words(6000, 4000)
        'in the middle, 200 × 80 px'
        >>> Place(0, 0, 6000, 4000).words(6000, 4000)
        ''
        """
        if self.width * self.height >= WHOLE_SHARE * width_px * height_px:
            return ""
        across = _third(self.x + self.width / 2, width_px)
        down = _third(self.y + self.height / 2, height_px)
        size = f"{round(self.width):,} × {round(self.height):,} px"
        return f"{PARTS[down][across]}, {size}"


@dataclass(frozen=True, slots=True)
class Rule:
    """One rule of the measurements, as the data states it."""

    id: str
    title: str
    band: Band
    unit: str
    version: int


@dataclass(frozen=True, slots=True)
class Finding:
    """One rule applied to one frame or one set of frames.

    ``value``: None if it could not be measured. ``place``: None if it concerns the whole picture.
    """

    rule_id: str
    rule_version: int
    title: str
    outcome: Outcome
    value: float | None
    unit: str
    limit: str
    sentence: str
    place: Place | None = None

    def as_data(self) -> dict[str, Any]:
        """Return plain values that fit into JSON."""
        return {
            "rule": self.rule_id,
            "version": self.rule_version,
            "title": self.title,
            "verdict": self.outcome.value,
            "value": self.value,
            "unit": self.unit,
            "limit": self.limit,
            "sentence": self.sentence,
            "place_px": None if self.place is None else self.place.as_list(),
        }

    @classmethod
    def from_data(cls, data: Mapping[str, Any]) -> Finding:
        """Rebuild a finding from ``as_data``."""
        place = data["place_px"]
        return cls(
            rule_id=data["rule"],
            rule_version=data["version"],
            title=data["title"],
            outcome=Outcome(data["verdict"]),
            value=data["value"],
            unit=data["unit"],
            limit=data["limit"],
            sentence=data["sentence"],
            place=None if place is None else Place(*place),
        )


class Rules:
    """The rules of one version of the data, by id; turns a value into a finding."""

    def __init__(self, rules: Mapping[str, Rule], numbers: Mapping[str, Any], version: int) -> None:
        self._rules, self._numbers, self.version = rules, numbers, version

    @classmethod
    def from_settings(cls, data: Mapping[str, Any]) -> Rules:
        """Read versioned data; raises ``DataError`` for a rule that is not whole.

        An entry whose value has a ``kind`` is a rule, every other one a number of a method.
        """
        version = take_version(data)
        rules: dict[str, Rule] = {}
        numbers: dict[str, Any] = {}
        for name in data.get("values", {}):
            value = take(data, name)
            if isinstance(value, Mapping) and "kind" in value:
                unit = str(data["values"][name]["unit"])
                rules[name] = Rule(name, str(value["title"]), _band(name, value), unit, version)
            else:
                numbers[name] = value
        return cls(rules, numbers, version)

    def rule(self, rule_id: str) -> Rule:
        """Return a rule; raises ``DataError`` for an unknown one."""
        if rule_id not in self._rules:
            raise DataError(f"The data has no rule {rule_id}.")
        return self._rules[rule_id]

    def title(self, rule_id: str) -> str:
        """Return what a rule looks at, in words; empty for an unknown one."""
        return self._rules[rule_id].title if rule_id in self._rules else ""

    def number(self, name: str) -> float:
        """Return a number of a method; raises ``DataError`` if there is none."""
        value = self._numbers.get(name)
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise DataError(f"The data has no number {name}.")
        return float(value)

    def ids(self) -> tuple[str, ...]:
        """Return the ids of all rules in the order of the data."""
        return tuple(self._rules)

    def found(
        self,
        rule_id: str,
        value: float,
        *,
        good: str,
        bad: str,
        place: Place | None = None,
    ) -> Finding:
        """Judge a value; ``good`` is said of a pass, ``bad`` of a warning or a fail."""
        rule = self.rule(rule_id)
        outcome = rule.band.judge(value)
        if outcome is Outcome.CANNOT_TELL:
            return self.unknown(rule_id, "The measurement gave no number.", place=place)
        sentence = good if outcome is Outcome.PASS else bad
        return self._finding(rule, outcome, float(f"{value:.5g}"), sentence, place)

    def unknown(self, rule_id: str, because: str, *, place: Place | None = None) -> Finding:
        """Say that a rule cannot tell, and why."""
        return self._finding(self.rule(rule_id), Outcome.CANNOT_TELL, None, because, place)

    @staticmethod
    def _finding(
        rule: Rule, outcome: Outcome, value: float | None, sentence: str, place: Place | None
    ) -> Finding:
        limit = rule.band.words(rule.unit)
        return Finding(
            rule.id, rule.version, rule.title, outcome, value, rule.unit, limit, sentence, place
        )


def _band(name: str, value: Mapping[str, Any]) -> Band:
    kind = value.get("kind")
    if kind not in SIGN or "pass" not in value or "title" not in value:
        raise DataError(f"The rule {name} needs a title, a known kind and a limit to pass.")
    warn = value.get("warn")
    return Band(kind, _ends(name, value["pass"]), None if warn is None else _ends(name, warn))


def _third(at: float, size: int) -> int:
    return min(2, max(0, int(3 * at / max(size, 1))))


def _ends(name: str, value: Any) -> tuple[float, float]:
    ends = value if isinstance(value, list) else [value, value]
    if len(ends) != 2 or not all(
        isinstance(end, int | float) and not isinstance(end, bool) for end in ends
    ):
        raise DataError(f"The limit of {name} must be a number or two.")
    return float(ends[0]), float(ends[1])
