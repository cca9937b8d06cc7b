"""Marine pictures: dusk, night, storm, winter, harbours, regattas, islands, eclipses."""

from __future__ import annotations

import numpy as np

from .board import Board, between, spline
from .grid import smoothstep
from .pigments import hue
from .sea import (
    DAY,
    DUSK,
    ECLIPSE,
    FIRE,
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
from .ships import LANTERN, Rig, ferry, fishing_boat, lantern, three_master
from .staffage import crowd, gulls
from .town import lighthouse, quay, town


def seascape(board: Board) -> None:
    """Ships and lanterns off a headland at dusk."""
    weather, rng = DUSK, board.rng
    horizon = _open_sea(board, weather, 0.60)
    side = -1 if rng.random() < 0.5 else 1
    _headland(board, weather, horizon, side)
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
    horizon = _open_sea(board, weather, 0.46)
    _headland(board, weather, horizon, -1, height=0.12)
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
    horizon = _open_sea(board, weather, 0.45)
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
    horizon = _open_sea(board, weather, 0.52)
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


def harbour(board: Board) -> None:
    """A harbour town by day with ships at the quay."""
    weather, rng = DAY, board.rng
    horizon = _open_sea(board, weather, 0.50)
    w = board.width
    coast(
        board,
        horizon,
        [
            (0, horizon - 0.02),
            (0.2 * w, horizon - 0.12),
            (0.5 * w, horizon - 0.07),
            (0.8 * w, horizon - 0.16),
            (w, horizon - 0.10),
        ],
        between(hue(128, 134, 112), weather.horizon, 0.5),
        between(hue(86, 98, 92), weather.horizon, 0.5),
    )
    town(board, 0.02 * w, 0.62 * w, horizon + 0.012, 0.13, haze=0.30, haze_tone=weather.horizon)
    lighthouse(
        board, 0.78 * w, horizon + 0.012, 0.20, haze=0.3, haze_tone=weather.horizon, is_lit=False
    )
    mirror_in_water(board, horizon + 0.012, 0.2, 0.45)
    for i, x in enumerate((0.24, 0.86, 0.55)):
        fishing_boat(
            board,
            Rig(
                x=x * w,
                waterline=horizon + 0.05 + 0.045 * i,
                length=0.10 + 0.035 * i,
                heading=1 if i % 2 else -1,
                shadow=0.15,
                haze=0.25 - 0.08 * i,
                haze_tone=weather.horizon,
            ),
            sail=hue(190, 120, 82) if i == 1 else hue(226, 208, 170),
        )
    three_master(
        board,
        Rig(x=0.66 * w, waterline=horizon + 0.17, length=0.42, heading=-1, shadow=0.2),
        sails=bool(rng.random() < 0.5),
    )
    edge = board.height - 0.16
    quay(
        board,
        [
            (-0.02, edge),
            (0.46 * w, edge + 0.03),
            (0.40 * w, board.height + 0.02),
            (-0.02, board.height + 0.02),
        ],
    )
    crowd(board, ((0.02, edge + 0.03), (0.40 * w, edge + 0.12)), 9, 0.11)
    gulls(board, 8, ((0, 0.1), (w, horizon - 0.1)), hue(240, 236, 224), 0.03)


def harbour_fire(board: Board) -> None:
    """A burning harbour at night."""
    weather, rng = FIRE, board.rng
    horizon = _open_sea(board, weather, 0.56)
    w = board.width
    seat = 0.60 * w
    for _ in range(3):
        board.glow(
            (seat + float(rng.normal(0, 0.05)), horizon - 0.10), 0.34, hue(236, 128, 48), 0.6
        )
    _smoke(board, seat, horizon)
    town(
        board,
        0.06 * w,
        0.98 * w,
        horizon + 0.01,
        0.15,
        haze=0.0,
        haze_tone=weather.horizon,
        lit=0.4,
    )
    dark = smoothstep(0.10, 0.55, np.abs(board.x - seat) / w) * smoothstep(
        horizon - 0.3, horizon - 0.1, board.y
    )
    board.darken(1 - 0.55 * dark)
    for _ in range(70):
        x = seat + float(rng.normal(0, 0.11 * w))
        reach = float(rng.uniform(0.05, 0.26)) * np.exp(-(((x - seat) / (0.14 * w)) ** 2))
        _flame(board, x, horizon - float(rng.uniform(0.0, 0.13)), float(reach))
    board.glow((seat, horizon - 0.12), 0.16, hue(255, 176, 80), 0.8)
    mirror_in_water(board, horizon + 0.01, 0.42, 0.75)
    three_master(
        board,
        Rig(x=0.30 * w, waterline=horizon + 0.13, length=0.36, heading=1, shadow=0.75),
        sails=False,
    )
    for i, x in enumerate((0.62, 0.82, 0.14)):
        ferry(
            board,
            Rig(
                x=x * w,
                waterline=horizon + 0.20 + 0.07 * i,
                length=0.22 + 0.05 * i,
                heading=-1 if i % 2 else 1,
                shadow=0.7,
            ),
            passengers=6,
            lanterns=1,
            glow=0.7,
        )
    for _ in range(60):
        x = seat + float(rng.normal(0, 0.16 * w))
        y = horizon - float(rng.uniform(0.15, 0.5))
        board.dab((x, y), 0.0016, hue(255, 190, 96), alpha=0.8)


def _smoke(board: Board, seat: float, horizon: float) -> None:
    """A leaning column of smoke lit from below."""
    shape = board.noise(0.22, octaves=5, persistence=0.6)
    rise = np.clip((horizon - board.y) / np.float32(horizon), 0, 1)
    middle = seat + 0.42 * rise**1.3
    width = 0.07 + 0.30 * rise
    column = np.exp(-(((board.x - middle) / width) ** 2)) * smoothstep(0.0, 0.12, rise)
    density = smoothstep(-0.5, 1.0, shape + 2.2 * column - 0.9) * column**0.4
    lit = np.exp(-3.2 * rise)[..., None] + 0.16 * smoothstep(-0.5, 1.5, shape)[..., None]
    tone = hue(22, 19, 20) + (hue(232, 120, 52) - hue(22, 19, 20)) * np.clip(lit, 0, 1)
    board.tone += (tone - board.tone) * (0.92 * density)[..., None]


def _flame(board: Board, x: float, y: float, reach: float) -> None:
    """One tongue of fire."""
    if reach < 0.015:
        return
    rng = board.rng
    lean = float(rng.normal(0.15, 0.25)) * reach
    for width, tone, share in (
        (0.20, hue(206, 78, 28), 1.0),
        (0.12, hue(246, 150, 48), 0.8),
        (0.06, hue(255, 226, 140), 0.55),
    ):
        w = width * reach
        points = [
            (x - w, y),
            (x - 0.6 * w + 0.3 * lean, y - 0.5 * reach * share),
            (x + lean, y - reach * share),
            (x + 0.7 * w + 0.4 * lean, y - 0.45 * reach * share),
            (x + w, y),
        ]
        board.lay(board.region(points, soft=0.003), tone, alpha=0.75, detail=0.5, angle=1.5)


def regatta(board: Board) -> None:
    """Many sails on a fresh day."""
    weather, rng = DAY, board.rng
    horizon = _open_sea(board, weather, 0.50)
    _headland(board, weather, horizon, 1, height=0.14)
    lighthouse(
        board,
        0.90 * board.width,
        horizon - 0.06,
        0.16,
        haze=0.4,
        haze_tone=weather.horizon,
        is_lit=False,
    )
    sails = (hue(230, 214, 180), hue(196, 116, 74), hue(216, 190, 140), hue(168, 72, 54))
    for i in range(17):
        t = (i / 16) ** 1.5
        y = horizon + 0.012 + 0.62 * (board.height - horizon) * t
        x = board.width * float(rng.uniform(0.06, 0.94))
        fishing_boat(
            board,
            Rig(
                x=x,
                waterline=y,
                length=0.05 + 0.17 * t,
                heading=1,
                shadow=0.12,
                haze=0.6 * (1 - t) ** 2,
                haze_tone=weather.horizon,
                heel=0.10,
            ),
            sail=sails[int(rng.integers(len(sails)))],
        )
    edge = board.height - 0.13
    quay(
        board,
        [
            (0.5 * board.width, edge + 0.05),
            (board.width + 0.02, edge),
            (board.width + 0.02, board.height + 0.02),
            (0.55 * board.width, board.height + 0.02),
        ],
    )
    crowd(
        board,
        ((0.62 * board.width, edge + 0.05), (0.98 * board.width, edge + 0.11)),
        12,
        0.10,
        raised=0.3,
    )
    gulls(board, 10, ((0, 0.1), (board.width, horizon - 0.1)), hue(240, 236, 224), 0.03)


def island(board: Board) -> None:
    """A walled island with its landing, under an even evening."""
    weather = DUSK
    horizon = _open_sea(board, weather, 0.52)
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
    horizon = _open_sea(board, weather, 0.62)
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


def _open_sea(board: Board, weather: Weather, share: float) -> float:
    """Sky and sea; returns the horizon."""
    horizon = share * board.height
    lay_sky(board, weather, horizon)
    lay_sea(board, weather, horizon)
    return horizon


def _headland(
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


__all__ = [
    "LANTERN",
    "eclipse",
    "harbour",
    "harbour_fire",
    "island",
    "night_boats",
    "regatta",
    "seascape",
    "storm",
    "winter_sea",
]
