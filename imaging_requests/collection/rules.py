"""What cannot be true of an object, said in words; and what is doubtful enough to ask about."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from datetime import date

from imaging_requests.collection.limits import Limit

#: The measured facts with their words and units.
MEASURES: Mapping[str, tuple[str, str]] = {
    "height_mm": ("Height", "mm"),
    "width_mm": ("Width", "mm"),
    "depth_mm": ("Depth", "mm"),
    "warp_mm": ("Warp", "mm"),
    "weight_kg": ("Weight", "kg"),
    "pinned_px_per_mm": ("Pinned density", "px/mm"),
}
MAY_BE_ZERO = frozenset({"warp_mm"})
CHECK_UNIT = "Check the unit: lengths are in millimetres, weights in kilograms."
NEEDED = (
    ("height_mm", "height"),
    ("width_mm", "width"),
    ("depth_mm", "depth"),
    ("warp_mm", "warp"),
    ("support", "support"),
    ("framed", "whether it is framed"),
    ("glazed", "whether it is glazed"),
    ("light_class", "light class"),
)


def why_not_a_measure(name: str, value: float | None, limit: Limit | None) -> str:
    """Return why a measured value cannot be right, or an empty string.

    >>> height = Limit(at_least=5, at_most=20_000)
    >>> why_not_a_measure("height_mm", -3, height)
    'Height cannot be -3 mm. Measure again, or leave it empty if unknown.'
    >>> why_not_a_measure("height_mm", 0.92, height)[:56]
    'Height of 0.92 mm is less than any object here can have.'
    >>> why_not_a_measure("height_mm", 79_000, height)[:70]
    'Height of 79,000 mm is more than the 20,000 mm that any object here ca'
    >>> why_not_a_measure("warp_mm", 0, Limit(at_least=0))
    ''
    """
    if value is None:
        return ""
    label, unit = MEASURES[name]
    if not math.isfinite(value) or value < 0 or (value == 0 and name not in MAY_BE_ZERO):
        return f"{label} cannot be {value:g} {unit}. Measure again, or leave it empty if unknown."
    if limit is not None and limit.at_least is not None and value < limit.at_least:
        return f"{label} of {value:g} {unit} is less than any object here can have. {CHECK_UNIT}"
    if limit is not None and limit.at_most is not None and value > limit.at_most:
        return (
            f"{label} of {value:,.10g} {unit} is more than the {limit.at_most:,.10g} {unit} that "
            f"any object here can have. {CHECK_UNIT}"
        )
    return ""


def why_not_that_day(measured_on: date | None, today: date) -> str:
    """Return why an object cannot have been measured on a day, or an empty string.

    >>> why_not_that_day(date(2031, 1, 1), date(2026, 4, 15))
    'The object cannot have been measured on 1 Jan 2031, which is still to come. Check the year.'
    >>> why_not_that_day(date(2026, 4, 15), date(2026, 4, 15))
    ''
    """
    if measured_on is None or measured_on <= today:
        return ""
    return (
        f"The object cannot have been measured on {measured_on:%-d %b %Y}, which is still to come. "
        "Check the year."
    )


def why_turned(before: Mapping[str, object], after: Mapping[str, object]) -> str:
    """Return why height and width look mixed up against the last record, or an empty string.

    An object that was higher than wide stays so: the two are easily typed the wrong way round.

    >>> tall, wide = {"height_mm": 240, "width_mm": 180}, {"height_mm": 180, "width_mm": 240}
    >>> why_turned(tall, wide)
    'The object was recorded as higher than wide (240 × 180 mm) and would now be wider than high.'
    >>> why_turned(tall, {"height_mm": 242, "width_mm": 181}), why_turned({}, wide)
    ('', '')
    """
    was, new = _sides(before), _sides(after)
    if was is None or new is None or (was[0] - was[1]) * (new[0] - new[1]) >= 0:
        return ""
    high, wide = "higher than wide", "wider than high"
    first, then = (high, wide) if was[0] > was[1] else (wide, high)
    return (
        f"The object was recorded as {first} ({was[0]:,.10g} × {was[1]:,.10g} mm) and would now be "
        f"{then}."
    )


def _sides(values: Mapping[str, object]) -> tuple[float, float] | None:
    height, width = values.get("height_mm"), values.get("width_mm")
    if isinstance(height, int | float) and isinstance(width, int | float):
        return float(height), float(width)
    return None


#: What an object's faces carry from the inside out; under a lining lies the original back.
LAYERS = ("F.1", "B.1", "E.1", "T.1")
LAYERS_LINED = ("F.1", "B.1", "B.2", "E.1", "T.1")


def layers_of(*, is_lined: bool) -> tuple[str, ...]:
    """Return the surfaces that were there at the beginning."""
    return LAYERS_LINED if is_lined else LAYERS


def label_of(name: str) -> str:
    """Return the words for a fact's field."""
    label, _ = MEASURES.get(name, (name.replace("_", " ").capitalize(), ""))
    return label


def missing_facts(values: Mapping[str, object]) -> list[str]:
    """Return the facts that an entry needs before it can be fully documented, in words."""
    return [words for name, words in NEEDED if values.get(name) in (None, "")]


def sort_key(number: str) -> str:
    """Return a key that puts "2" before "12" and "12a" after "12".

    >>> sorted(["12", "2", "12a", "1"], key=sort_key)
    ['1', '2', '12', '12a']
    """
    return re.sub(r"\d+", lambda match: match.group().zfill(6), number.strip().lower())[:40]
