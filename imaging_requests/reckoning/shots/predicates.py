"""Conditions over object facts, written as data and answered yes, no or "cannot tell yet".

A condition is one of::

    {"fact": "warp_mm", "at_least": 10}      also: at_most, above, below, is, in, includes
    {"all": [condition, …]}   {"any": [condition, …]}   {"not": condition}

An empty mapping, or none at all, is always true. A fact that nobody has measured (``None``)
makes a comparison undecided, and ``all``, ``any`` and ``not`` carry that on by the three-valued
rules of Kleene: one "no" settles an ``all``, one "yes" settles an ``any``, whatever else is open.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

Answer = bool | None
"""True, False, or None for "cannot tell until a missing fact is known"."""


class BadConditionError(ValueError):
    """A condition that cannot be read; the sentence says which part and what is allowed."""


_TESTS: dict[str, Callable[[Any, Any], bool]] = {
    "at_least": lambda value, limit: bool(value >= limit),
    "at_most": lambda value, limit: bool(value <= limit),
    "above": lambda value, limit: bool(value > limit),
    "below": lambda value, limit: bool(value < limit),
    "is": lambda value, limit: bool(value == limit),
    "in": lambda value, limit: value in limit,
    "includes": lambda value, limit: limit in value,
}
_ORDERS = ("at_least", "at_most", "above", "below")


@dataclass(frozen=True, slots=True)
class Condition:
    """A condition that has been read: ask it with :meth:`holds`.

    ``source`` is the data it came from, ``facts_used`` the names of the facts it looks at.
    """

    source: Mapping[str, Any]
    facts_used: frozenset[str]
    _holds: Callable[[Any], Answer] = field(repr=False, compare=False)

    def holds(self, facts: object) -> Answer:
        """Answer for an object whose attributes are the facts.

        >>> from types import SimpleNamespace
        >>> warped = read_condition({"fact": "warp_mm", "at_least": 10}, known={"warp_mm"})
        >>> [warped.holds(SimpleNamespace(warp_mm=value)) for value in (10, 9.9, None)]
        [True, False, None]
        """
        return self._holds(facts)

    def missing(self, facts: object) -> tuple[str, ...]:
        """Names of the facts this condition looks at that are not known yet, in order."""
        return tuple(n for n in sorted(self.facts_used) if getattr(facts, n) is None)


def read_condition(source: object, *, known: frozenset[str] | set[str]) -> Condition:
    """Read a condition from data.

    ``known`` holds the fact names a condition may use. Raises :class:`BadConditionError` for an
    unknown fact, an unknown test or a malformed group.

    >>> read_condition({"fact": "support", "in": ["canvas"]}, known={"support"}).facts_used
    frozenset({'support'})
    """
    if source is None:
        source = {}
    if not isinstance(source, Mapping):
        raise BadConditionError(f"A condition must be a group of named values, not {source!r}.")
    if not source:
        return Condition(source, frozenset(), _always)
    used: set[str] = set()
    holds = _read(source, known, used)
    return Condition(source, frozenset(used), holds)


def _always(facts: object) -> Answer:
    return True


def _read(source: Any, known: frozenset[str] | set[str], used: set[str]) -> Callable[[Any], Answer]:
    if not isinstance(source, Mapping):
        raise BadConditionError(f"A condition must be a group of named values, not {source!r}.")
    if "fact" in source:
        return _read_test(source, known, used)
    if len(source) != 1 or next(iter(source)) not in ("all", "any", "not"):
        raise BadConditionError(
            f"A condition has one of “fact”, “all”, “any” or “not”, but this one has: "
            f"{', '.join(map(str, source)) or 'nothing'}."
        )
    kind, inner = next(iter(source.items()))
    if kind == "not":
        return _negation(_read(inner, known, used))
    if not isinstance(inner, Sequence) or isinstance(inner, str) or not inner:
        raise BadConditionError(f"“{kind}” needs a list of at least one condition.")
    parts = tuple(_read(part, known, used) for part in inner)
    return _group(parts, settled_by=kind == "any")


def _read_test(
    source: Mapping[str, Any], known: frozenset[str] | set[str], used: set[str]
) -> Callable[[Any], Answer]:
    name = source["fact"]
    if not isinstance(name, str) or name not in known:
        raise BadConditionError(
            f"The condition looks at “{name}”, which is not an object fact. "
            f"Known facts: {', '.join(sorted(known))}."
        )
    tests = [key for key in source if key != "fact"]
    if len(tests) != 1 or tests[0] not in _TESTS:
        raise BadConditionError(
            f"The condition on “{name}” needs exactly one test out of {', '.join(_TESTS)}."
        )
    used.add(name)
    compare, limit = _TESTS[tests[0]], source[tests[0]]
    if tests[0] == "in" and not isinstance(limit, list | tuple):
        raise BadConditionError(f"The condition on “{name}” needs a list after “in”.")
    if tests[0] in _ORDERS and (isinstance(limit, bool) or not isinstance(limit, int | float)):
        raise BadConditionError(f"The condition on “{name}” needs a number after “{tests[0]}”.")

    def holds(facts: object) -> Answer:
        value = getattr(facts, name)
        return None if value is None else compare(value, limit)

    return holds


def _negation(part: Callable[[Any], Answer]) -> Callable[[Any], Answer]:
    def holds(facts: object) -> Answer:
        answer = part(facts)
        return None if answer is None else not answer

    return holds


def _group(
    parts: tuple[Callable[[Any], Answer], ...], *, settled_by: bool
) -> Callable[[Any], Answer]:
    def holds(facts: object) -> Answer:
        undecided = False
        for part in parts:
            answer = part(facts)
            if answer is settled_by:
                return settled_by
            undecided = undecided or answer is None
        return None if undecided else not settled_by

    return holds
