"""Take numbers out of versioned data, where each one stands with its unit, source and mark."""

from collections.abc import Mapping
from typing import Any


class DataError(ValueError):
    """A data file lacks a value or holds one of the wrong kind; the message names it."""


def take(data: Mapping[str, Any], name: str) -> Any:
    """Return the ``value`` of a named entry under ``values``.

    Every entry must stand with ``unit``, ``source`` and ``mark``. Raises ``DataError``.

    >>> bits = {"value": 16, "unit": "bit", "source": "studio practice", "mark": "cp"}
    >>> take({"values": {"depth.bits": bits}}, "depth.bits")
    16
    """
    found = data.get("values", {}).get(name)
    if not isinstance(found, Mapping):
        raise DataError(f"The data has no entry {name}.")
    for part in ("value", "unit", "source", "mark"):
        if part not in found:
            raise DataError(f"The entry {name} has no {part}.")
    return found["value"]


def take_number(data: Mapping[str, Any], name: str) -> float:
    """Return a number; raises ``DataError`` if it is none or below zero."""
    value = take(data, name)
    if isinstance(value, bool) or not isinstance(value, int | float) or value < 0:
        raise DataError(f"The value of {name} must be a number from 0 up.")
    return value


def take_whole(data: Mapping[str, Any], name: str) -> int:
    """Return a whole number; raises ``DataError`` if it is none."""
    value = take_number(data, name)
    if value != int(value):
        raise DataError(f"The value of {name} must be a whole number.")
    return int(value)


def take_list(data: Mapping[str, Any], name: str, kind: type) -> tuple[Any, ...]:
    """Return a list whose items are all of one kind; raises ``DataError`` if it is none."""
    value = take(data, name)
    if not isinstance(value, list) or not all(isinstance(item, kind) for item in value):
        raise DataError(f"The value of {name} must be a list of {kind.__name__}.")
    return tuple(value)


def take_version(data: Mapping[str, Any]) -> int:
    """Return the version of a data file; raises ``DataError`` if it has none."""
    version = data.get("version")
    if isinstance(version, bool) or not isinstance(version, int) or version < 1:
        raise DataError("The data has no version.")
    return version
