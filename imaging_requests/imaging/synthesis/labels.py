"""Labels, stamps, seals and inscriptions on backs, all of invented places and people."""

from __future__ import annotations

import cv2
import numpy as np

from .spec import PaintingSpec
from .vocabulary import Rect
from .wall import Stuff, Wall

PAPER = Stuff(colour=(0.56, 0.46, 0.28), infrared=0.82, glow=(0.050, 0.048, 0.030))
WHITE_PAPER = Stuff(colour=(0.72, 0.68, 0.56), infrared=0.88, glow=(0.13, 0.16, 0.24))
BLUE_EDGE = Stuff(colour=(0.03, 0.05, 0.14), infrared=0.5)
RED_EDGE = Stuff(colour=(0.34, 0.03, 0.02), infrared=0.8, glow=(0.02, 0.005, 0.005))
CARBON = Stuff(colour=(0.012, 0.012, 0.012), infrared=0.05, glow=(0.001, 0.001, 0.001))
IRON_GALL = Stuff(colour=(0.045, 0.028, 0.018), infrared=0.80, glow=(0.002, 0.002, 0.002))
CHALK = Stuff(colour=(0.70, 0.70, 0.68), infrared=0.95, glow=(0.02, 0.02, 0.03))
STAMP = Stuff(colour=(0.03, 0.03, 0.05), infrared=0.12, glow=(0.001, 0.001, 0.001))
WAX = Stuff(colour=(0.26, 0.022, 0.016), infrared=0.75, glow=(0.05, 0.015, 0.01))
CLOTH_INSIDE = Stuff(colour=(0.235, 0.165, 0.095), infrared=0.72, glow=(0.022, 0.022, 0.016))
PLACES = ("VELSUND", "ORSEL", "GANNET BAY", "LOWER HARBOUR")
OWNERS = (
    "Estate of the Pilots' Guild",
    "Coll. of Harbour Toll No. 3",
    "Sale at Velsund, Lot 41",
    "Mrs. E. Tarn, Quay Street",
)


def lay_labels(wall: Wall, spec: PaintingSpec, rng: np.random.Generator, *, low: float) -> None:
    """Labels of the house and of earlier hands.

    Args:
        low: y of the lower rail or lower third, where older labels sit, mm.
    """
    w, h = spec.width_mm, spec.height_mm
    scale = float(np.clip(min(w, h) / 620, 0.42, 1.25))
    house_label(wall, spec, (0.60 * w, 0.16 * h), scale)
    old = Rect(x=0.12 * w, y=low, width=78 * scale, height=46 * scale)
    turn = float(rng.normal(0, 0.03))
    wall.rect(old, PAPER, thickness_mm=0.15, shadow_mm=1.0, turn=turn)
    inner = Rect(
        x=old.x + 2.5 * scale,
        y=old.y + 2.5 * scale,
        width=old.width - 5 * scale,
        height=old.height - 5 * scale,
    )
    _frame(wall, inner, RED_EDGE, 1.2 * scale, turn)
    place = PLACES[int(rng.integers(len(PLACES)))]
    wall.write(
        place,
        (old.x + 7 * scale, old.y + 13 * scale),
        6.5 * scale,
        STAMP,
        face=cv2.FONT_HERSHEY_TRIPLEX,
    )
    for i in range(3):
        wall.scribble(
            (old.x + 8 * scale, old.y + (22 + 8 * i) * scale),
            (54 - 9 * i) * scale,
            5 * scale,
            IRON_GALL,
            rng,
        )
    for line in spec.labels:
        low -= 12 * scale
        wall.write(line, (0.12 * w, low), 6 * scale, CARBON)
    seal(wall, (0.30 * w + 30 * scale, low + 20 * scale), 11 * scale, rng)
    wall.write(
        str(int(rng.integers(11, 980))),
        (0.72 * w, low + 30 * scale),
        22 * scale,
        CHALK,
        turn_deg=float(rng.normal(-4, 3)),
        weight=0.13,
        alpha=0.65,
    )
    owner = OWNERS[int(rng.integers(len(OWNERS)))]
    wall.write(
        owner,
        (0.34 * w, 0.115 * h),
        7.5 * scale,
        IRON_GALL,
        face=cv2.FONT_HERSHEY_COMPLEX,
        turn_deg=-1.2,
        alpha=0.75,
    )


def house_label(wall: Wall, spec: PaintingSpec, at: tuple[float, float], scale: float) -> None:
    """The museum's own label with the inventory number."""
    label = Rect(
        x=min(at[0], spec.width_mm - 96 * scale), y=at[1], width=88 * scale, height=52 * scale
    )
    wall.rect(label, WHITE_PAPER, thickness_mm=0.12, shadow_mm=1.0)
    _frame(
        wall,
        Rect(
            x=label.x + 2 * scale,
            y=label.y + 2 * scale,
            width=label.width - 4 * scale,
            height=label.height - 4 * scale,
        ),
        BLUE_EDGE,
        0.9 * scale,
        0.0,
    )
    wall.write(
        "ARDENMOOR MUSEUM",
        (label.x + 6 * scale, label.y + 12 * scale),
        5.2 * scale,
        STAMP,
        face=cv2.FONT_HERSHEY_DUPLEX,
    )
    wall.write(
        spec.number, (label.x + 6 * scale, label.y + 30 * scale), 11 * scale, CARBON, weight=0.15
    )
    if spec.title:
        wall.write(
            spec.title[:26], (label.x + 6 * scale, label.y + 42 * scale), 4.6 * scale, CARBON
        )


def seal(wall: Wall, at: tuple[float, float], radius: float, rng: np.random.Generator) -> None:
    """A red wax seal with an impressed star."""
    x, y = at
    angles = np.linspace(0, 2 * np.pi, 28, endpoint=False)
    rim = [
        (
            x + radius * (1 + 0.08 * float(rng.normal())) * np.cos(a),
            y + radius * (1 + 0.08 * float(rng.normal())) * np.sin(a),
        )
        for a in angles
    ]
    wall.part(rim, WAX, thickness_mm=1.2, shadow_mm=1.5)
    star = [
        (
            x + radius * (0.62 if i % 2 else 0.26) * np.cos(i * np.pi / 5),
            y + radius * (0.62 if i % 2 else 0.26) * np.sin(i * np.pi / 5),
        )
        for i in range(10)
    ]
    dark = Stuff(colour=(0.16, 0.012, 0.010), infrared=0.7, glow=(0.03, 0.01, 0.008))
    wall.part(star, dark, thickness_mm=-0.6)


def supplier_stamp(
    wall: Wall, at: tuple[float, float], scale: float, rng: np.random.Generator
) -> None:
    """An oval stamp of a colourman, on cloth or wood."""
    x, y = at
    angles = np.linspace(0, 2 * np.pi, 60, endpoint=False)
    for r in (1.0, 0.90):
        ring = [(x + 52 * scale * r * np.cos(a), y + 26 * scale * r * np.sin(a)) for a in angles]
        wall.part(ring, STAMP if r == 1.0 else CLOTH_INSIDE, alpha=0.55 if r == 1.0 else 0.75)
    wall.write(
        "TARN & SONS",
        (x - 36 * scale, y - 3 * scale),
        8.5 * scale,
        STAMP,
        face=cv2.FONT_HERSHEY_TRIPLEX,
        alpha=0.6,
    )
    wall.write(
        PLACES[int(rng.integers(2))],
        (x - 24 * scale, y + 12 * scale),
        6.5 * scale,
        STAMP,
        face=cv2.FONT_HERSHEY_TRIPLEX,
        alpha=0.6,
    )


def _frame(wall: Wall, rect: Rect, edge: Stuff, width: float, turn: float) -> None:
    """A printed border: four thin bars."""
    cx, cy = rect.centre
    for dx, dy, w, h in (
        (0, -rect.height / 2, rect.width, width),
        (0, rect.height / 2, rect.width, width),
        (-rect.width / 2, 0, width, rect.height),
        (rect.width / 2, 0, width, rect.height),
    ):
        x = cx + dx * np.cos(turn) - dy * np.sin(turn)
        y = cy + dx * np.sin(turn) + dy * np.cos(turn)
        wall.rect(
            Rect(x=float(x - w / 2), y=float(y - h / 2), width=w, height=h),
            edge,
            alpha=0.8,
            turn=turn,
        )
