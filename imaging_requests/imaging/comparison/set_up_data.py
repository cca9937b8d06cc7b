"""Set-ups as a JSON document, read with a sentence for everything that does not fit."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import fields
from typing import Any

from .set_up import Pair, SetUp, SupportChange

TUPLES = {"lamps": str, "azimuths_deg": float, "band_nm": float}
TEXTS = (
    "camera", "camera_serial", "lens", "lens_serial", "light", "polarisation", "lamp_filter",
    "barrier_filter", "sensor", "polarity", "support_words",
)  # fmt: skip
YES_NO = ("is_framed", "has_chart", "has_patch")


def read_set_ups(document: Any) -> tuple[SetUp, SetUp, Pair]:
    """Read ``{"before": {...}, "after": {...}, "pair": {...}}``; every part may be left out.

    Raises:
        ValueError: Something does not fit; the message says what and what is known instead.

    >>> before, after, pair = read_set_ups({"before": {"aperture": 8}})
    >>> before.aperture, after.aperture
    (8.0, None)
    """
    if not isinstance(document, Mapping):
        raise ValueError("The set-ups must be one JSON object with before, after and pair.")
    for name in document:
        if name not in ("before", "after", "pair"):
            raise ValueError(f"The set-ups hold {name}; known are before, after and pair.")
    return (
        SetUp(**_values(document.get("before", {}), SetUp, "before")),
        SetUp(**_values(document.get("after", {}), SetUp, "after")),
        Pair(**_values(document.get("pair", {}), Pair, "pair")),
    )


def _values(part: Any, kind: type[SetUp] | type[Pair], where: str) -> dict[str, Any]:
    if not isinstance(part, Mapping):
        raise ValueError(f"The part {where} of the set-ups must be a JSON object.")
    known = [field.name for field in fields(kind)]
    found = {}
    for name, value in part.items():
        if name not in known:
            raise ValueError(
                f"The part {where} of the set-ups holds {name}; known are {', '.join(known)}."
            )
        if value is not None:
            found[name] = _value(name, value, where)
    return found


def _value(name: str, value: Any, where: str) -> Any:
    if name in TEXTS:
        if isinstance(value, str):
            return value
        raise ValueError(f"{name} ({where}) must be a text.")
    if name in YES_NO:
        if isinstance(value, bool):
            return value
        raise ValueError(f"{name} ({where}) must be true or false.")
    if name == "support":
        words = [change.value for change in SupportChange]
        if value in words:
            return SupportChange(value)
        raise ValueError(f"support ({where}) must be one of {', '.join(words)}.")
    if name in TUPLES:
        return _row(name, value, where)
    return _number(name, value, where)


def _row(name: str, value: Any, where: str) -> tuple[Any, ...]:
    if not isinstance(value, list):
        raise ValueError(f"{name} ({where}) must be a list.")
    if name == "band_nm" and len(value) != 2:
        raise ValueError(f"band_nm ({where}) must be two numbers, its two ends in nm.")
    if TUPLES[name] is str:
        if all(isinstance(item, str) for item in value):
            return tuple(value)
        raise ValueError(f"{name} ({where}) must be a list of texts.")
    return tuple(_number(name, item, where) for item in value)


def _number(name: str, value: Any, where: str) -> float:
    is_number = isinstance(value, int | float) and not isinstance(value, bool)
    if not is_number or not abs(float(value)) < float("inf"):
        raise ValueError(f"{name} ({where}) must be a number.")
    return float(value)
