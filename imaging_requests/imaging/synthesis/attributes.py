"""Things that people in pictures hold: lamps, glasses, keys, maps, birds, oars."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from .board import Board, Point, between, spline
from .forms import Light, Matter, Model
from .pigments import hue
from .ships import lantern
from .vocabulary import Attribute

BRASS = Matter(hue(58, 40, 20), hue(150, 112, 54), hue(236, 206, 128), 0.5, 0.85)
PEWTER = Matter(hue(42, 42, 42), hue(112, 110, 104), hue(206, 204, 194), 0.6, 0.85)
PAPER = Matter(hue(120, 100, 74), hue(196, 174, 134), hue(236, 220, 184), 0.0, 0.8)
LEATHER = Matter(hue(40, 22, 16), hue(104, 56, 36), hue(170, 108, 70), 0.15, 0.8)
FEATHER = Matter(hue(96, 98, 104), hue(186, 188, 190), hue(244, 244, 240), 0.0, 0.85)
WOOD = Matter(hue(48, 32, 20), hue(116, 80, 46), hue(184, 138, 84), 0.05, 0.7)
GLOOM = hue(30, 24, 20)


def lamp(board: Board, at: Point, size: float, light: Light) -> None:
    """A hand lantern hanging below the hand, lit."""
    x, y = at
    s = size
    board.line(
        spline(
            [(x - 0.14 * s, y + 0.30 * s), (x, y - 0.02 * s), (x + 0.14 * s, y + 0.30 * s)],
            closed=False,
        ),
        0.03 * s,
        BRASS.middle,
    )
    model = _model(board, at, 1.6 * s)
    body = model.blank()
    model.ball(body, (x, y + 0.34 * s, 0.9), (0.26 * s, 0.10 * s, 0.26 * s))
    model.limb(body, (x, y + 0.20 * s, 0.9), (x, y + 0.34 * s, 0.9), (0.08 * s, 0.20 * s))
    model.ball(body, (x, y + 0.98 * s, 0.9), (0.28 * s, 0.09 * s, 0.28 * s))
    model.put(body, BRASS)
    model.render(light)
    glass = board.region(
        [
            (x - 0.21 * s, y + 0.40 * s),
            (x + 0.21 * s, y + 0.40 * s),
            (x + 0.22 * s, y + 0.94 * s),
            (x - 0.22 * s, y + 0.94 * s),
        ]
    )
    board.shade(glass, hue(196, 110, 48), hue(120, 60, 30), direction=(0.3, 0.6), detail=0.8)
    board.glow((x, y + 0.66 * s), 2.6 * s, hue(214, 118, 44), 0.75)
    lantern(board, (x, y + 0.66 * s), 0.17 * s, strength=1.0)
    for dx in (-0.21, -0.07, 0.07, 0.21):
        board.line([(x + dx * s, y + 0.38 * s), (x + dx * s, y + 0.96 * s)], 0.022 * s, BRASS.dark)


def glass(board: Board, at: Point, size: float, light: Light) -> None:
    """A tall drinking glass, half full."""
    del light
    x, y = at
    s = size
    bowl = [
        (x - 0.20 * s, y - 0.80 * s),
        (x - 0.24 * s, y - 0.45 * s),
        (x - 0.14 * s, y - 0.12 * s),
        (x + 0.14 * s, y - 0.12 * s),
        (x + 0.24 * s, y - 0.45 * s),
        (x + 0.20 * s, y - 0.80 * s),
    ]
    region = board.region(spline(bowl, steps=6))
    board.shade(
        region, hue(122, 130, 110), hue(40, 46, 40), direction=(0.9, 0.3), alpha=0.40, detail=0.9
    )
    wine = [
        (x - 0.22 * s, y - 0.50 * s),
        (x - 0.22 * s, y - 0.40 * s),
        (x - 0.13 * s, y - 0.14 * s),
        (x + 0.13 * s, y - 0.14 * s),
        (x + 0.22 * s, y - 0.40 * s),
        (x + 0.22 * s, y - 0.50 * s),
    ]
    board.shade(
        board.region(wine),
        hue(196, 160, 84),
        hue(110, 76, 34),
        direction=(0.9, 0.3),
        alpha=0.8,
        detail=0.9,
    )
    board.lay(
        board.oval((x, y - 0.50 * s), (0.22 * s, 0.045 * s)),
        hue(216, 184, 110),
        alpha=0.8,
        detail=0.9,
    )
    board.line([(x, y - 0.12 * s), (x, y + 0.16 * s)], 0.10 * s, hue(118, 124, 100), alpha=0.55)
    board.lay(
        board.oval((x, y + 0.18 * s), (0.20 * s, 0.045 * s)),
        hue(120, 126, 104),
        alpha=0.6,
        detail=0.9,
    )
    rim = [
        (x + 0.20 * s * np.cos(a), y - 0.80 * s + 0.04 * s * np.sin(a))
        for a in np.linspace(0, 2 * np.pi, 24)
    ]
    board.line(rim, 0.012 * s, hue(222, 226, 210), alpha=0.8)
    gleam = spline(
        [(x - 0.15 * s, y - 0.74 * s), (x - 0.18 * s, y - 0.46 * s), (x - 0.11 * s, y - 0.20 * s)],
        closed=False,
    )
    board.line(gleam, 0.035 * s, hue(246, 248, 238), alpha=0.75)
    board.line(
        [(x + 0.17 * s, y - 0.7 * s), (x + 0.19 * s, y - 0.52 * s)],
        0.02 * s,
        hue(214, 220, 204),
        alpha=0.6,
    )


def keys(board: Board, at: Point, size: float, light: Light) -> None:
    """A ring of large keys."""
    del light
    x, y = at
    s = size
    ring = [
        (x + 0.20 * s * np.cos(a), y + 0.20 * s + 0.20 * s * np.sin(a))
        for a in np.linspace(0, 2 * np.pi, 30)
    ]
    board.line(ring, 0.05 * s, BRASS.dark)
    board.line(
        [(px - 0.01 * s, py - 0.01 * s) for px, py in ring], 0.022 * s, BRASS.light, alpha=0.8
    )
    for lean, length in ((-0.35, 0.85), (0.05, 0.95), (0.42, 0.80)):
        tip = (x + lean * length * s, y + (0.38 + length) * s)
        root = (x + 0.25 * lean * s, y + 0.38 * s)
        tone = between(PEWTER.dark, BRASS.middle, 0.4)
        board.line([root, tip], 0.055 * s, tone)
        board.line(
            [(root[0] - 0.012 * s, root[1]), (tip[0] - 0.012 * s, tip[1])],
            0.018 * s,
            PEWTER.light,
            alpha=0.8,
        )
        for back in (0.04, 0.14):
            a = (tip[0] - back * lean * s, tip[1] - back * s)
            board.line([a, (a[0] + 0.16 * s, a[1] - 0.03 * s)], 0.05 * s, tone)


def sheet_of_map(board: Board, at: Point, size: float, light: Light) -> None:
    """A sea chart on a curling sheet."""
    x, y = at
    s = size
    model = _model(board, at, 1.6 * s)
    sheet = model.blank()
    outline = spline(
        [
            (x - 0.95 * s, y - 0.10 * s),
            (x - 0.1 * s, y - 0.32 * s),
            (x + 0.9 * s, y - 0.22 * s),
            (x + 1.0 * s, y + 0.42 * s),
            (x + 0.05 * s, y + 0.52 * s),
            (x - 0.9 * s, y + 0.58 * s),
        ]
    )
    model.cushion(sheet, outline, 0.85, 0.04, edge=0.10 * s)
    wave = 0.05 * s * np.sin((model.x - x) / s * 4.2 + 0.8)
    sheet[sheet > -4] += (
        wave[sheet > -4]
        if wave.shape == sheet.shape
        else np.broadcast_to(wave, sheet.shape)[sheet > -4]
    )
    model.put(sheet, PAPER)
    model.render(light)
    ink = hue(92, 62, 42)
    rng = board.rng
    for offset in (-0.02, 0.14):
        line = [
            (x - 0.75 * s + 1.5 * s * t, y + offset * s + 0.09 * s * float(rng.normal()))
            for t in np.linspace(0, 1, 9)
        ]
        board.line(spline(line, closed=False, steps=5), 0.014 * s, ink, alpha=0.7)
    rose = (x + 0.45 * s, y + 0.22 * s)
    for a in np.linspace(0, 2 * np.pi, 16, endpoint=False):
        board.line(
            [rose, (rose[0] + 0.5 * s * np.cos(a), rose[1] + 0.22 * s * np.sin(a))],
            0.006 * s,
            hue(150, 90, 60),
            alpha=0.45,
        )
    board.dab(rose, 0.03 * s, hue(170, 60, 44))


def salt(board: Board, at: Point, size: float, light: Light) -> None:
    """A pewter dish heaped with salt."""
    x, y = at
    s = size
    model = _model(board, at, 1.2 * s)
    dish = model.blank()
    model.ball(dish, (x, y - 0.02 * s, 0.95), (0.52 * s, 0.17 * s, 0.40 * s))
    model.limb(dish, (x, y + 0.05 * s, 0.9), (x, y + 0.30 * s, 0.9), (0.12 * s, 0.20 * s))
    model.put(dish, PEWTER)
    heap = model.blank()
    model.ball(heap, (x, y - 0.10 * s, 0.99), (0.42 * s, 0.24 * s, 0.36 * s))
    grain = board.rng.standard_normal(heap.shape, dtype=np.float32)
    heap[heap > -4] += (0.010 * s * grain)[heap > -4]
    model.put(heap, Matter(hue(130, 128, 124), hue(214, 212, 206), hue(252, 250, 244), 0.1, 0.8))
    model.render(light)


def dividers(board: Board, at: Point, size: float, light: Light) -> None:
    """A pair of brass dividers."""
    del light
    x, y = at
    s = size
    for lean in (-0.22, 0.16):
        board.line([(x, y - 0.30 * s), (x + lean * s, y + 0.75 * s)], 0.055 * s, BRASS.dark)
        board.line(
            [(x - 0.01 * s, y - 0.30 * s), (x + (lean - 0.01) * s, y + 0.72 * s)],
            0.026 * s,
            BRASS.light,
            alpha=0.85,
        )
    board.dab((x, y - 0.32 * s), 0.085 * s, BRASS.middle)
    board.dab((x - 0.02 * s, y - 0.34 * s), 0.03 * s, BRASS.light)


def tern(board: Board, at: Point, size: float, light: Light, *, heading: int = 1) -> None:
    """A tern with a black cap and a red bill, perched."""
    x, y = at
    s, f = size, heading
    for dx in (-0.05, 0.05):
        board.line([(x + dx * s, y), (x + dx * s, y + 0.10 * s)], 0.03 * s, hue(176, 60, 40))
    model = _model(board, at, 1.9 * s)
    body = model.blank()
    model.ball(body, (x, y - 0.18 * s, 0.95), (0.42 * s, 0.21 * s, 0.2 * s))
    model.limb(
        body,
        (x - 0.25 * f * s, y - 0.20 * s, 0.95),
        (x - 0.95 * f * s, y - 0.02 * s, 0.9),
        (0.15 * s, 0.02 * s),
        melt=0.08 * s,
    )
    model.limb(
        body,
        (x + 0.25 * f * s, y - 0.26 * s, 0.95),
        (x + 0.42 * f * s, y - 0.46 * s, 0.95),
        (0.17 * s, 0.13 * s),
        melt=0.1 * s,
    )
    model.put(body, FEATHER)
    wing = model.blank()
    model.limb(
        wing,
        (x + 0.12 * f * s, y - 0.24 * s, 1.06),
        (x - 0.82 * f * s, y - 0.06 * s, 1.0),
        (0.17 * s, 0.02 * s),
    )
    model.folds(wing, spacing=0.06 * s, depth=0.018 * s, direction=0.2 * f)
    model.put(wing, Matter(hue(70, 74, 82), hue(140, 146, 152), hue(204, 208, 210), 0.0, 0.85))
    model.render(light)
    head = (x + 0.44 * f * s, y - 0.48 * s)
    board.shade(
        board.oval((head[0] - 0.005 * f * s, head[1] - 0.055 * s), (0.125 * s, 0.075 * s)),
        hue(60, 58, 60),
        hue(16, 16, 18),
        detail=0.95,
    )
    bill = [
        (head[0] + 0.10 * f * s, head[1] - 0.05 * s),
        (head[0] + 0.36 * f * s, head[1] + 0.03 * s),
        (head[0] + 0.10 * f * s, head[1] + 0.04 * s),
    ]
    board.shade(board.region(bill), hue(206, 84, 50), hue(130, 36, 28), detail=0.95)
    board.dab((head[0] + 0.055 * f * s, head[1] - 0.028 * s), 0.012 * s, hue(240, 236, 226))


def book(board: Board, at: Point, size: float, light: Light) -> None:
    """A closed book with clasps, held upright."""
    x, y = at
    s = size
    model = _model(board, at, 1.3 * s)
    cover = model.blank()
    model.cushion(
        cover,
        [
            (x - 0.34 * s, y - 0.46 * s),
            (x + 0.30 * s, y - 0.52 * s),
            (x + 0.36 * s, y + 0.42 * s),
            (x - 0.28 * s, y + 0.48 * s),
        ],
        0.95,
        0.05,
        edge=0.06 * s,
    )
    model.put(cover, LEATHER)
    model.render(light)
    for t in (-0.22, 0.2):
        board.line(
            [(x + 0.18 * s, y + t * s), (x + 0.36 * s, y + (t - 0.01) * s)], 0.06 * s, BRASS.light
        )
    board.line(
        [
            (x - 0.25 * s, y - 0.36 * s),
            (x + 0.2 * s, y - 0.40 * s),
            (x + 0.25 * s, y + 0.32 * s),
            (x - 0.2 * s, y + 0.37 * s),
            (x - 0.25 * s, y - 0.36 * s),
        ],
        0.018 * s,
        BRASS.middle,
        alpha=0.8,
    )


def oar(board: Board, at: Point, size: float, light: Light) -> None:
    """A ferryman's oar, taller than he is."""
    _pole(board, at, (0.10, -3.4), (-0.06, 3.0), size, light)
    x, y = at
    s = size
    model = _model(board, (x + 0.1 * s, y - 3.3 * s), 1.4 * s)
    blade = model.blank()
    model.cushion(
        blade,
        spline(
            [
                (x + 0.06 * s, y - 2.5 * s),
                (x - 0.16 * s, y - 3.2 * s),
                (x - 0.10 * s, y - 4.2 * s),
                (x + 0.32 * s, y - 4.2 * s),
                (x + 0.34 * s, y - 3.2 * s),
                (x + 0.16 * s, y - 2.5 * s),
            ]
        ),
        0.95,
        0.04,
        edge=0.12 * s,
    )
    model.put(blade, WOOD)
    model.render(light)


def anchor(board: Board, at: Point, size: float, light: Light) -> None:
    """An iron anchor leaning beside a person."""
    del light
    x, y = at
    s = size
    iron, edge = hue(52, 50, 50), hue(150, 148, 142)
    shaft = [(x, y - 0.4 * s), (x + 0.25 * s, y + 1.9 * s)]
    arms = spline(
        [
            (x - 0.55 * s, y + 1.35 * s),
            (x - 0.25 * s, y + 1.8 * s),
            (x + 0.26 * s, y + 1.95 * s),
            (x + 0.75 * s, y + 1.7 * s),
            (x + 0.95 * s, y + 1.2 * s),
        ],
        closed=False,
    )
    stock = [(x - 0.45 * s, y - 0.05 * s), (x + 0.5 * s, y - 0.18 * s)]
    for line, width in ((shaft, 0.15), (arms, 0.15), (stock, 0.12)):
        board.line(line, width * s, iron)
        board.line([(px - 0.03 * s, py - 0.02 * s) for px, py in line], 0.03 * s, edge, alpha=0.7)
    ring = [
        (x + 0.16 * s * np.cos(a), y - 0.55 * s + 0.16 * s * np.sin(a))
        for a in np.linspace(0, 2 * np.pi, 20)
    ]
    board.line(ring, 0.06 * s, iron)


def whale(board: Board, at: Point, size: float, light: Light) -> None:
    """A small whale, held as patron saints hold their churches."""
    x, y = at
    s = size
    model = _model(board, at, 2.0 * s)
    body = model.blank()
    model.ball(body, (x + 0.1 * s, y - 0.24 * s, 1.0), (0.62 * s, 0.30 * s, 0.3 * s))
    model.limb(
        body,
        (x - 0.2 * s, y - 0.2 * s, 1.0),
        (x - 1.0 * s, y - 0.42 * s, 0.95),
        (0.24 * s, 0.05 * s),
        melt=0.12 * s,
    )
    model.limb(
        body,
        (x - 0.98 * s, y - 0.42 * s, 0.95),
        (x - 1.22 * s, y - 0.62 * s, 0.95),
        (0.07 * s, 0.04 * s),
        melt=0.05 * s,
    )
    model.limb(
        body,
        (x - 0.98 * s, y - 0.42 * s, 0.95),
        (x - 1.26 * s, y - 0.36 * s, 0.95),
        (0.07 * s, 0.04 * s),
        melt=0.05 * s,
    )
    model.put(body, Matter(hue(24, 30, 36), hue(72, 84, 92), hue(150, 162, 166), 0.25, 0.85))
    model.render(light)
    board.line(
        spline(
            [
                (x + 0.66 * s, y - 0.16 * s),
                (x + 0.4 * s, y - 0.08 * s),
                (x + 0.1 * s, y - 0.12 * s),
            ],
            closed=False,
        ),
        0.025 * s,
        hue(200, 204, 200),
        alpha=0.7,
    )
    board.dab((x + 0.42 * s, y - 0.24 * s), 0.03 * s, hue(230, 224, 206))
    for lean in (-0.16, 0.0, 0.16):
        spout = spline(
            [
                (x + 0.25 * s, y - 0.52 * s),
                (x + (0.25 + 0.5 * lean) * s, y - 0.75 * s),
                (x + (0.25 + 1.5 * lean) * s, y - 0.82 * s),
            ],
            closed=False,
        )
        board.line(spout, 0.025 * s, hue(214, 224, 226), alpha=0.7)


def branch(board: Board, at: Point, size: float, light: Light) -> None:
    """A branch with leaves and apples."""
    del light
    x, y = at
    s = size
    stem = spline(
        [
            (x - 0.05 * s, y + 0.45 * s),
            (x, y - 0.2 * s),
            (x + 0.22 * s, y - 0.9 * s),
            (x + 0.15 * s, y - 1.5 * s),
        ],
        closed=False,
    )
    board.line(stem, 0.06 * s, WOOD.middle)
    rng = board.rng
    for px, py in stem[6::2]:
        for side in (-1, 1):
            a = float(rng.uniform(0.3, 1.1)) * side - np.pi / 2
            length = float(rng.uniform(0.25, 0.40)) * s
            tip = (px + length * np.cos(a), py + length * np.sin(a))
            middle = ((px + tip[0]) / 2, (py + tip[1]) / 2)
            leaf = board.oval(middle, (length / 2, 0.085 * s), turn=float(a))
            board.shade(leaf, hue(122, 140, 78), hue(38, 58, 36), direction=(0.6, 0.6), detail=0.9)
    for dx, dy in ((0.22, -0.62), (0.02, -0.98), (0.34, -1.20)):
        apple = board.disc((x + dx * s, y + dy * s), 0.14 * s)
        board.shade(apple, hue(226, 150, 74), hue(120, 30, 28), direction=(0.9, 0.7), detail=0.9)
        board.dab(
            (x + (dx - 0.05) * s, y + (dy - 0.05) * s), 0.022 * s, hue(250, 232, 196), alpha=0.8
        )


def letter(board: Board, at: Point, size: float, light: Light) -> None:
    """A folded letter with a red seal."""
    del light
    x, y = at
    s = size
    sheet = [
        (x - 0.40 * s, y - 0.22 * s),
        (x + 0.30 * s, y - 0.36 * s),
        (x + 0.40 * s, y + 0.12 * s),
        (x - 0.30 * s, y + 0.28 * s),
    ]
    board.shade(board.region(sheet), PAPER.light, PAPER.middle, direction=(0.7, 0.6), detail=0.9)
    board.line([sheet[0], (x + 0.02 * s, y + 0.0 * s), sheet[1]], 0.014 * s, PAPER.dark, alpha=0.6)
    board.dab((x + 0.02 * s, y), 0.06 * s, hue(166, 40, 34))


def _model(board: Board, at: Point, reach: float) -> Model:
    """A model around a place."""
    return Model(board, ((at[0] - reach, at[1] - reach), (at[0] + reach, at[1] + reach)))


def _pole(board: Board, at: Point, top: Point, low: Point, size: float, light: Light) -> None:
    """A straight pole through the hand; ends are given from it in sizes."""
    x, y = at
    reach = size * (max(abs(top[1]), abs(low[1])) + 0.5)
    model = Model(board, ((x - size, y - reach), (x + size, y + reach)))
    pole = model.blank()
    model.limb(
        pole,
        (x + top[0] * size, y + top[1] * size, 0.9),
        (x + low[0] * size, y + low[1] * size, 0.9),
        (0.07 * size, 0.07 * size),
    )
    model.put(pole, WOOD)
    model.render(light)


DRAWN: dict[Attribute, Callable[[Board, Point, float, Light], None]] = {
    Attribute.LAMP: lamp,
    Attribute.GLASS: glass,
    Attribute.KEYS: keys,
    Attribute.MAP: sheet_of_map,
    Attribute.SALT: salt,
    Attribute.DIVIDERS: dividers,
    Attribute.TERN: tern,
    Attribute.BOOK: book,
    Attribute.OAR: oar,
    Attribute.ANCHOR: anchor,
    Attribute.WHALE: whale,
    Attribute.BRANCH: branch,
    Attribute.LETTER: letter,
}
# Held things that stand behind the figure and are drawn before it.
BEHIND = frozenset({Attribute.OAR})
