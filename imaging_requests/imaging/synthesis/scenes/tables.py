"""Things on tables: a still life with sea holly, and a mapmaker's table."""

from __future__ import annotations

import itertools

import numpy as np

from ..pigments import hue
from .attributes import glass
from .board import Board, Point, spline
from .forms import Light, Matter, Model
from .portraits import ground

LIGHT = Light(towards=(-0.62, -0.50, 0.60), fill=0.08)
STONEWARE = Matter(hue(38, 32, 28), hue(118, 92, 66), hue(206, 182, 146), 0.35, 0.8)
LEMON = Matter(hue(96, 62, 14), hue(206, 160, 42), hue(250, 228, 130), 0.25, 0.85)
PEACH = Matter(hue(96, 34, 24), hue(206, 112, 64), hue(246, 200, 140), 0.05, 0.85)
PLUM = Matter(hue(18, 14, 26), hue(54, 44, 74), hue(140, 136, 166), 0.15, 0.85)
BREAD = Matter(hue(70, 40, 20), hue(168, 112, 60), hue(228, 184, 122), 0.0, 0.8)
SHELL = Matter(hue(106, 70, 58), hue(206, 168, 140), hue(250, 234, 210), 0.2, 0.85)
CLOTH = Matter(hue(104, 98, 92), hue(188, 182, 170), hue(244, 240, 228), 0.0, 0.7)


def still_life(board: Board) -> None:
    """A jug of sea holly with fruit, bread, a glass and a shell on a stone ledge."""
    w, h = board.width, board.height
    ground(board, tone=(56, 48, 40))
    edge = h - 0.34
    _ledge(board, edge)
    jug = (0.46 * w, edge + 0.10)
    glass(board, (0.76 * w, edge + 0.04), 0.34, LIGHT)
    model = Model(board, ((0, 0), (w, h)))
    _turned_jug(model, jug)
    _linen(model, (0.20 * w, edge + 0.12))
    lemons = model.blank()
    model.ball(lemons, (0.66 * w, edge + 0.15, 0.8), (0.085, 0.066, 0.066))
    model.ball(lemons, (0.66 * w + 0.088, edge + 0.145, 0.8), (0.018, 0.016, 0.016), melt=0.03)
    model.put(lemons, LEMON)
    for x, y, r, matter in (
        (0.80, 0.17, 0.075, PEACH),
        (0.90, 0.14, 0.070, PEACH),
        (0.86, 0.07, 0.060, PLUM),
        (0.72, 0.22, 0.048, PLUM),
        (0.60, 0.22, 0.044, PLUM),
    ):
        fruit = model.blank()
        model.ball(fruit, (x * w, edge + y, 0.82 + 0.2 * y), (r, 0.95 * r, r))
        model.put(fruit, matter)
    loaf = model.blank()
    model.ball(loaf, (0.20 * w, edge + 0.02, 0.75), (0.15, 0.085, 0.1))
    model.folds(loaf, spacing=0.075, depth=0.016, direction=1.1)
    model.put(loaf, BREAD)
    shell = model.blank()
    for i in range(6):
        r = 0.062 * 0.80**i
        model.ball(
            shell,
            (0.36 * w + 0.10 * (1 - 0.74**i), edge + 0.235 - 0.012 * i, 0.95),
            (r, r * 0.9, r),
            melt=0.01,
        )
    model.put(shell, SHELL)
    model.render(LIGHT)
    rim = (jug[0], jug[1] - 0.505)
    board.shade(board.oval(rim, (0.072, 0.020)), hue(150, 122, 92), hue(96, 74, 54), detail=0.9)
    board.lay(board.oval(rim, (0.058, 0.014)), hue(24, 18, 15), detail=0.9)
    for angle in (-2.35, -2.0, -1.75, -1.5, -1.25, -0.95, -0.7):
        _sea_holly(
            board,
            (jug[0] + 0.03 * (angle + 1.5), jug[1] - 0.505),
            angle,
            0.30 + 0.16 * float(board.rng.random()),
        )
    _gleams(board, ((0.655 * w - 0.03, edge + 0.125), (0.86 * w - 0.02, edge + 0.05)))
    _fallen(board, (0.52 * w, edge + 0.26))
    board.vignette(0.35, centre=(0.5 * w, 0.6 * h))


def _ledge(board: Board, edge: float) -> None:
    """A stone ledge with a chipped front edge."""
    w, h = board.width, board.height
    top = [(-0.02, edge), (w + 0.02, edge), (w + 0.02, h - 0.09), (-0.02, h - 0.09)]
    board.shade(
        board.region(top),
        hue(64, 54, 46),
        hue(132, 114, 92),
        direction=(-0.5, 0.9),
        detail=0.3,
        angle=0.0,
    )
    front = [(-0.02, h - 0.09), (w + 0.02, h - 0.09), (w + 0.02, h + 0.02), (-0.02, h + 0.02)]
    board.shade(
        board.region(front),
        hue(98, 84, 68),
        hue(42, 36, 31),
        direction=(0.4, 0.9),
        detail=0.3,
        angle=0.0,
    )
    board.line(
        [(0, h - 0.09), (0.3 * w, h - 0.092), (w, h - 0.09)], 0.006, hue(190, 170, 138), alpha=0.8
    )


def _turned_jug(model: Model, foot: Point) -> None:
    """A bellied stoneware jug with a handle and bands."""
    x, y = foot
    jug = model.blank()
    model.ball(jug, (x, y - 0.15, 0.70), (0.150, 0.150, 0.150))
    model.limb(jug, (x, y - 0.24, 0.70), (x, y - 0.42, 0.70), (0.095, 0.075), melt=0.06)
    model.limb(jug, (x, y - 0.42, 0.70), (x, y - 0.445, 0.70), (0.086, 0.086), melt=0.01)
    model.limb(jug, (x, y - 0.02, 0.70), (x, y - 0.01, 0.70), (0.10, 0.105), melt=0.04)
    t = np.linspace(-1.25, 1.35, 22)
    for a, b in itertools.pairwise(t):
        model.limb(
            jug,
            (x + 0.085 + 0.105 * np.cos(a), y - 0.29 + 0.12 * np.sin(a), 0.70),
            (x + 0.085 + 0.105 * np.cos(b), y - 0.29 + 0.12 * np.sin(b), 0.70),
            (0.021, 0.021),
            melt=0.008,
        )
    ring = 0.006 * np.exp(-(((model.y - y + 0.30) / 0.006) ** 2)) + 0.005 * np.exp(
        -(((model.y - y + 0.16) / 0.006) ** 2)
    )
    there = jug > -4
    jug[there] += np.broadcast_to(ring, jug.shape)[there]
    model.put(jug, STONEWARE)


def _linen(model: Model, at: Point) -> None:
    """A white cloth that hangs over the ledge."""
    x, y = at
    cloth = model.blank()
    outline = spline(
        [
            (x - 0.24, y - 0.06),
            (x + 0.10, y - 0.08),
            (x + 0.24, y + 0.02),
            (x + 0.20, y + 0.16),
            (x + 0.15, y + 0.40),
            (x - 0.06, y + 0.34),
            (x - 0.20, y + 0.42),
            (x - 0.28, y + 0.14),
        ]
    )
    model.cushion(cloth, outline, 0.62, 0.03, edge=0.05)
    model.folds(cloth, spacing=0.085, depth=0.030, direction=1.35, bend=0.6)
    model.put(cloth, CLOTH)


def _sea_holly(board: Board, root: Point, angle: float, length: float) -> None:
    """A stem of sea holly: spiny blue-grey leaves around a domed head."""
    rng = board.rng
    tip = (root[0] + length * np.cos(angle), root[1] + length * np.sin(angle))
    bend = ((root[0] + tip[0]) / 2 + 0.02 * float(rng.normal()), (root[1] + tip[1]) / 2 - 0.02)
    stem = spline([root, bend, tip], closed=False, steps=6)
    board.line(stem, 0.010, hue(84, 104, 96))
    board.line([(x - 0.002, y) for x, y in stem], 0.004, hue(168, 186, 176), alpha=0.8)
    for share in (0.45, 0.72):
        x, y = stem[int(share * (len(stem) - 1))]
        for side in (-1, 1):
            _spiny_leaf(board, (x, y), angle + side * float(rng.uniform(0.7, 1.1)), 0.085)
    for i in range(9):
        _spiny_leaf(
            board,
            tip,
            angle + 2 * np.pi * i / 9 + 0.1 * float(rng.normal()),
            0.075 * float(rng.uniform(0.8, 1.15)),
        )
    dome = board.oval(tip, (0.027, 0.032), turn=angle)
    board.shade(dome, hue(150, 168, 190), hue(46, 60, 86), direction=(0.8, 0.8), detail=0.95)
    for _ in range(16):
        at = (tip[0] + 0.014 * float(rng.normal()), tip[1] + 0.014 * float(rng.normal()))
        board.dab(at, 0.0030, hue(196, 208, 220), alpha=0.8)


def _spiny_leaf(board: Board, root: Point, angle: float, length: float) -> None:
    """One leaf with spines."""
    cos, sin = np.cos(angle), np.sin(angle)

    def at(along: float, across: float) -> Point:
        return (
            root[0] + length * (along * cos - across * sin),
            root[1] + length * (along * sin + across * cos),
        )

    outline = [
        at(0, 0),
        at(0.30, 0.12),
        at(0.42, 0.34),
        at(0.52, 0.14),
        at(0.72, 0.26),
        at(0.76, 0.08),
        at(1.05, 0),
        at(0.76, -0.08),
        at(0.72, -0.26),
        at(0.52, -0.14),
        at(0.42, -0.34),
        at(0.30, -0.12),
    ]
    board.shade(
        board.region(outline),
        hue(164, 184, 184),
        hue(66, 86, 98),
        direction=(0.8, 0.6),
        detail=0.9,
        angle=float(angle),
    )
    board.line([at(0.05, 0), at(0.95, 0)], 0.0025, hue(216, 226, 222), alpha=0.8)


def _fallen(board: Board, at: Point) -> None:
    """A leaf and petals that have fallen on the ledge."""
    _spiny_leaf(board, at, 0.3, 0.10)
    for dx in (0.10, 0.16, -0.06):
        board.lay(
            board.oval((at[0] + dx, at[1] + 0.02), (0.012, 0.006)), hue(120, 136, 160), detail=0.9
        )


def _gleams(board: Board, places: tuple[Point, ...]) -> None:
    """Window lights on round things."""
    for x, y in places:
        board.dab((x, y), 0.008, hue(255, 250, 236), alpha=0.8)
