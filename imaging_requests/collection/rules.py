"""What cannot be true of an object, said in words; and what is doubtful enough to ask about."""

from __future__ import annotations

import re
from collections.abc import Mapping

#: Largest value of each measured fact that is taken without a typing error being likelier.
MOST: Mapping[str, tuple[float, str]] = {
    "height_mm": (20_000, "mm"),
    "width_mm": (20_000, "mm"),
    "depth_mm": (5_000, "mm"),
    "warp_mm": (1_000, "mm"),
    "weight_kg": (5_000, "kg"),
    "pinned_px_per_mm": (500, "px/mm"),
}
#: Smallest value that is taken, in the same units; below it metres were typed for millimetres.
LEAST: Mapping[str, float] = {"height_mm": 5, "width_mm": 5, "depth_mm": 0.1, "weight_kg": 0.01}
LABELS: Mapping[str, str] = {
    "height_mm": "Height",
    "width_mm": "Width",
    "depth_mm": "Depth",
    "warp_mm": "Warp",
    "weight_kg": "Weight",
    "pinned_px_per_mm": "Pinned density",
}
MAY_BE_ZERO = frozenset({"warp_mm"})
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


def why_not_a_measure(name: str, value: float | None) -> str:
    """Return why a measured value cannot be right, or an empty string.

    >>> why_not_a_measure("height_mm", -3)
    'Height cannot be -3 mm. Measure again, or leave it empty if unknown.'
    >>> why_not_a_measure("height_mm", 0.92)[:56]
    'Height of 0.92 mm is less than any object here can have.'
    >>> why_not_a_measure("warp_mm", 0)
    ''
    """
    if value is None:
        return ""
    label = LABELS[name]
    most, unit = MOST[name]
    if value != value or value < 0 or (value == 0 and name not in MAY_BE_ZERO):
        return f"{label} cannot be {value:g} {unit}. Measure again, or leave it empty if unknown."
    if value < LEAST.get(name, 0):
        return (
            f"{label} of {value:g} {unit} is less than any object here can have. "
            "Check the unit: lengths are in millimetres, weights in kilograms."
        )
    if value > most:
        return (
            f"{label} of {value:g} {unit} is more than the {most:g} {unit} that any object here "
            f"can have. Check the unit: lengths are in millimetres, weights in kilograms."
        )
    return ""


#: What an object's faces carry from the inside out; under a lining lies the original back.
LAYERS = ("F.1", "B.1", "E.1", "T.1")
LAYERS_LINED = ("F.1", "B.1", "B.2", "E.1", "T.1")


def layers_of(*, is_lined: bool) -> tuple[str, ...]:
    """Return the surfaces that were there at the beginning."""
    return LAYERS_LINED if is_lined else LAYERS


def label_of(name: str) -> str:
    """Return the words for a fact's field."""
    return LABELS.get(name, name.replace("_", " ").capitalize())


def missing_facts(values: Mapping[str, object]) -> list[str]:
    """Return the facts that an entry needs before it can be fully documented, in words."""
    return [words for name, words in NEEDED if values.get(name) in (None, "")]


def sort_key(number: str) -> str:
    """Return a key that puts "2" before "12" and "12a" after "12".

    >>> sorted(["12", "2", "12a", "1"], key=sort_key)
    ['1', '2', '12', '12a']
    """
    return re.sub(r"\d+", lambda match: match.group().zfill(6), number.strip().lower())[:40]
