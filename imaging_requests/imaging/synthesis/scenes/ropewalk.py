"""Ropemakers at work in a long shed."""

from __future__ import annotations

import numpy as np

from ..grid import smoothstep
from ..pigments import hue
from .board import Board, Point
from .staffage import FIGURE_COATS, small_figure


def ropewalk(board: Board) -> None:
    """A long shed in perspective, windows on one side, ropes drawn to the far end."""
    w, h = board.width, board.height
    vp = (0.60 * w, 0.44 * h)
    board.tone[...] = hue(74, 58, 42)
    board.detail[...] = 0.25

    def towards(x: float, y: float, t: float) -> Point:
        return (x + (vp[0] - x) * t, y + (vp[1] - y) * t)

    corners = {
        "lt": (-0.1, -0.25),
        "rt": (w + 0.1, -0.25),
        "lb": (-0.1, h + 0.02),
        "rb": (w + 0.1, h + 0.02),
    }
    near, far = 0.0, 0.90
    planes = (
        ("lt", "lb", hue(112, 90, 66), hue(60, 48, 38)),
        ("rt", "rb", hue(160, 128, 90), hue(70, 54, 40)),
        ("lt", "rt", hue(86, 64, 46), hue(40, 31, 25)),
        ("lb", "rb", hue(158, 128, 90), hue(92, 72, 52)),
    )
    for a, b, light, dark in planes:
        quad = [
            towards(*corners[a], near),
            towards(*corners[b], near),
            towards(*corners[b], far),
            towards(*corners[a], far),
        ]
        board.shade(board.region(quad), light, dark, direction=(0.6, 0.5), detail=0.3, angle=0.2)
    end = [towards(*corners[k], far) for k in ("lt", "rt", "rb", "lb")]
    board.lay(board.region(end), hue(240, 220, 176), detail=0.6)
    board.glow(vp, 0.16, hue(244, 214, 150), 0.6)
    for i in range(9):
        t = 1 - 1 / (1 + 0.32 * i)
        u = 1 - 1 / (1 + 0.32 * (i + 0.55))
        top0, top1 = towards(-0.1, 0.10 * h, t), towards(-0.1, 0.10 * h, u)
        low0, low1 = towards(-0.1, 0.58 * h, t), towards(-0.1, 0.58 * h, u)
        window = board.region([top0, top1, low1, low0])
        board.shade(
            window, hue(238, 230, 204), hue(196, 196, 186), direction=(0.6, 0.4), detail=0.6
        )
        board.glow(
            ((top0[0] + top1[0]) / 2, (top0[1] + low0[1]) / 2),
            0.12 * (1 - t),
            hue(200, 184, 146),
            0.4,
        )
        floor = [
            towards(0.06 * w, h, t),
            towards(0.06 * w, h, u),
            towards(0.50 * w, h, u + 0.06),
            towards(0.50 * w, h, t + 0.06),
        ]
        board.lay(board.region(floor, soft=0.008), hue(226, 196, 142), alpha=0.45)
        beam0, beam1 = towards(-0.1, -0.05 * h, t), towards(w + 0.1, -0.05 * h, t)
        board.line([beam0, beam1], 0.05 * (1 - t) + 0.004, hue(52, 38, 28))
        post = towards(w + 0.05, -0.2 * h, t), towards(w + 0.05, h, t)
        board.line(list(post), 0.05 * (1 - t) + 0.004, hue(72, 54, 38))
    for i in range(11):
        x = w * (0.24 + 0.062 * i)
        start = (x, h * (0.74 + 0.05 * float(np.sin(i))))
        board.line([start, towards(*start, 0.88)], 0.008, hue(214, 182, 122), alpha=0.85)
        board.line(
            [(start[0], start[1] + 0.006), towards(start[0], start[1] + 0.006, 0.88)],
            0.003,
            hue(96, 70, 44),
            alpha=0.7,
        )
    rng = board.rng
    for t in (0.72, 0.62, 0.50, 0.34, 0.18):
        for x in (0.20, 0.46, 0.76):
            if rng.random() < 0.25:
                continue
            foot = towards(w * x + 0.04 * float(rng.normal()), 1.02 * h, t)
            small_figure(
                board,
                foot,
                0.46 * (1 - t) * h,
                FIGURE_COATS[int(rng.integers(len(FIGURE_COATS)))],
                shadow=0.15 + 0.2 * x,
                lean=-0.10 if x < 0.5 else 0.10,
                arms=0.35,
                is_woman=rng.random() < 0.2,
            )
    wheel = (0.86 * w, 0.66 * h)
    for r in (0.20, 0.16):
        ring = [
            (wheel[0] + 0.5 * r * np.cos(a), wheel[1] + r * np.sin(a))
            for a in np.linspace(0, 2 * np.pi, 40)
        ]
        board.line(ring, 0.014, hue(96, 68, 44))
    for a in np.linspace(0, np.pi, 6, endpoint=False):
        board.line(
            [
                (wheel[0] - 0.09 * np.cos(a), wheel[1] - 0.18 * np.sin(a)),
                (wheel[0] + 0.09 * np.cos(a), wheel[1] + 0.18 * np.sin(a)),
            ],
            0.008,
            hue(110, 80, 52),
        )
    dust = smoothstep(0.9 * w, 0.1 * w, board.x + np.zeros_like(board.detail)) * 0.10
    board.wash(dust * smoothstep(-1, 1.5, board.noise(0.3)), hue(240, 222, 176))
    board.vignette(0.30, centre=vp)
