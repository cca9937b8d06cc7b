"""Harbours by day, on fire, and full of sails."""

from __future__ import annotations

import numpy as np

from ..grid import smoothstep
from ..pigments import hue
from .board import Board, between
from .marine import headland, open_sea
from .sea import (
    DAY,
    FIRE,
    coast,
    mirror_in_water,
)
from .ships import Rig, ferry, fishing_boat, three_master
from .staffage import crowd, gulls
from .town import lighthouse, quay, town


def harbour(board: Board) -> None:
    """A harbour town by day with ships at the quay."""
    weather, rng = DAY, board.rng
    horizon = open_sea(board, weather, 0.50)
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
    horizon = open_sea(board, weather, 0.56)
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
    horizon = open_sea(board, weather, 0.50)
    headland(board, weather, horizon, 1, height=0.14)
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
