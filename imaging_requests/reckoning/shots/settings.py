"""The studio's numbers, read once from versioned data into typed rows.

Every threshold, minute and distance of the shot derivation lives in ``fixtures/studio/`` as
``{"value", "unit", "source", "mark"}`` under a dotted id, and is edited by the department there.
"""

import math
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import timedelta
from typing import Any

from imaging_requests.reckoning.shots.facts import FACT_NAMES
from imaging_requests.reckoning.shots.methods import (
    BRACKETS,
    LAMP_ON,
    Method,
    SizeClass,
    Station,
    Steps,
)
from imaging_requests.reckoning.shots.predicates import (
    BadConditionError,
    Condition,
    read_condition,
)

_VALUE = re.compile(r"\{([a-z_.]+)\}")
"""A place in a text that shows the value of another setting, such as ``{heat.pause_min}``."""

_MOST_DAYS = 1000


class BadSettingsError(ValueError):
    """Studio settings that cannot be used; the sentence names the value and what is wrong."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CautionRule:
    """A caution by fact; with ``techniques`` it belongs to those views, else to the object."""

    id: str
    when: Condition
    text: str
    techniques: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class FactRule:
    """What a fact may be, and who is asked for it. Limits are in the fact's own unit."""

    fact: str
    name: str
    unit: str
    who: str
    how: str
    above: float | None
    at_least: float | None
    at_most: float | None
    choices: tuple[str, ...]
    only_if: Condition


@dataclass(frozen=True, slots=True, kw_only=True)
class AuxiliaryRule:
    """Frames that belong to the visit or to each set-up of the named methods."""

    role: str
    per: str
    count: int
    methods: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Periods:
    """How long before an event the pages speak of it, and how long a merger can be undone."""

    steps_ahead: timedelta
    sessions_ahead: timedelta
    windows_ahead: timedelta
    waivers_ahead: timedelta
    merger_reversible: timedelta


class Values:
    """The flat table of settings by dotted id, asked by type and refusing in words."""

    def __init__(self, document: Mapping[str, Any]) -> None:
        self._values: Mapping[str, Any] = document.get("values", {})

    def raw(self, name: str) -> Any:
        try:
            return self._values[name]["value"]
        except (KeyError, TypeError):
            raise BadSettingsError(f"The studio settings lack a value for “{name}”.") from None

    def number(self, name: str) -> float:
        value = self.raw(name)
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise BadSettingsError(f"“{name}” in the studio settings must be a number.")
        return value

    def numbers(self, name: str) -> tuple[float, ...]:
        value = self.raw(name)
        if not isinstance(value, Sequence) or isinstance(value, str):
            raise BadSettingsError(f"“{name}” in the studio settings must be a list of numbers.")
        return tuple(value)

    def pair(self, name: str) -> tuple[float, float]:
        value = self.numbers(name)
        if len(value) != 2:
            raise BadSettingsError(f"“{name}” in the studio settings must hold two numbers.")
        return value[0], value[1]

    def text(self, name: str) -> str:
        return str(self.raw(name))

    def texts(self, name: str) -> tuple[str, ...]:
        return tuple(str(item) for item in self.raw(name))

    def flag(self, name: str) -> bool:
        return bool(self.raw(name))

    def has(self, name: str) -> bool:
        return name in self._values

    def steps(self, name: str, result: str) -> Steps:
        """A table of classes by long side, such as density or lamp distance."""
        rows = tuple((row["long_side_up_to_mm"], row[result]) for row in self.raw(name))
        if not rows or rows[-1][0] is not None:
            raise BadSettingsError(
                f"“{name}” in the studio settings must end with an open class, whose "
                f"long_side_up_to_mm is null."
            )
        return Steps(rows)

    def unit(self, name: str) -> str:
        return str(self._values[name].get("unit", ""))

    def names_under(self, prefix: str) -> tuple[str, ...]:
        """The distinct next parts of the ids below ``prefix``, in the order of the data."""
        start = prefix + "."
        parts = (n[len(start) :].split(".")[0] for n in self._values if n.startswith(start))
        return tuple(dict.fromkeys(parts))


@dataclass(frozen=True, slots=True, kw_only=True)
class StudioSettings:
    """Studio settings of one version. Scalars are asked from ``values`` by their dotted id."""

    id: str
    version: int
    published_on: str | None
    values: Values
    stations: Mapping[str, Station]
    methods: Mapping[str, Method]
    sizes: tuple[SizeClass, ...]
    densities: Mapping[str, Steps]
    cautions: tuple[CautionRule, ...]
    facts: Mapping[str, FactRule]
    auxiliary: tuple[AuxiliaryRule, ...]
    periods: Periods

    def number(self, name: str) -> float:
        """The number under a dotted id.

        Raises :class:`BadSettingsError`, which names the id, if there is none.
        """
        return self.values.number(name)

    def method(self, name: str) -> Method:
        """The working method of that name; the refusal lists the ones there are."""
        try:
            return self.methods[name]
        except KeyError:
            raise BadSettingsError(
                f"The studio settings have no working method “{name}”. "
                f"There are: {', '.join(self.methods)}."
            ) from None


def read_settings(document: Mapping[str, Any]) -> StudioSettings:
    """Read studio settings from their data (see ``fixtures/studio/``).

    Raises :class:`BadSettingsError` naming the first id that is missing or of the wrong kind.
    """
    values = Values(document)
    stations = {n: Station.read(n, values) for n in values.texts("station.order")}
    methods = {n: Method.read(n, values) for n in values.names_under("method")}
    densities = {
        n: values.steps(f"density.{n}.classes", "px_per_mm")
        for n in values.names_under("density")
        if values.has(f"density.{n}.classes")
    }
    sizes = tuple(SizeClass.read(n, values) for n in values.texts("size.order"))
    problem = next(_contradictions(stations, methods, densities, sizes), None)
    if problem is not None:
        raise BadSettingsError(f"The studio settings do not fit together. {problem}")
    return StudioSettings(
        id=str(document.get("id", "studio")),
        version=int(document.get("version", 0)),
        published_on=document.get("published_on"),
        values=values,
        stations=stations,
        methods=methods,
        sizes=sizes,
        densities=densities,
        cautions=tuple(_caution(n, values) for n in values.names_under("caution")),
        facts={n: _fact(n, values) for n in values.names_under("fact")},
        auxiliary=tuple(
            AuxiliaryRule(
                role=row["role"],
                per=row["per"],
                count=row["count"],
                methods=tuple(row.get("methods", ())),
            )
            for row in values.raw("auxiliary.rules")
        ),
        periods=Periods(
            steps_ahead=_days("ahead.steps_days", values),
            sessions_ahead=_days("ahead.sessions_days", values),
            windows_ahead=_days("ahead.windows_days", values),
            waivers_ahead=_days("ahead.waivers_days", values),
            merger_reversible=_days("merger.reversible_days", values),
        ),
    )


def _days(name: str, values: Values) -> timedelta:
    """A period of whole days."""
    days = values.number(name)
    if not 0 <= days <= _MOST_DAYS or days != int(days):
        raise BadSettingsError(
            f"“{name}” in the studio settings must be whole days, from 0 to {_MOST_DAYS:,}."
        )
    return timedelta(days=days)


def _contradictions(
    stations: Mapping[str, Station],
    methods: Mapping[str, Method],
    densities: Mapping[str, Steps],
    sizes: Sequence[SizeClass],
) -> Iterator[str]:
    """Sentences about rows that do not fit together."""
    for station in stations.values():
        shortest = min(station.plate_mm or (math.inf,))
        if station.overlap_fraction >= 1 or station.overlap_mm >= shortest:
            yield f"Station “{station.name}”: the overlap must leave room to advance."
    for method in methods.values():
        start = f"Method “{method.name}”"
        if method.station not in stations:
            yield f"{start} works at station “{method.station}”, which does not exist."
        if method.density not in densities:
            yield f"{start} uses density rule “{method.density}”, which does not exist."
        for field, allowed in (("bracket", BRACKETS), ("lamp_on", LAMP_ON)):
            value = getattr(method, field)
            if value not in allowed:
                yield f"{start} has {field} “{value}”, but must have one of {', '.join(allowed)}."
    if not sizes or not sizes[-1].is_open:
        yield "The last size class must be open, with null for its limits."


def _condition(source: object, name: str) -> Condition:
    try:
        return read_condition(source, known=FACT_NAMES)
    except BadConditionError as problem:
        raise BadSettingsError(f"“{name}” in the studio settings: {problem}") from None


def _caution(name: str, values: Values) -> CautionRule:
    row = values.raw(f"caution.{name}")
    return CautionRule(
        id=name,
        when=_condition(row.get("when"), f"caution.{name}"),
        text=_VALUE.sub(lambda found: f"{values.number(found[1]):g}", row["text"]),
        techniques=tuple(row.get("techniques", ())),
    )


def _fact(name: str, values: Values) -> FactRule:
    row = values.raw(f"fact.{name}")
    return FactRule(
        fact=name,
        name=row["name"],
        unit=values.unit(f"fact.{name}"),
        who=row["who"],
        how=row["how"],
        above=row.get("above"),
        at_least=row.get("at_least"),
        at_most=row.get("at_most"),
        choices=tuple(row.get("choices", ())),
        only_if=_condition(row.get("only_if"), f"fact.{name}"),
    )
