"""Marine pictures: dusk, night, storm, winter, harbours, regattas, islands, eclipses."""

from __future__ import annotations

import numpy as np

from ..grid import smoothstep
from ..pigments import hue
from .board import Board, between, spline
from .sea import (
    DUSK,
    ECLIPSE,
    NIGHT,
    STORM,
    WINTER,
    Weather,
    coast,
    lay_sea,
    lay_sky,
    mirror_in_water,
    rock,
)
from .ships import Rig, ferry, fishing_boat, lantern, three_master
from .staffage import crowd, gulls
from .town import lighthouse, quay, town


def seascape(board: Board) -> None:
    """Ships and lanterns off a headland at dusk."""
    weather, rng = DUSK, board.rng
    horizon = open_sea(board, weather, 0.60)
    side = -1 if rng.random() < 0.5 else 1
    headland(board, weather, horizon, side)
    foot = horizon - 0.16
    x = 0.16 * board.width if side < 0 else 0.84 * board.width
    lighthouse(board, x, foot + 0.045, 0.24, haze=0.25, haze_tone=weather.horizon, is_lit=True)
    mirror_in_water(board, horizon, 0.20, 0.45)
    for i in range(3):
        at = board.width * float(rng.uniform(0.25, 0.85))
        fishing_boat(
            board,
            Rig(
                x=at,
                waterline=horizon + 0.015 + 0.02 * i,
                length=0.07 + 0.02 * i,
                heading=side,
                shadow=0.5,
                haze=0.5 - 0.12 * i,
                haze_tone=weather.horizon,
            ),
        )
    ship = Rig(
        x=board.width * (0.56 if side < 0 else 0.44),
        waterline=horizon + 0.10,
        length=0.46,
        heading=-side,
        shadow=0.55,
        haze=0.12,
        haze_tone=weather.horizon,
    )
    vessel = three_master(board, ship)
    lantern(board, vessel.at(-0.47, 0.29), 0.012, water=horizon + 0.12)
    low = min(board.height - 0.06, horizon + 0.30)
    ferry(
        board,
        Rig(
            x=board.width * (0.24 if side > 0 else 0.76),
            waterline=low,
            length=0.42,
            heading=side,
            shadow=0.62,
        ),
        lanterns=2,
    )
    gulls(board, 9, ((0.1, 0.1 * horizon), (board.width, 0.8 * horizon)), hue(226, 210, 178), 0.03)


def night_boats(board: Board) -> None:
    """Lantern boats on still water under a moon."""
    weather, rng = NIGHT, board.rng
    horizon = open_sea(board, weather, 0.46)
    headland(board, weather, horizon, -1, height=0.12)
    town(
        board,
        0.60 * board.width,
        board.width,
        horizon + 0.004,
        0.075,
        haze=0.55,
        haze_tone=weather.middle,
        lit=0.35,
    )
    mirror_in_water(board, horizon, 0.16, 0.5)
    size = 0.40 if board.width < 1.3 else 0.34
    count = 6 if board.width > 1.2 else 4
    for i in range(count):
        t = (i / max(1, count - 1)) ** 1.4
        x = board.width * float(
            0.5 + 0.42 * np.sin(2.3 * i + rng.uniform(-0.3, 0.3)) * (0.6 + 0.4 * t)
        )
        y = horizon + 0.05 + (board.height - horizon - 0.14) * t
        ferry(
            board,
            Rig(
                x=x,
                waterline=y,
                length=size * (0.38 + 0.72 * t),
                heading=1 if i % 2 else -1,
                shadow=0.62,
                haze=0.25 * (1 - t),
                haze_tone=weather.sea_far,
            ),
            passengers=5,
            lanterns=2 if t > 0.4 else 1,
        )


def winter_sea(board: Board) -> None:
    """A ferry among ice floes."""
    weather, rng = WINTER, board.rng
    horizon = open_sea(board, weather, 0.45)
    town(
        board, 0.02, 0.62 * board.width, horizon + 0.006, 0.11, haze=0.55, haze_tone=weather.horizon
    )
    mirror_in_water(board, horizon, 0.2, 0.4)
    for _ in range(46):
        t = float(rng.uniform(0, 1)) ** 1.3
        y = horizon + 0.02 + (board.height - horizon) * t
        w = (0.03 + 0.16 * t) * float(rng.uniform(0.5, 1.2))
        x = float(rng.uniform(0, board.width))
        floe = board.oval((x, y), (w, 0.20 * w * (0.5 + 0.5 * t)))
        board.shade(floe, hue(236, 234, 226), hue(164, 172, 174), direction=(0.4, 0.9), detail=0.5)
        board.line(
            [(x - w * 0.9, y + 0.16 * w), (x, y + 0.25 * w), (x + w * 0.9, y + 0.16 * w)],
            0.05 * w,
            hue(74, 88, 92),
            alpha=0.6,
        )
    ferry(
        board,
        Rig(
            x=0.52 * board.width,
            waterline=horizon + 0.40 * (board.height - horizon),
            length=0.55,
            shadow=0.2,
        ),
        passengers=8,
    )
    gulls(board, 12, ((0, 0.1), (board.width, horizon)), hue(90, 90, 90), 0.03)


def storm(board: Board) -> None:
    """Ships in distress off bare stacks."""
    weather, rng = STORM, board.rng
    horizon = open_sea(board, weather, 0.52)
    beam = smoothstep(0.35, 0.0, np.abs(board.x - 0.52 * board.width - 0.35 * (board.y - horizon)))
    board.wash(0.30 * beam * smoothstep(horizon + 0.1, 0.0, board.y), weather.sun_tone)
    for x, h in ((0.80, 0.42), (0.90, 0.30), (0.70, 0.18)):
        rock(
            board, (x * board.width, horizon + 0.07), (0.17, h), hue(128, 118, 100), hue(46, 44, 42)
        )
    gulls(
        board,
        40,
        ((0.55 * board.width, horizon - 0.42), (board.width, horizon - 0.05)),
        hue(230, 228, 218),
        0.022,
    )
    three_master(
        board,
        Rig(
            x=0.36 * board.width,
            waterline=horizon + 0.09,
            length=0.40,
            heading=1,
            shadow=0.45,
            heel=0.26,
        ),
    )
    fishing_boat(
        board,
        Rig(
            x=0.62 * board.width,
            waterline=horizon + 0.25,
            length=0.20,
            heading=-1,
            shadow=0.3,
            heel=-0.22,
        ),
    )
    for _ in range(90):
        y = horizon + (board.height - horizon) * float(rng.uniform(0.04, 1.0)) ** 1.3
        x = float(rng.uniform(0, board.width))
        w = 0.010 + 0.07 * (y - horizon) * float(rng.uniform(0.4, 1.4))
        crest = [(x - w, y + 0.06 * w), (x, y - 0.05 * w), (x + w, y + 0.10 * w)]
        board.line(
            spline(crest, closed=False, steps=4),
            0.10 * w,
            hue(220, 222, 212),
            alpha=float(rng.uniform(0.10, 0.35)),
        )


def island(board: Board) -> None:
    """A walled island with its landing, under an even evening."""
    weather = DUSK
    horizon = open_sea(board, weather, 0.52)
    w = board.width
    coast(
        board,
        horizon + 0.03,
        [
            (0.22 * w, horizon + 0.02),
            (0.32 * w, horizon - 0.10),
            (0.5 * w, horizon - 0.17),
            (0.68 * w, horizon - 0.10),
            (0.80 * w, horizon + 0.02),
        ],
        hue(146, 124, 86),
        hue(58, 54, 46),
    )
    town(
        board,
        0.36 * w,
        0.66 * w,
        horizon - 0.06,
        0.11,
        haze=0.2,
        haze_tone=weather.horizon,
        lit=0.1,
    )
    quay(
        board,
        [
            (0.27 * w, horizon + 0.005),
            (0.74 * w, horizon + 0.005),
            (0.75 * w, horizon + 0.045),
            (0.26 * w, horizon + 0.045),
        ],
        light=hue(178, 150, 112),
    )
    mirror_in_water(board, horizon + 0.045, 0.30, 0.55)
    fishing_boat(
        board,
        Rig(
            x=0.14 * w,
            waterline=horizon + 0.10,
            length=0.13,
            shadow=0.4,
            haze=0.2,
            haze_tone=weather.horizon,
        ),
        sail=hue(196, 150, 96),
    )
    three_master(
        board,
        Rig(
            x=0.84 * w,
            waterline=horizon + 0.08,
            length=0.26,
            heading=-1,
            shadow=0.55,
            haze=0.2,
            haze_tone=weather.horizon,
        ),
        sails=False,
    )
    ferry(
        board,
        Rig(
            x=0.42 * w, waterline=min(board.height - 0.07, horizon + 0.30), length=0.36, shadow=0.5
        ),
        lanterns=1,
    )
    gulls(board, 7, ((0, 0.1), (w, horizon - 0.2)), hue(226, 210, 178), 0.03)


def eclipse(board: Board) -> None:
    """The covered sun over a town; people look up from the shore."""
    weather = ECLIPSE
    horizon = open_sea(board, weather, 0.62)
    w = board.width
    sun = (0.56 * w, 0.32 * horizon)
    board.glow(sun, 0.11, hue(250, 236, 200), 0.9)
    for angle in np.linspace(0, 2 * np.pi, 22, endpoint=False):
        far = 0.075 + 0.10 * float(board.rng.random())
        board.line(
            [
                (sun[0] + 0.05 * np.cos(angle), sun[1] + 0.05 * np.sin(angle)),
                (sun[0] + far * np.cos(angle), sun[1] + far * np.sin(angle)),
            ],
            0.004,
            hue(248, 236, 206),
            alpha=0.25,
        )
    board.lay(board.disc(sun, 0.047, soft=0.001), hue(14, 16, 24), detail=0.9)
    coast(
        board,
        horizon,
        [
            (0, horizon - 0.10),
            (0.3 * w, horizon - 0.05),
            (0.7 * w, horizon - 0.11),
            (w, horizon - 0.20),
        ],
        hue(92, 80, 66),
        hue(26, 28, 32),
    )
    town(
        board,
        0.30 * w,
        0.78 * w,
        horizon + 0.006,
        0.11,
        haze=0.15,
        haze_tone=weather.middle,
        lit=0.25,
    )
    mirror_in_water(board, horizon + 0.006, 0.2, 0.5)
    shore = board.height - 0.24
    coast(
        board,
        board.height + 0.05,
        [(0, shore), (0.3 * w, shore + 0.05), (0.7 * w, shore + 0.10), (w, shore + 0.02)],
        hue(96, 78, 56),
        hue(34, 30, 27),
    )
    hands = crowd(
        board,
        ((0.06 * w, shore + 0.10), (0.94 * w, shore + 0.22)),
        18,
        0.15,
        shadow=0.45,
        raised=0.35,
    )
    lantern(board, (hands[2][0], hands[2][1]), 0.010)


def open_sea(board: Board, weather: Weather, share: float) -> float:
    """Sky and sea; returns the horizon."""
    horizon = share * board.height
    lay_sky(board, weather, horizon)
    lay_sea(board, weather, horizon)
    return horizon


def headland(
    board: Board, weather: Weather, horizon: float, side: int, height: float = 0.2
) -> None:
    """Land that runs out from one side."""
    w = board.width
    far = [
        (0.0, horizon - 0.55 * height),
        (0.14 * w, horizon - height),
        (0.30 * w, horizon - 0.62 * height),
        (0.42 * w, horizon - 0.22 * height),
        (0.52 * w, horizon - 0.004),
    ]
    points = far if side < 0 else [(w - x, y) for x, y in reversed(far)]
    coast(
        board,
        horizon + 0.006,
        points,
        between(hue(140, 120, 88), weather.horizon, 0.35),
        between(hue(62, 62, 58), weather.horizon, 0.30),
        from_left=side > 0,
    )
