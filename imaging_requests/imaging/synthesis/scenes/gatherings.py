"""Many people: a market under awnings, a crowd on a quay, ropemakers at work."""

from __future__ import annotations

import numpy as np

from ..pigments import hue
from .board import Board, Point, between, spline
from .sea import DAY, DUSK, NIGHT, coast, lay_sea, lay_sky, mirror_in_water
from .ships import Rig, ferry, fishing_boat, lantern, three_master
from .staffage import FIGURE_COATS, crowd, gulls, small_figure
from .town import lighthouse, quay, tower, town

AWNINGS = (
    (hue(196, 60, 44), hue(230, 214, 180)),
    (hue(200, 160, 84), hue(236, 222, 188)),
    (hue(70, 96, 126), hue(226, 214, 186)),
    (hue(92, 112, 74), hue(230, 216, 180)),
)


def market(board: Board) -> None:
    """Stalls under striped awnings on a square by the harbour."""
    rng = board.rng
    w, h = board.width, board.height
    horizon = 0.46 * h
    lay_sky(board, DAY, horizon)
    lay_sea(board, DAY, horizon)
    for i, x in enumerate((0.30, 0.42, 0.54)):
        three_master(
            board,
            Rig(
                x=x * w,
                waterline=horizon + 0.03,
                length=0.16,
                heading=1 if i % 2 else -1,
                shadow=0.2,
                haze=0.35,
                haze_tone=DAY.horizon,
            ),
            sails=False,
        )
    square = board.region(
        [
            (-0.02, horizon + 0.06),
            (w + 0.02, horizon + 0.04),
            (w + 0.02, h + 0.02),
            (-0.02, h + 0.02),
        ]
    )
    board.shade(
        square, hue(206, 184, 146), hue(130, 108, 80), direction=(0.3, 1.0), detail=0.25, angle=0.0
    )
    for i in range(9):
        y = horizon + 0.08 + (h - horizon) * (i / 9) ** 1.5
        board.line([(0, y), (w, y - 0.01)], 0.0025, hue(120, 98, 74), alpha=0.35)
    town(board, -0.04, 0.24 * w, horizon + 0.10, 0.36, haze=0.05, haze_tone=DAY.horizon)
    tower(board, 0.70 * w, horizon + 0.06, (0.09, 0.46), haze=0.12, haze_tone=DAY.horizon)
    town(board, 0.66 * w, w + 0.05, horizon + 0.08, 0.26, haze=0.12, haze_tone=DAY.horizon)
    crowd(board, ((0.22 * w, horizon + 0.09), (0.72 * w, horizon + 0.15)), 16, 0.10)
    stalls = (
        (0.24, 0.16, 0.62),
        (0.78, 0.17, 0.66),
        (0.50, 0.22, 0.80),
        (0.10, 0.30, 0.98),
        (0.90, 0.31, 0.98),
    )
    for i, (x, y, size) in enumerate(stalls):
        _stall(board, (x * w, horizon + y + 0.02), 0.36 * size, AWNINGS[i % len(AWNINGS)])
        crowd(
            board,
            ((x * w - 0.15 * size, horizon + y + 0.05), (x * w + 0.18 * size, horizon + y + 0.08)),
            4,
            0.19 * size,
        )
    crowd(board, ((0.28 * w, h - 0.12), (0.72 * w, h - 0.03)), 7, 0.21)
    _basket(board, (0.62 * w, h - 0.05), 0.07, rng)
    _basket(board, (0.36 * w, h - 0.04), 0.06, rng)
    gulls(board, 7, ((0.2 * w, 0.05), (0.8 * w, horizon - 0.12)), hue(240, 236, 224), 0.03)


def _stall(board: Board, foot: Point, size: float, colours: tuple[np.ndarray, np.ndarray]) -> None:
    """A counter with goods under a striped awning on four poles."""
    x, y = foot
    s = size
    rng = board.rng
    for dx in (-0.5, 0.5):
        board.line([(x + dx * s, y), (x + dx * s, y - 0.86 * s)], 0.022 * s, hue(84, 60, 40))
    counter = [
        (x - 0.5 * s, y - 0.34 * s),
        (x + 0.5 * s, y - 0.34 * s),
        (x + 0.5 * s, y),
        (x - 0.5 * s, y),
    ]
    board.shade(
        board.region(counter), hue(150, 112, 72), hue(70, 48, 32), direction=(0.8, 0.5), detail=0.6
    )
    for _ in range(26):
        at = (x + s * float(rng.uniform(-0.45, 0.45)), y - s * float(rng.uniform(0.35, 0.41)))
        tone = (
            hue(206, 150, 60),
            hue(178, 52, 40),
            hue(120, 140, 74),
            hue(226, 214, 186),
            hue(150, 160, 166),
        )[int(rng.integers(5))]
        board.line([at, (at[0] + 0.03 * s, at[1])], 0.045 * s, tone)
    shade = [
        (x - 0.5 * s, y - 0.42 * s),
        (x + 0.5 * s, y - 0.42 * s),
        (x + 0.5 * s, y - 0.8 * s),
        (x - 0.5 * s, y - 0.8 * s),
    ]
    board.lay(board.region(shade), hue(44, 36, 30), alpha=0.45, detail=0.5)
    small_figure(
        board,
        (x + 0.1 * s, y - 0.14 * s),
        0.62 * s,
        FIGURE_COATS[int(rng.integers(len(FIGURE_COATS)))],
        shadow=0.35,
        is_woman=bool(rng.random() < 0.5),
        legs=False,
    )
    board.shade(
        board.region(counter), hue(150, 112, 72), hue(70, 48, 32), direction=(0.8, 0.5), detail=0.6
    )
    stripes = 8
    for i in range(stripes):
        a, b = -0.58 + 1.16 * i / stripes, -0.58 + 1.16 * (i + 1) / stripes
        piece = [
            (x + (0.86 * a + 0.02) * s, y - 1.02 * s),
            (x + (0.86 * b + 0.02) * s, y - 1.02 * s),
            (x + b * s, y - 0.74 * s),
            (x + (a + b) / 2 * s, y - 0.68 * s),
            (x + a * s, y - 0.74 * s),
        ]
        tone = colours[i % 2]
        board.shade(
            board.region(piece),
            between(tone, hue(255, 250, 236), 0.15),
            between(tone, hue(50, 40, 34), 0.35),
            direction=(0.5, 0.8),
            detail=0.7,
            angle=1.5,
        )


def _basket(board: Board, at: Point, size: float, rng: np.random.Generator) -> None:
    """A basket of fish or fruit."""
    x, y = at
    body = spline(
        [
            (x - size, y - 0.5 * size),
            (x - 0.7 * size, y + 0.4 * size),
            (x + 0.7 * size, y + 0.4 * size),
            (x + size, y - 0.5 * size),
        ],
        steps=5,
    )
    board.shade(
        board.region(body), hue(190, 146, 88), hue(80, 56, 34), direction=(0.9, 0.4), detail=0.7
    )
    for _ in range(12):
        px = x + size * float(rng.uniform(-0.8, 0.8))
        board.line(
            [(px - 0.2 * size, y - 0.5 * size), (px + 0.2 * size, y - 0.62 * size)],
            0.18 * size,
            between(hue(150, 164, 170), hue(230, 234, 230), float(rng.random())),
        )


def quay_crowd(board: Board) -> None:
    """Ferrymen refuse to sail: a crowd on the quay, boats tied up, a red banner."""
    rng = board.rng
    w, h = board.width, board.height
    horizon = 0.44 * h
    is_evening = rng.random() < 0.5
    weather = DUSK if is_evening else DAY
    lay_sky(board, weather, horizon)
    lay_sea(board, weather, horizon)
    coast(
        board,
        horizon + 0.004,
        [(0.5 * w, horizon), (0.7 * w, horizon - 0.06), (w, horizon - 0.12)],
        between(hue(134, 124, 94), weather.horizon, 0.4),
        between(hue(66, 68, 62), weather.horizon, 0.4),
    )
    lighthouse(
        board,
        0.88 * w,
        horizon - 0.08,
        0.22,
        haze=0.3,
        haze_tone=weather.horizon,
        is_lit=is_evening,
    )
    town(
        board, -0.02, 0.46 * w, horizon + 0.05, 0.24, haze=0.12, haze_tone=weather.horizon, lit=0.12
    )
    mirror_in_water(board, horizon + 0.05, 0.14, 0.4)
    for i, x in enumerate((0.60, 0.76, 0.92)):
        ferry(
            board,
            Rig(
                x=x * w,
                waterline=horizon + 0.13 + 0.05 * (i % 2),
                length=0.24,
                heading=-1,
                shadow=0.25,
            ),
            passengers=0,
            lanterns=1,
            glow=0.6,
        )
    edge = horizon + 0.26
    quay(
        board,
        [
            (-0.02, edge - 0.10),
            (w + 0.02, edge + 0.02),
            (w + 0.02, edge + 0.12),
            (-0.02, edge + 0.03),
        ],
    )
    top = board.region(
        [
            (-0.02, edge - 0.14),
            (0.42 * w, edge - 0.12),
            (w + 0.02, edge + 0.02),
            (w + 0.02, h + 0.02),
            (-0.02, h + 0.02),
        ]
    )
    board.shade(
        top, hue(186, 164, 128), hue(104, 86, 66), direction=(0.3, 1.0), detail=0.25, angle=0.05
    )
    crowd(board, ((0.04 * w, edge + 0.02), (0.66 * w, edge + 0.10)), 24, 0.155, raised=0.35)
    pole = (0.40 * w, edge + 0.16)
    board.line([pole, (pole[0] + 0.02, pole[1] - 0.44)], 0.010, hue(76, 54, 36))
    flag = spline(
        [
            (pole[0] + 0.02, pole[1] - 0.44),
            (pole[0] + 0.14, pole[1] - 0.47),
            (pole[0] + 0.27, pole[1] - 0.42),
            (pole[0] + 0.26, pole[1] - 0.28),
            (pole[0] + 0.13, pole[1] - 0.32),
            (pole[0] + 0.015, pole[1] - 0.27),
        ]
    )
    board.shade(
        board.region(flag),
        hue(206, 60, 44),
        hue(96, 24, 24),
        direction=(0.9, 0.5),
        detail=0.7,
        angle=0.3,
    )
    crowd(board, ((0.08 * w, edge + 0.18), (0.92 * w, h - 0.04)), 22, 0.20, raised=0.25)
    lantern(board, (0.74 * w, edge + 0.02), 0.014)
    board.line([(0.74 * w, edge + 0.18), (0.74 * w, edge + 0.03)], 0.008, hue(66, 50, 36))
    gulls(board, 9, ((0, 0.06), (w, horizon - 0.1)), hue(236, 228, 208), 0.03)


def wedding(board: Board) -> None:
    """A wedding party below a lighthouse at dusk."""
    w, h = board.width, board.height
    horizon = 0.50 * h
    lay_sky(board, DUSK, horizon)
    lay_sea(board, DUSK, horizon)
    coast(
        board,
        horizon + 0.05,
        [
            (0.5 * w, horizon),
            (0.66 * w, horizon - 0.10),
            (0.85 * w, horizon - 0.16),
            (w, horizon - 0.12),
        ],
        hue(150, 128, 92),
        hue(60, 56, 48),
    )
    lighthouse(board, 0.80 * w, horizon - 0.14, 0.34, haze=0.1, haze_tone=DUSK.horizon, is_lit=True)
    mirror_in_water(board, horizon + 0.05, 0.14, 0.4)
    fishing_boat(
        board,
        Rig(
            x=0.22 * w,
            waterline=horizon + 0.06,
            length=0.18,
            shadow=0.4,
            haze=0.15,
            haze_tone=DUSK.horizon,
        ),
        sail=hue(206, 160, 104),
    )
    top = horizon + 0.17
    meadow = board.region(
        [
            *spline(
                [
                    (-0.05, top + 0.04),
                    (0.3 * w, top),
                    (0.7 * w, top - 0.04),
                    (w + 0.05, top - 0.08),
                ],
                closed=False,
            ),
            (w + 0.05, h + 0.05),
            (-0.05, h + 0.05),
        ]
    )
    board.shade(
        meadow, hue(150, 136, 80), hue(52, 52, 36), direction=(0.3, 1.0), detail=0.25, angle=1.3
    )
    crowd(board, ((0.10 * w, top + 0.10), (0.92 * w, top + 0.17)), 22, 0.15, shadow=0.2, raised=0.2)
    pair = (0.50 * w, top + 0.27)
    small_figure(board, (pair[0] - 0.05, pair[1]), 0.24, FIGURE_COATS[6])
    bride = type(FIGURE_COATS[0])(hue(238, 228, 206), hue(160, 146, 128), hue(238, 228, 206))
    small_figure(board, (pair[0] + 0.05, pair[1]), 0.225, bride, is_woman=True, facing=-1)
    crowd(board, ((0.04 * w, h - 0.10), (0.34 * w, h - 0.03)), 8, 0.22, shadow=0.3, raised=0.3)
    crowd(board, ((0.68 * w, h - 0.10), (0.97 * w, h - 0.03)), 8, 0.22, shadow=0.3, raised=0.3)
    for i in range(9):
        t = i / 8
        x, y = w * (0.06 + 0.88 * t), top + 0.02 - 0.10 + 0.10 * 4 * (t - 0.5) ** 2
        lantern(board, (x, y), 0.009, strength=0.9)
    cord = [
        (w * (0.02 + 0.96 * t), top - 0.09 + 0.10 * 4 * (t - 0.5) ** 2)
        for t in np.linspace(0, 1, 20)
    ]
    board.line(cord, 0.003, hue(60, 46, 34))
    gulls(board, 5, ((0, 0.1), (0.6 * w, horizon - 0.1)), hue(226, 210, 178), 0.03)


def procession(board: Board) -> None:
    """Lantern bearers walking along a shore at night."""
    w, h = board.width, board.height
    horizon = 0.48 * h
    lay_sky(board, NIGHT, horizon)
    lay_sea(board, NIGHT, horizon)
    town(board, 0.0, 0.5 * w, horizon + 0.005, 0.10, haze=0.45, haze_tone=NIGHT.middle, lit=0.35)
    mirror_in_water(board, horizon + 0.005, 0.14, 0.45)
    top = horizon + 0.18
    coast(
        board,
        h + 0.1,
        [(0, top + 0.10), (0.4 * w, top + 0.04), (w, top - 0.04)],
        hue(92, 76, 56),
        hue(26, 24, 24),
    )
    for i in range(13):
        t = i / 12
        foot = (w * (0.95 - 0.86 * t), top + 0.04 + (h - top - 0.12) * t**1.3)
        height = 0.12 + 0.20 * t
        hand = small_figure(
            board,
            foot,
            height,
            FIGURE_COATS[i % len(FIGURE_COATS)],
            shadow=0.42,
            is_woman=i % 3 == 1,
            facing=-1,
            arms=0.55,
        )
        stick = (hand[0] - 0.10 * height, hand[1] - 0.42 * height)
        board.line([hand, stick], 0.018 * height, hue(70, 52, 36))
        lantern(board, (stick[0], stick[1] + 0.05 * height), 0.055 * height)
    board.vignette(0.25)
