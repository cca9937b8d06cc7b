"""What saints and allegories hold or are followed by: birds, oars, anchors, whales, branches."""

from __future__ import annotations

import numpy as np

from ..pigments import hue
from .attributes import FEATHER, WOOD, draw_pole, model_around
from .board import Board, Point, spline
from .forms import Light, Matter


def tern(board: Board, at: Point, size: float, light: Light, *, heading: int = 1) -> None:
    """A tern with a black cap and a red bill, perched."""
    x, y = at
    s, f = size, heading
    for dx in (-0.05, 0.05):
        board.line([(x + dx * s, y), (x + dx * s, y + 0.10 * s)], 0.03 * s, hue(176, 60, 40))
    model = model_around(board, at, 1.9 * s)
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


def oar(board: Board, at: Point, size: float, light: Light) -> None:
    """A ferryman's oar, taller than he is."""
    draw_pole(board, at, (0.10, -3.4), (-0.06, 3.0), size, light)
    x, y = at
    s = size
    model = model_around(board, (x + 0.1 * s, y - 3.3 * s), 1.4 * s)
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
    model = model_around(board, at, 2.0 * s)
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
