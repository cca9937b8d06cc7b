"""A mapmaker's table: globe, charts, carpet, candle."""

from __future__ import annotations

import numpy as np

from ..pigments import hue
from .attributes import BRASS, LEATHER, PAPER, PEWTER, dividers
from .board import Board, Point, between, spline
from .forms import Matter, Model
from .portraits import ground
from .ships import lantern
from .tables import CLOTH, LIGHT

GLOBE = Matter(hue(52, 44, 30), hue(150, 130, 88), hue(226, 210, 164), 0.3, 0.85)


CARPET_RED = hue(138, 40, 34)


def map_table(board: Board) -> None:
    """A table with a patterned carpet, globe, charts, dividers and candle; a window at the left."""
    rng = board.rng
    w, h = board.width, board.height
    ground(board, tone=(78, 68, 54))
    _window(board, (0.03 * w, 0.08 * h), (0.20 * w, 0.46 * h))
    _hanging_chart(board, (0.60 * w, 0.08 * h), (0.34 * w, 0.34 * h))
    edge = 0.58 * h
    table = [
        (0.06 * w, edge),
        (w + 0.05, edge - 0.02),
        (w + 0.05, h + 0.05),
        (-0.05, h + 0.05),
        (-0.05, 0.80 * h),
    ]
    region = board.region(table)
    board.shade(
        region, hue(160, 52, 40), hue(62, 22, 22), direction=(0.8, 0.5), detail=0.35, angle=0.1
    )
    for row in range(5):
        for column in range(11):
            y = edge + 0.05 + 0.105 * row
            x = 0.06 + 0.125 * column * w / 1.2 - 0.02 * row
            _medallion(board, (x, y), 0.030 + 0.006 * row)
    model = Model(board, ((0, 0), (w, h)))
    globe = model.blank()
    gx, gy, r = 0.30 * w, edge - 0.12, 0.19
    model.limb(globe, (gx, edge + 0.10, 0.5), (gx, edge, 0.5), (0.085, 0.03))
    model.put(globe, LEATHER)
    sphere = model.blank()
    model.ball(sphere, (gx, gy, 0.6), (r, r, r))
    model.put(sphere, GLOBE)
    for x, y, matter in ((0.80, 0.02, LEATHER), (0.83, -0.03, PAPER), (0.79, -0.075, LEATHER)):
        book = model.blank()
        model.cushion(
            book,
            [
                (x * w - 0.14, edge + y),
                (x * w + 0.14, edge + y - 0.012),
                (x * w + 0.15, edge + y + 0.045),
                (x * w - 0.135, edge + y + 0.06),
            ],
            0.62,
            0.03,
            edge=0.025,
        )
        model.put(book, matter)
    sheet = model.blank()
    outline = spline(
        [
            (0.36 * w, edge + 0.12),
            (0.62 * w, edge + 0.08),
            (0.82 * w, edge + 0.12),
            (0.86 * w, edge + 0.30),
            (0.58 * w, edge + 0.34),
            (0.32 * w, edge + 0.32),
        ]
    )
    model.cushion(sheet, outline, 0.70, 0.02, edge=0.04)
    model.put(sheet, PAPER)
    for dx in (0.335, 0.85):
        roll = model.blank()
        model.limb(
            roll, (dx * w, edge + 0.13, 0.74), (dx * w - 0.01, edge + 0.31, 0.78), (0.024, 0.024)
        )
        model.put(roll, PAPER)
    pot = model.blank()
    model.ball(pot, (0.90 * w, edge + 0.14, 0.75), (0.05, 0.045, 0.05))
    model.put(pot, PEWTER)
    stick = model.blank()
    model.limb(stick, (0.64 * w, edge + 0.05, 0.7), (0.64 * w, edge - 0.08, 0.7), (0.035, 0.018))
    model.limb(
        stick,
        (0.64 * w - 0.05, edge + 0.06, 0.7),
        (0.64 * w + 0.05, edge + 0.06, 0.7),
        (0.02, 0.02),
        melt=0.02,
    )
    model.put(stick, BRASS)
    candle = model.blank()
    model.limb(candle, (0.64 * w, edge - 0.08, 0.7), (0.64 * w, edge - 0.22, 0.7), (0.017, 0.016))
    model.put(candle, CLOTH)
    model.render(LIGHT)
    _graticule(board, (gx, gy), r)
    lantern(board, (0.64 * w, edge - 0.255), 0.014)
    ink = hue(88, 58, 40)
    for k in range(3):
        line = [
            (0.40 * w + 0.40 * w * t, edge + 0.14 + 0.06 * k + 0.018 * float(rng.normal()))
            for t in np.linspace(0, 1, 10)
        ]
        board.line(spline(line, closed=False, steps=5), 0.0035, ink, alpha=0.7)
    centre = (0.68 * w, edge + 0.20)
    for a in np.linspace(0, 2 * np.pi, 16, endpoint=False):
        board.line(
            [centre, (centre[0] + 0.13 * np.cos(a), centre[1] + 0.06 * np.sin(a))],
            0.0018,
            hue(150, 70, 50),
            alpha=0.55,
        )
    dividers(board, (0.48 * w, edge + 0.17), 0.15, LIGHT)
    feather = spline(
        [(0.90 * w, edge + 0.11), (0.93 * w, edge), (0.95 * w, edge - 0.14)], closed=False
    )
    board.line(feather, 0.016, hue(226, 220, 206), alpha=0.9)
    board.line(feather, 0.003, hue(120, 110, 96))
    board.vignette(0.35, centre=(0.4 * w, 0.45 * h))


def _window(board: Board, at: Point, size: Point) -> None:
    """A leaded window with light falling from it."""
    (x, y), (w, h) = at, size
    pane = [(x, y), (x + w, y + 0.05 * h), (x + w, y + 0.95 * h), (x, y + h)]
    board.shade(
        board.region(pane), hue(226, 230, 222), hue(168, 184, 190), direction=(0.7, 0.5), detail=0.5
    )
    for i in range(1, 5):
        board.line([(x + w * i / 5, y), (x + w * i / 5, y + h)], 0.004, hue(60, 56, 50), alpha=0.8)
    for i in range(1, 7):
        board.line(
            [(x, y + h * i / 7), (x + w, y + 0.05 * h + 0.9 * h * i / 7)],
            0.004,
            hue(60, 56, 50),
            alpha=0.8,
        )
    board.line([*pane, pane[0]], 0.018, hue(66, 48, 34))
    board.glow((x + w, y + 0.5 * h), 0.35, hue(180, 176, 156), 0.4)


def _hanging_chart(board: Board, at: Point, size: Point) -> None:
    """A wall map: invented coasts, a cartouche, rods above and below."""
    (x, y), (w, h) = at, size
    rng = board.rng
    sheet = [(x, y), (x + w, y), (x + w, y + h), (x, y + h)]
    board.shade(
        board.region(sheet),
        hue(216, 196, 150),
        hue(142, 120, 84),
        direction=(0.9, 0.5),
        detail=0.5,
        angle=0.0,
    )
    for k, tone in ((0, hue(150, 166, 150)), (1, hue(196, 150, 110))):
        cx, cy = x + w * (0.32 + 0.36 * k), y + h * (0.42 + 0.16 * k)
        land = [
            (
                cx + 0.22 * w * np.cos(a) * float(rng.uniform(0.6, 1.15)),
                cy + 0.24 * h * np.sin(a) * float(rng.uniform(0.6, 1.15)),
            )
            for a in np.linspace(0, 2 * np.pi, 16, endpoint=False)
        ]
        shape = spline(land, steps=5)
        board.lay(board.region(shape), tone, alpha=0.7, detail=0.6)
        board.line([*shape, shape[0]], 0.004, hue(96, 66, 46), alpha=0.8)
    box = [
        (x + 0.04 * w, y + 0.70 * h),
        (x + 0.30 * w, y + 0.70 * h),
        (x + 0.30 * w, y + 0.93 * h),
        (x + 0.04 * w, y + 0.93 * h),
    ]
    board.lay(board.region(box), hue(230, 214, 174), detail=0.7)
    board.line([*box, box[0]], 0.004, hue(150, 60, 46))
    for i in range(3):
        board.line(
            [
                (x + 0.07 * w, y + (0.76 + 0.055 * i) * h),
                (x + 0.26 * w, y + (0.76 + 0.055 * i) * h),
            ],
            0.003,
            hue(90, 64, 48),
            alpha=0.7,
        )
    for level in (0.0, 1.0):
        board.line(
            [(x - 0.02, y + level * h), (x + w + 0.02, y + level * h)], 0.016, hue(52, 38, 28)
        )


def _medallion(board: Board, at: Point, size: float) -> None:
    """One motif of the carpet."""
    x, y = at
    diamond = [(x - size, y), (x, y - 0.6 * size), (x + size, y), (x, y + 0.6 * size)]
    board.lay(board.region(diamond), hue(40, 52, 78), alpha=0.75, detail=0.5)
    board.line([*diamond, diamond[0]], 0.005, hue(206, 170, 100), alpha=0.6)
    board.dab(at, 0.3 * size, between(CARPET_RED, hue(226, 150, 90), 0.4), alpha=0.8)


def _graticule(board: Board, centre: Point, radius: float) -> None:
    """Meridians, a brass ring and an invented coast on the globe."""
    x, y = centre
    for share in (-0.7, -0.35, 0.0, 0.35, 0.7):
        t = np.linspace(-1.3, 1.3, 20)
        board.line(
            [(x + radius * share * np.cos(a), y + radius * np.sin(a)) for a in t],
            0.0022,
            hue(96, 76, 50),
            alpha=0.5,
        )
        half = radius * float(np.sqrt(max(0.0, 1 - share**2)))
        board.line(
            [
                (x + half * np.cos(a), y + radius * share + 0.18 * half * np.sin(a))
                for a in np.linspace(0, np.pi, 20)
            ],
            0.0022,
            hue(96, 76, 50),
            alpha=0.5,
        )
    land = [
        (
            x + radius * (0.1 + 0.5 * np.cos(a) * float(board.rng.uniform(0.6, 1.1))),
            y + radius * (-0.1 + 0.45 * np.sin(a) * float(board.rng.uniform(0.6, 1.1))),
        )
        for a in np.linspace(0, 2 * np.pi, 13, endpoint=False)
    ]
    board.lay(board.region(spline(land, steps=4)), hue(150, 96, 60), alpha=0.45)
    ring = [
        (x + 1.10 * radius * np.cos(a), y + 1.10 * radius * np.sin(a))
        for a in np.linspace(0.7, 5.6, 40)
    ]
    board.line(ring, 0.016, BRASS.dark)
    board.line([(px - 0.003, py - 0.003) for px, py in ring], 0.007, BRASS.light, alpha=0.85)
