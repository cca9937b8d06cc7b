"""Invent what is known of an object: kind, measures, support, frame, title, number."""

from __future__ import annotations

import random
from dataclasses import dataclass
from functools import lru_cache

from imaging_requests.demo.large.sizes import SEED

#: Objects share one of so many sets of measures: a house knows its sizes of canvas.
TYPES = 480
_FIRST = ("Quiet", "Evening", "Winter", "Lantern", "Drowned", "Painted", "Blind", "Second", "Old")
_MIDDLE = ("Harbour", "Orchard", "Ferry", "Kiln", "Tern", "Salt", "Ropewalk", "Pilot", "Toll")
_LAST = ("at Velsund", "by the Quay", "with a Lamp", "in Fog", "of the Stacks", "and Sea Holly")
_SUPPORTS = ("canvas",) * 13 + ("panel",) * 5 + ("copper",) + ("paper",)


@dataclass(frozen=True, slots=True)
class Type:
    """Measures and properties that many objects share."""

    index: int
    kind: str
    support: str
    height_mm: float
    width_mm: float
    depth_mm: float
    warp_mm: float | None
    weight_kg: float
    painted_faces: str
    framed: bool
    glazed: bool | None
    sealed: bool
    flash_allowed: bool
    uv_allowed: bool
    light_class: str
    flaking: str


@lru_cache(maxsize=1)
def types() -> tuple[Type, ...]:
    """Return all types; always the same.

    >>> len(types()) == TYPES, types()[0] == types()[0]
    (True, True)
    """
    return tuple(_type(index) for index in range(TYPES))


def _type(index: int) -> Type:
    dice = random.Random(f"{SEED} type {index}")
    kind = "frame" if dice.random() < 0.04 else "painting"
    support = "wood" if kind == "frame" else dice.choice(_SUPPORTS)
    height = round(min(max(dice.lognormvariate(6.5, 0.45), 160), 2600), -1)
    width = round(min(max(height * dice.choice((0.75, 0.8, 1.25, 1.3)), 160), 2600), -1)
    depth = 2 if support == "copper" else dice.randint(10, 45)
    warp: float | None = 0 if support == "copper" else dice.randint(2, 16)
    glazed: bool | None = dice.random() < 0.15
    if dice.random() < 0.03:
        warp = glazed = None
    framed = kind == "painting" and dice.random() < 0.8
    return Type(
        index=index,
        kind=kind,
        support=support,
        height_mm=height,
        width_mm=width,
        depth_mm=depth,
        warp_mm=warp,
        weight_kg=round(height * width * depth * 4e-7 + 1, 1),
        painted_faces="FB" if support == "panel" and dice.random() < 0.12 else "F",
        framed=framed,
        glazed=glazed,
        sealed=bool(framed and glazed and dice.random() < 0.1),
        flash_allowed=dice.random() > 0.03,
        uv_allowed=dice.random() > 0.02,
        light_class="high" if support == "paper" else dice.choice(("low", "medium")),
        flaking=dice.choice(("none",) * 12 + ("local",)),
    )


def title_of(dice: random.Random) -> str:
    """Return an invented title."""
    return f"{dice.choice(_FIRST)} {dice.choice(_MIDDLE)} {dice.choice(_LAST)}"


def number_of(pk: int) -> str:
    """Return an inventory number that no object of the small demo bears.

    >>> number_of(7)
    'AR L.000007'
    """
    return f"AR L.{pk:06}"
