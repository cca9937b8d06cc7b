"""Gold grounds: leaf, bole, punched borders and a painted arch."""

from __future__ import annotations

import numpy as np

from ..grid import smoothstep
from ..pigments import hue
from .board import Board

GOLD_LIGHT = hue(236, 196, 108)


GOLD = hue(206, 158, 72)


BOLE = hue(140, 62, 38)


def gold_ground(board: Board) -> None:
    """Leaf laid in overlapping squares, worn to the red bole in places, with a punched border."""
    rng = board.rng
    board.tone[...] = GOLD
    leaf = 0.16
    for j in range(int(board.height / leaf) + 2):
        for i in range(int(board.width / leaf) + 2):
            x, y = (i - 0.5 * (j % 2)) * leaf, j * leaf
            shade = float(rng.normal(0, 0.035))
            square = board.region(
                [
                    (x, y),
                    (x + leaf * 1.04, y),
                    (x + leaf * 1.04, y + leaf * 1.04),
                    (x, y + leaf * 1.04),
                ]
            )
            board.lay(square, GOLD * (1 + shade), alpha=0.8)
    sheen = board.noise(0.5, octaves=3)
    board.wash(0.30 * smoothstep(-0.3, 1.6, sheen), GOLD_LIGHT)
    worn = smoothstep(1.2, 2.6, board.noise(0.022, octaves=4) + 0.7 * board.noise(0.6))
    board.wash(0.5 * worn, BOLE)
    board.gloss[...] = 1 - 0.7 * worn
    board.detail[...] = 0.3
    board.angle[...] = 0.0
    _punched_border(board)


def _punched_border(board: Board) -> None:
    """A band of rosettes near the edge."""
    w, h, inset = board.width, board.height, 0.045
    for x0, y0, x1, y1 in (
        (inset, inset, w - inset, inset),
        (inset, inset, inset, h - inset),
        (w - inset, inset, w - inset, h - inset),
    ):
        length = float(np.hypot(x1 - x0, y1 - y0))
        count = max(4, round(length / 0.034))
        for i in range(count + 1):
            at = (x0 + (x1 - x0) * i / count, y0 + (y1 - y0) * i / count)
            board.dab(at, 0.010, hue(126, 82, 36), alpha=0.75)
            board.dab((at[0] - 0.002, at[1] - 0.002), 0.004, GOLD_LIGHT, alpha=0.9)
        for shift in (-0.022, 0.022):
            dx, dy = (shift if x0 == x1 else 0.0), (shift if y0 == y1 else 0.0)
            board.line([(x0 + dx, y0 + dy), (x1 + dx, y1 + dy)], 0.003, hue(126, 82, 36), alpha=0.7)


def painted_arch(board: Board) -> None:
    """A painted arch with spandrels."""
    w = board.width
    t = np.linspace(np.pi, 0, 30)
    inner = [(w / 2 + 0.43 * w * np.cos(a), 0.36 * w - 0.26 * w * np.sin(a) + 0.06) for a in t]
    shape = [(0.0, 0.0), (0.0, 0.36 * w + 0.06), *inner, (w, 0.36 * w + 0.06), (w, 0.0)]
    board.shade(
        board.region(shape),
        hue(96, 40, 34),
        hue(52, 22, 22),
        direction=(0.7, 0.5),
        detail=0.5,
        angle=0.4,
    )
    board.gloss[: int(0.1 * board.unit)] *= 0.2
    for width, tone in ((0.020, hue(120, 78, 34)), (0.009, GOLD_LIGHT)):
        board.line(inner, width, tone)
    for side in (0.10, 0.90):
        for a in np.linspace(0, 2 * np.pi, 8, endpoint=False):
            at = (side * w, 0.11 * w + 0.03)
            board.line(
                [at, (at[0] + 0.05 * w * np.cos(a), at[1] + 0.05 * w * np.sin(a))],
                0.006,
                GOLD_LIGHT,
                alpha=0.8,
            )
