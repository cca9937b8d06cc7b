"""Heads: skull, features and hair in the round, then eyes, brows and lips with a fine brush."""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from ..pigments import hue
from ..vocabulary import Map
from .board import Point, between
from .forms import FAR, Matter, Model, Vector, turned

SKINS = (
    Matter(hue(82, 46, 34), hue(186, 128, 98), hue(240, 206, 172), 0.10, 0.92, True),
    Matter(hue(70, 40, 30), hue(166, 112, 82), hue(226, 184, 146), 0.12, 0.92, True),
    Matter(hue(88, 56, 44), hue(198, 148, 118), hue(246, 220, 192), 0.10, 0.92, True),
)
HAIRS = (
    Matter(hue(26, 20, 17), hue(64, 46, 34), hue(124, 90, 60), 0.12, 0.7),
    Matter(hue(54, 34, 20), hue(118, 78, 42), hue(190, 140, 84), 0.12, 0.7),
    Matter(hue(72, 66, 60), hue(140, 132, 122), hue(212, 206, 194), 0.10, 0.7),
    Matter(hue(20, 17, 17), hue(44, 36, 32), hue(88, 72, 60), 0.15, 0.7),
)
LINEN = Matter(hue(112, 102, 92), hue(196, 188, 172), hue(244, 238, 222), 0.0, 0.75)
EYES = (hue(62, 74, 78), hue(70, 48, 30), hue(74, 80, 62))


class Cover(StrEnum):
    """What is worn on the head."""

    NONE = "none"
    BRIM = "broad hat"
    CAP = "cap"
    COIF = "coif"
    VEIL = "veil"
    CROWN = "crown"
    FUR = "fur hat"


@dataclass(frozen=True, kw_only=True)
class Head:
    """One head.

    Attributes:
        at: Middle of the head, board units.
        size: Chin to crown, board units.
        yaw, pitch, roll: Turn to the viewer's right, bow, tilt; radians.
        skin, hair, eye: Numbers of the tables above.
        age: 0 a child, 0.35 young, 1 old.
        is_woman: Softer brow and jaw.
        beard: 0 none, 1 full.
        long_hair: Length of hair below the ears, 0 to 1.
        cover: What is worn.
        cover_matter: Its material.
        closed_eyes: Eyes shut or lowered.
    """

    at: Point
    size: float
    yaw: float = 0.0
    pitch: float = 0.0
    roll: float = 0.0
    skin: int = 0
    hair: int = 0
    eye: int = 0
    age: float = 0.4
    is_woman: bool = False
    beard: float = 0.0
    long_hair: float = 0.0
    cover: Cover = Cover.NONE
    cover_matter: Matter = LINEN
    closed_eyes: bool = False
    z: float = 0.6


class Ball(Protocol):
    """Adds an ellipsoid, in the head's measure, to a group."""

    def __call__(self, group: Map, c: Vector, r: Vector, melt: float = 0.05) -> None: ...


class Rod(Protocol):
    """Adds a tapered rod, in the head's measure, to a group."""

    def __call__(self, group: Map, a: Vector, b: Vector, r: Point, melt: float = 0.05) -> None: ...


class Skull:
    """Places on a head in its own measure: chin to crown is 1, face towards +z."""

    def __init__(self, head: Head) -> None:
        self.head = head
        self.turn: NDArray[np.float64] = turned(head.yaw, head.pitch, head.roll)

    def place(self, x: float, y: float, z: float) -> Vector:
        """Board position of a place on the head."""
        p = self.turn @ np.array([x, y, z]) * self.head.size
        return (
            self.head.at[0] + float(p[0]),
            self.head.at[1] + float(p[1]),
            self.head.z + float(p[2]),
        )

    def point(self, x: float, y: float, z: float) -> Point:
        """The same without depth."""
        p = self.place(x, y, z)
        return (p[0], p[1])

    def faces(self, x: float, z: float) -> bool:
        """Whether a place looks towards the viewer."""
        n = self.turn @ np.array([x, 0.0, z])
        return bool(n[2] > 0.12)


def model_head(model: Model, head: Head) -> None:
    """Put a head into a model; paint_features must follow once the model is rendered."""
    skull, s = Skull(head), head.size
    child = max(0.0, 0.30 - head.age) / 0.30

    def ball(group: Map, c: Vector, r: Vector, melt: float = 0.05) -> None:
        model.ball(
            group, skull.place(*c), (r[0] * s, r[1] * s, r[2] * s), turn=skull.turn, melt=melt * s
        )

    def rod(group: Map, a: Vector, b: Vector, r: Point, melt: float = 0.05) -> None:
        model.limb(group, skull.place(*a), skull.place(*b), (r[0] * s, r[1] * s), melt=melt * s)

    face = model.blank()
    jaw = 0.27 if head.is_woman or child else 0.295
    ball(face, (0, -0.14, -0.07), (0.345 + 0.02 * child, 0.36, 0.42), 0)
    ball(face, (0, 0.10, 0.06), (jaw, 0.375, 0.30), 0.10)
    ball(face, (0, 0.385, 0.235), (0.095, 0.085, 0.09), 0.10)
    for side in (-1, 1):
        ball(face, (0.160 * side, 0.085, 0.175), (0.125, 0.125, 0.12), 0.16)
        ball(face, (0.30 * side, -0.02, -0.04), (0.05, 0.10, 0.07), 0.03)
        rod(
            face,
            (0.075 * side, -0.128, 0.325),
            (0.20 * side, -0.118, 0.235),
            (0.040, 0.022),
            0.08 if head.is_woman else 0.06,
        )
    _hollows(model, face, skull, s, head)
    for side in (-1, 1):
        ball(face, (0.142 * side, -0.042, 0.234), (0.075, 0.058, 0.066), 0.030)
    bridge = 0.026 if head.is_woman else 0.032
    tip = 0.040 - 0.006 * head.is_woman + 0.006 * head.age
    rod(face, (0, -0.10, 0.325), (0, 0.095, 0.425 - 0.035 * child), (bridge, tip), 0.045)
    for side in (-1, 1):
        ball(face, (0.044 * side, 0.118, 0.372), (0.032, 0.028, 0.036), 0.025)
    ball(face, (0, 0.200, 0.275), (0.085, 0.06, 0.075), 0.08)
    ball(face, (0, 0.229, 0.305), (0.078, 0.019, 0.052), 0.022)
    ball(face, (0, 0.272, 0.298), (0.064, 0.024, 0.054), 0.022)
    rod(face, (0, 0.18, -0.12), (0, 0.66, -0.30), (0.19, 0.21), 0.05)
    model.put(face, SKINS[head.skin])
    _blushes(model, skull, s, head)
    _hair(model, skull, head, ball)
    _cover(model, skull, head, ball, rod)


def _hollows(model: Model, face: Map, skull: Skull, s: float, head: Head) -> None:
    """Press in the eye sockets, the sides of the mouth and old cheeks."""
    presses = [((0.135, -0.050, 0.27), 0.085, 0.060), ((0.115, 0.245, 0.28), 0.040, 0.018)]
    if head.age > 0.65:
        presses.append(((0.20, 0.22, 0.2), 0.09, 0.035))
    for (x, y, z), radius, depth in presses:
        for side in (-1, 1):
            px, py = skull.point(x * side, y, z)
            far = (model.x - px) ** 2 + (model.y - py) ** 2
            press = np.exp(-far / np.float32((radius * s) ** 2)) * np.float32(depth * s)
            face[face > FAR / 2] -= press[face > FAR / 2]


def _blushes(model: Model, skull: Skull, s: float, head: Head) -> None:
    """Red of cheeks, nose and chin; cooler where a beard is shaved."""
    warm = np.array([0.10, -0.035, -0.045], np.float32) * (1.15 if head.is_woman else 1.0)
    for x, y, z, radius, strength in (
        (0.17, 0.10, 0.28, 0.14, 0.58),
        (-0.17, 0.10, 0.28, 0.14, 0.58),
        (0, 0.11, 0.42, 0.06, 0.6),
        (0, 0.40, 0.30, 0.08, 0.4),
        (0.31, -0.02, 0, 0.05, 0.8),
        (-0.31, -0.02, 0, 0.05, 0.8),
    ):
        model.blush(skull.point(x, y, z), radius * s, warm, strength)
    lip = (
        np.array([0.05, -0.13, -0.12], np.float32)
        if head.is_woman
        else np.array([0.02, -0.09, -0.08], np.float32)
    )
    for x in (-0.05, 0.0, 0.05):
        model.blush(skull.point(x, 0.232, 0.34), 0.030 * s, lip, 0.55)
        model.blush(skull.point(x * 0.8, 0.274, 0.34), 0.028 * s, lip, 0.50)
    if not head.is_woman and head.age > 0.3 and head.beard == 0:
        cool = np.array([-0.05, -0.03, -0.015], np.float32)
        for x, y in ((0.15, 0.30), (-0.15, 0.30), (0, 0.36), (0.07, 0.20), (-0.07, 0.20)):
            model.blush(skull.point(x, y, 0.26), 0.09 * s, cool, 0.5)


def _hair(model: Model, skull: Skull, head: Head, ball: Ball) -> None:
    """Hair behind the face, falling hair, beard."""
    matter = HAIRS[head.hair]
    hair = model.blank()
    if head.cover is not Cover.COIF and head.cover is not Cover.VEIL:
        ball(hair, (0, -0.185, -0.125), (0.395, 0.385, 0.425), 0)
        if not head.is_woman:
            for side in (-1, 1):
                ball(hair, (0.30 * side, -0.02, -0.06), (0.085, 0.20, 0.16), 0.05)
    if head.long_hair > 0 and head.cover not in (Cover.COIF, Cover.VEIL):
        for side in (-1, 1):
            low = 0.18 + 0.40 * head.long_hair
            ball(
                hair,
                (0.335 * side, low * 0.55, -0.08),
                (0.13, 0.22 + 0.28 * head.long_hair, 0.17),
                0.06,
            )
            ball(
                hair,
                (0.36 * side, low * 1.2, -0.12),
                (0.12, 0.20 + 0.12 * head.long_hair, 0.15),
                0.06,
            )
    if (hair > FAR / 2).any():
        model.folds(
            hair, spacing=0.05 * head.size, depth=0.016 * head.size, direction=1.4, bend=0.8
        )
        model.put(hair, matter)
    if head.beard > 0:
        beard = model.blank()
        size = head.beard
        ball(beard, (0, 0.40, 0.19), (0.20, 0.10 + 0.12 * size, 0.15), 0)
        for side in (-1, 1):
            ball(beard, (0.17 * side, 0.27, 0.13), (0.095, 0.17, 0.13), 0.06)
            ball(beard, (0.056 * side, 0.198, 0.332), (0.074, 0.026, 0.05), 0.03)
        if size > 0.6:
            ball(beard, (0, 0.52, 0.16), (0.15, 0.10 + 0.16 * size, 0.12), 0.08)
        model.folds(
            beard, spacing=0.040 * head.size, depth=0.013 * head.size, direction=1.5, bend=0.9
        )
        mouth = skull.point(0, 0.255, 0.33)
        far = ((model.x - mouth[0]) / (0.10 * head.size)) ** 2 + (
            (model.y - mouth[1]) / (0.034 * head.size)
        ) ** 2
        beard[far < 1] = FAR
        model.put(beard, matter)


def _cover(model: Model, skull: Skull, head: Head, ball: Ball, rod: Rod) -> None:
    """What is worn on the head."""
    group, s = model.blank(), head.size
    if head.cover is Cover.NONE:
        return
    if head.cover is Cover.BRIM:
        ball(group, (0.02, -0.335, -0.06), (0.74, 0.075, 0.66), 0)
        crown = model.blank()
        ball(crown, (0.02, -0.47, -0.09), (0.36, 0.26, 0.38), 0)
        model.put(crown, head.cover_matter)
        band = replace(
            head.cover_matter, middle=between(head.cover_matter.middle, hue(0, 0, 0), 0.6)
        )
        ring = model.blank()
        ball(ring, (0.02, -0.385, -0.085), (0.375, 0.065, 0.40), 0)
        model.put(ring, band)
    elif head.cover is Cover.CAP:
        ball(group, (0.0, -0.33, -0.10), (0.44, 0.24, 0.44), 0)
        ball(group, (0.10, -0.40, -0.08), (0.46, 0.16, 0.40), 0.08)
        model.folds(group, spacing=0.16 * s, depth=0.05 * s, direction=0.3)
    elif head.cover is Cover.FUR:
        ball(group, (0.0, -0.40, -0.08), (0.46, 0.20, 0.45), 0)
        group[group > FAR / 2] += (
            0.03 * s * model.board.rng.standard_normal(int((group > FAR / 2).sum()))
        ).astype(np.float32)
    elif head.cover is Cover.COIF:
        ball(group, (0, -0.19, -0.125), (0.40, 0.385, 0.42), 0)
        for side in (-1, 1):
            ball(group, (0.325 * side, 0.05, -0.06), (0.09, 0.25, 0.19), 0.05)
        model.folds(group, spacing=0.22 * s, depth=0.03 * s, direction=0.2)
    elif head.cover is Cover.VEIL:
        ball(group, (0, -0.16, -0.17), (0.43, 0.42, 0.44), 0)
        for side in (-1, 1):
            ball(group, (0.38 * side, 0.22, -0.12), (0.13, 0.46, 0.24), 0.10)
            ball(group, (0.44 * side, 0.62, -0.14), (0.17, 0.34, 0.24), 0.10)
        model.folds(group, spacing=0.15 * s, depth=0.05 * s, direction=1.5, bend=0.5)
    elif head.cover is Cover.CROWN:
        ball(group, (0, -0.36, -0.08), (0.385, 0.075, 0.42), 0)
        for i in range(7):
            a = -1.2 + 0.4 * i
            x, z = 0.37 * np.sin(a), 0.40 * np.cos(a) - 0.08
            rod(group, (x, -0.38, z), (x * 1.1, -0.58 - 0.05 * (i % 2), z), (0.05, 0.018), 0.02)
    model.put(group, head.cover_matter)
