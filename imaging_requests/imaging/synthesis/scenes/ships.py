"""Ships, fishing boats and ferries, with their lanterns and their images in the water."""

from __future__ import annotations

from dataclasses import dataclass

from ..pigments import hue
from .board import Board, Point, Tone, between, spline
from .staffage import FIGURE_COATS, small_figure

HULL_DARK = hue(34, 27, 23)
HULL_LIGHT = hue(124, 86, 52)
SAIL_LIGHT = hue(226, 208, 170)
SAIL_DARK = hue(122, 104, 82)
ROPE = hue(46, 36, 28)
PENNANT = hue(176, 52, 38)
LANTERN = hue(255, 208, 116)
LANTERN_CORE = hue(255, 244, 206)


@dataclass(frozen=True, kw_only=True)
class Rig:
    """How a vessel lies: its place, length, heading and light.

    Attributes:
        x, waterline: Middle of the hull on the water, units.
        length: Of the hull, units.
        heading: 1 with the bow to the right, -1 to the left.
        shadow: 0 in full light, 1 a silhouette.
        haze: Colour of the air and how much of it lies between, 0 to 1.
    """

    x: float
    waterline: float
    length: float
    heading: int = 1
    shadow: float = 0.3
    haze: float = 0.0
    haze_tone: Tone = (0.5, 0.5, 0.5)
    heel: float = 0.0


class Vessel:
    """Pen for one vessel: local coordinates from stern -0.5 to bow 0.5, up positive."""

    def __init__(self, board: Board, rig: Rig) -> None:
        self.board = board
        self.rig = rig

    def at(self, x: float, y: float) -> Point:
        """Board coordinates of a local point."""
        rig = self.rig
        lean = rig.heel * y
        return (
            rig.x + rig.heading * (x + lean) * rig.length,
            rig.waterline - (y - 0.35 * rig.heel * x) * rig.length,
        )

    def path(self, points: list[Point]) -> list[Point]:
        """Board coordinates of local points."""
        return [self.at(x, y) for x, y in points]

    def air(self, tone: Tone) -> Tone:
        """A colour seen in shadow and through haze."""
        shaded = between(tone, HULL_DARK, 0.75 * self.rig.shadow)
        return between(shaded, self.rig.haze_tone, self.rig.haze)

    def line(self, points: list[Point], width: float, tone: Tone, alpha: float = 0.85) -> None:
        """A spar or a rope."""
        self.board.line(self.path(points), width * self.rig.length, self.air(tone), alpha=alpha)

    def fill(self, points: list[Point], light: Tone, dark: Tone, *, across: bool = True) -> None:
        """A shape lit from the sun's side."""
        region = self.board.region(self.path(points))
        side = (-self.rig.heading * 0.9, 0.35) if across else (0.0, 1.0)
        self.board.shade(
            region, self.air(light), self.air(dark), direction=side, detail=0.75, angle=1.3
        )

    def sail(self, points: list[Point], belly: float, light: Tone = SAIL_LIGHT) -> None:
        """Four-sided sail, head left, head right, foot right, foot left; belly swells the leech."""
        a, b, c, d = points
        outline = [
            a,
            ((a[0] + b[0]) / 2, (a[1] + b[1]) / 2 + 0.006),
            b,
            ((b[0] + c[0]) / 2 + belly, (b[1] + c[1]) / 2),
            c,
            ((c[0] + d[0]) / 2, (c[1] + d[1]) / 2 + 0.35 * belly),
            d,
            ((a[0] + d[0]) / 2 + belly * 0.6, (a[1] + d[1]) / 2),
        ]
        self.fill(outline, light, SAIL_DARK)
        for t in (0.3, 0.55, 0.78):
            top = (a[0] + (b[0] - a[0]) * t, a[1] + (b[1] - a[1]) * t)
            low = (d[0] + (c[0] - d[0]) * t, d[1] + (c[1] - d[1]) * t)
            mid = ((top[0] + low[0]) / 2 + belly * 0.8, (top[1] + low[1]) / 2)
            self.line([top, mid, low], 0.004, SAIL_DARK, 0.35)

    def reflect(self, height: float, strength: float = 0.55) -> None:
        """Dark image of the hull in the water."""
        rig, rng = self.rig, self.board.rng
        for i in range(9):
            y = rig.waterline + rig.length * height * (i + 0.3) / 9
            half = rig.length * 0.5 * (1 - 0.055 * i) * float(rng.uniform(0.75, 1.05))
            middle = rig.x + rig.length * float(rng.normal(0, 0.03))
            region = self.board.oval((middle, y), (half, rig.length * height / 11), soft=0.002)
            self.board.lay(
                region, between(HULL_DARK, rig.haze_tone, rig.haze), alpha=strength * (1 - i / 10)
            )


def lantern(
    board: Board, at: Point, size: float, *, strength: float = 1.0, water: float | None = None
) -> None:
    """A burning lantern, its halo, and its broken streak in the water below."""
    board.glow(at, 7 * size, hue(220, 132, 52), 0.50 * strength)
    board.glow(at, 2.2 * size, LANTERN, 0.85 * strength)
    board.dab(at, 0.55 * size, LANTERN_CORE)
    if water is None:
        return
    rng = board.rng
    y, length = water + 1.4 * size, 15 * size
    while y < min(water + length, board.height):
        t = (y - water) / length
        half = size * (0.5 + 1.6 * t) * float(rng.uniform(0.5, 1.2))
        x = at[0] + size * float(rng.normal(0, 0.5 + t))
        board.line(
            [(x - half, y), (x + half, y + 0.1 * size)],
            0.75 * size,
            between(LANTERN, hue(190, 104, 44), t),
            alpha=0.75 * strength * (1 - 0.75 * t),
        )
        y += size * float(rng.uniform(0.7, 1.5))


def three_master(board: Board, rig: Rig, *, sails: bool = True) -> Vessel:
    """A large ship with three masts, her stern lantern lit by the caller if wanted."""
    v = Vessel(board, rig)
    v.reflect(0.30)
    for mast, height, width in ((-0.27, 0.62, 0.30), (0.02, 0.86, 0.40), (0.28, 0.74, 0.36)):
        v.line([(mast, 0.10), (mast + 0.01, height)], 0.014, HULL_LIGHT)
        for level, share in ((0.30, 1.0), (0.54, 0.78), (0.76, 0.55)):
            yard, half = level * height + 0.10, 0.5 * width * share
            v.line([(mast - half, yard), (mast + half, yard + 0.01)], 0.008, HULL_LIGHT)
            if sails and level < 0.75:
                top = yard + 0.20 * height
                w2 = half * 0.80
                v.sail(
                    [
                        (mast - w2, top),
                        (mast + w2, top),
                        (mast + half, yard + 0.008),
                        (mast - half, yard + 0.008),
                    ],
                    0.035,
                )
        for foot in (-0.11, -0.05, 0.06, 0.12):
            v.line([(mast + foot, 0.10), (mast, 0.72 * height)], 0.0028, ROPE, 0.7)
        wave = [
            (mast, height + 0.01),
            (mast - 0.07, height + 0.035),
            (mast - 0.13, height + 0.005),
            (mast - 0.20, height + 0.025),
        ]
        v.board.line(v.path(spline(wave, closed=False)), 0.008 * rig.length, v.air(PENNANT))
    v.line([(0.42, 0.13), (0.72, 0.27)], 0.012, HULL_LIGHT)
    v.line([(0.70, 0.26), (0.30, 0.74)], 0.0028, ROPE, 0.7)
    v.line([(0.28, 0.72), (0.03, 0.84)], 0.0028, ROPE, 0.7)
    v.line([(0.02, 0.84), (-0.26, 0.60)], 0.0028, ROPE, 0.7)
    v.sail([(0.50, 0.33), (0.53, 0.34), (0.68, 0.24), (0.48, 0.17)], 0.0)
    hull = [
        (-0.50, 0.24),
        (-0.47, 0.06),
        (-0.44, -0.012),
        (0.36, -0.012),
        (0.43, 0.03),
        (0.49, 0.14),
        (0.36, 0.12),
        (0.10, 0.095),
        (-0.22, 0.12),
        (-0.34, 0.16),
        (-0.40, 0.22),
    ]
    v.fill(spline(hull, steps=5), HULL_LIGHT, HULL_DARK, across=False)
    for height in (0.045, 0.072):
        v.line(
            [(-0.46, height + 0.035), (0.0, height - 0.005), (0.44, height + 0.025)],
            0.006,
            hue(176, 130, 72),
            0.7,
        )
    for i in range(9):
        x = -0.34 + 0.08 * i
        v.line([(x, 0.052), (x + 0.018, 0.052)], 0.016, HULL_DARK, 0.9)
    v.line([(-0.49, 0.20), (-0.41, 0.20)], 0.02, hue(206, 164, 88), 0.8)
    return v


def fishing_boat(board: Board, rig: Rig, *, sail: Tone = SAIL_LIGHT, crew: int = 2) -> Vessel:
    """A small open boat with one spritsail."""
    v = Vessel(board, rig)
    v.reflect(0.34, 0.45)
    v.line([(0.06, 0.05), (0.05, 1.02)], 0.020, HULL_LIGHT)
    v.sail([(0.05, 0.72), (-0.38, 0.98), (-0.42, 0.20), (0.05, 0.20)], -0.05, sail)
    v.line([(0.05, 0.22), (-0.40, 1.00)], 0.010, ROPE)
    v.fill([(0.08, 0.88), (0.46, 0.16), (0.10, 0.20)], between(sail, SAIL_DARK, 0.25), SAIL_DARK)
    v.line([(0.05, 1.0), (0.50, 0.14)], 0.005, ROPE)
    flag = spline([(0.05, 1.02), (-0.05, 1.06), (-0.12, 1.02), (-0.22, 1.05)], closed=False)
    board.line(v.path(flag), 0.014 * rig.length, v.air(PENNANT))
    hull = [
        (-0.50, 0.15),
        (-0.42, 0.0),
        (-0.30, -0.02),
        (0.32, -0.02),
        (0.44, 0.04),
        (0.52, 0.19),
        (0.30, 0.12),
        (0.0, 0.095),
        (-0.30, 0.11),
    ]
    for i in range(crew):
        x = -0.28 + 0.22 * i
        small_figure(
            board,
            v.at(x, 0.04),
            0.30 * rig.length,
            FIGURE_COATS[i % len(FIGURE_COATS)],
            shadow=rig.shadow,
            legs=False,
        )
    v.fill(spline(hull, steps=5), HULL_LIGHT, HULL_DARK, across=False)
    v.line([(-0.48, 0.13), (0.0, 0.085), (0.50, 0.17)], 0.014, hue(190, 150, 92), 0.8)
    return v


def ferry(
    board: Board, rig: Rig, *, passengers: int = 7, lanterns: int = 1, glow: float = 1.0
) -> Vessel:
    """A flat ferry with people standing in it, a ferryman with his pole, and lanterns."""
    v = Vessel(board, rig)
    v.reflect(0.30, 0.6)
    rng = board.rng
    for i in range(passengers):
        x = -0.30 + 0.58 * i / max(1, passengers - 1) + float(rng.normal(0, 0.012))
        height = rig.length * float(rng.uniform(0.23, 0.29))
        small_figure(
            board,
            v.at(x, 0.045),
            height,
            FIGURE_COATS[int(rng.integers(len(FIGURE_COATS)))],
            shadow=rig.shadow,
            legs=False,
            is_woman=bool(rng.random() < 0.45),
        )
    small_figure(
        board,
        v.at(-0.43, 0.10),
        rig.length * 0.32,
        FIGURE_COATS[0],
        shadow=rig.shadow,
        facing=rig.heading,
    )
    v.line([(-0.36, 0.50), (-0.58, -0.12)], 0.011, HULL_LIGHT)
    hull = [
        (-0.54, 0.12),
        (-0.46, -0.005),
        (-0.36, -0.025),
        (0.38, -0.025),
        (0.48, 0.0),
        (0.55, 0.13),
        (0.42, 0.085),
        (0.0, 0.075),
        (-0.42, 0.08),
    ]
    v.fill(spline(hull, steps=5), HULL_LIGHT, HULL_DARK, across=False)
    v.line([(-0.52, 0.105), (0.0, 0.068), (0.53, 0.115)], 0.012, hue(182, 138, 80), 0.8)
    v.line([(-0.48, 0.05), (0.0, 0.03), (0.49, 0.05)], 0.006, HULL_DARK, 0.7)
    for i in range(lanterns):
        x = 0.46 - 0.42 * i
        v.line([(x, 0.07), (x + 0.015, 0.36)], 0.008, HULL_LIGHT)
        lantern(
            board,
            v.at(x + 0.015, 0.345),
            0.030 * rig.length,
            strength=glow,
            water=rig.waterline + 0.03 * rig.length,
        )
    return v
