"""Arms and hands in the round."""

from __future__ import annotations

import numpy as np

from .board import Point
from .forms import Matter, Model, Vector
from .heads import LINEN, SKINS


def sleeve(
    model: Model,
    points: tuple[Vector, Vector, Vector],
    width: float,
    matter: Matter,
    *,
    folds: float = 0.5,
) -> None:
    """An arm in its sleeve: shoulder, elbow, wrist; width at the shoulder."""
    arm = model.blank()
    shoulder, elbow, wrist = points
    model.limb(arm, shoulder, elbow, (width, 0.84 * width))
    model.limb(arm, elbow, wrist, (0.84 * width, 0.58 * width), melt=0.5 * width)
    angle = float(np.arctan2(wrist[1] - elbow[1], wrist[0] - elbow[0])) + 1.2
    model.folds(arm, spacing=0.75 * width, depth=0.16 * width * folds, direction=angle, bend=0.7)
    model.put(arm, matter)


def hand(
    model: Model,
    wrist: Vector,
    towards: Point,
    size: float,
    *,
    skin: int = 0,
    spread: float = 0.16,
    curl: float = 0.25,
    thumb: int = 1,
    has_cuff: bool = True,
) -> Point:
    """A hand from the wrist in a direction.

    Args:
        size: Length from wrist to finger tips, units.
        spread: Angle between fingers, radians.
        curl: How far the fingers bend away from the viewer, 0 to 1.
        thumb: Side of the thumb, 1 clockwise of the direction.

    Returns:
        Middle of the palm.
    """
    length = float(np.hypot(*towards)) or 1.0
    ux, uy = towards[0] / length, towards[1] / length
    vx, vy = -uy * thumb, ux * thumb
    x, y, z = wrist

    def at(along: float, across: float, dz: float = 0.0) -> Vector:
        return (
            x + size * (ux * along + vx * across),
            y + size * (uy * along + vy * across),
            z + size * dz,
        )

    flesh = model.blank()
    model.limb(flesh, at(-0.10, 0), at(0.12, 0), (0.15 * size, 0.16 * size))
    for across in (-0.13, 0.0, 0.13):
        model.limb(
            flesh,
            at(0.16, 0.7 * across, 0.02),
            at(0.44, across, 0.02),
            (0.125 * size, 0.115 * size),
            melt=0.10 * size,
        )
    for i, reach in enumerate((0.78, 0.92, 0.98, 0.88)):
        across = 0.195 - 0.13 * i
        lean = spread * (1.5 - i)
        knuckle = at(0.46, across, 0.03)
        middle = at(0.46 + 0.55 * (reach - 0.46), across + 0.30 * lean * 0.6, 0.05)
        bend = 1 - 0.5 * curl
        tip = at(0.46 + (reach - 0.46) * bend, across + 0.5 * lean, 0.05 - 0.30 * curl)
        model.limb(flesh, knuckle, middle, (0.075 * size, 0.064 * size), melt=0.03 * size)
        model.limb(flesh, middle, tip, (0.064 * size, 0.048 * size), melt=0.02 * size)
    model.limb(
        flesh,
        at(0.14, 0.16, 0.02),
        at(0.36, 0.34, 0.10),
        (0.10 * size, 0.078 * size),
        melt=0.06 * size,
    )
    model.limb(
        flesh,
        at(0.36, 0.34, 0.10),
        at(0.58, 0.36, 0.14),
        (0.074 * size, 0.052 * size),
        melt=0.03 * size,
    )
    model.put(flesh, SKINS[skin])
    for along, across in ((0.46, 0.19), (0.46, 0.06), (0.46, -0.07), (0.46, -0.20)):
        px, py, _ = at(along, across)
        model.blush((px, py), 0.07 * size, np.array([0.05, -0.03, -0.03]), 0.7)
    if has_cuff:
        cuff = model.blank()
        a, b = at(-0.20, -0.20, 0.0), at(-0.20, 0.20, 0.0)
        model.limb(cuff, a, b, (0.13 * size, 0.13 * size))
        model.put(cuff, LINEN)
    palm = at(0.40, 0.05)
    return (palm[0], palm[1])
