"""Things that people in pictures hold: lamps, glasses, keys, maps, birds, oars."""

from __future__ import annotations

import numpy as np

from ..pigments import hue
from .board import Board, Point, between, spline
from .forms import Light, Matter, Model
from .ships import lantern

BRASS = Matter(hue(58, 40, 20), hue(150, 112, 54), hue(236, 206, 128), 0.5, 0.85)
PEWTER = Matter(hue(42, 42, 42), hue(112, 110, 104), hue(206, 204, 194), 0.6, 0.85)
PAPER = Matter(hue(120, 100, 74), hue(196, 174, 134), hue(236, 220, 184), 0.0, 0.8)
LEATHER = Matter(hue(40, 22, 16), hue(104, 56, 36), hue(170, 108, 70), 0.15, 0.8)
FEATHER = Matter(hue(96, 98, 104), hue(186, 188, 190), hue(244, 244, 240), 0.0, 0.85)
WOOD = Matter(hue(48, 32, 20), hue(116, 80, 46), hue(184, 138, 84), 0.05, 0.7)


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
    model = model_around(board, at, 1.6 * s)
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
    model = model_around(board, at, 1.6 * s)
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
    model = model_around(board, at, 1.2 * s)
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


def book(board: Board, at: Point, size: float, light: Light) -> None:
    """A closed book with clasps, held upright."""
    x, y = at
    s = size
    model = model_around(board, at, 1.3 * s)
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


def model_around(board: Board, at: Point, reach: float) -> Model:
    """A model around a place."""
    return Model(board, ((at[0] - reach, at[1] - reach), (at[0] + reach, at[1] + reach)))


def draw_pole(board: Board, at: Point, top: Point, low: Point, size: float, light: Light) -> None:
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
