"""Landscapes: a flooded orchard, a rope bridge over a gorge, a beach with net menders."""

from __future__ import annotations

import itertools

import numpy as np

from ..grid import smoothstep
from ..pigments import hue
from .board import Board, Point, Tone, between, spline
from .sea import DAY, DUSK, STORM, Weather, coast, lay_sea, lay_sky, mirror_in_water, rock
from .ships import Rig, ferry, fishing_boat
from .staffage import FIGURE_COATS, crowd, gulls, small_figure
from .town import house, tower

BARK_LIGHT = hue(132, 104, 74)
BARK_DARK = hue(40, 32, 26)
LEAF_LIGHT = hue(146, 146, 82)
LEAF_MIDDLE = hue(78, 92, 54)
LEAF_DARK = hue(30, 40, 30)


def tree(
    board: Board,
    foot: Point,
    height: float,
    *,
    apples: bool = False,
    bare: float = 0.0,
    haze: float = 0.0,
    haze_tone: Tone = (0.5, 0.5, 0.5),
) -> None:
    """A tree with a forked trunk and foliage in clumps lit from the left."""
    rng = board.rng
    x, y = foot
    h = height

    def air(tone: Tone) -> Tone:
        return between(tone, haze_tone, haze)

    tips: list[Point] = []

    def limb(start: Point, angle: float, length: float, width: float, depth: int) -> None:
        end = (start[0] + length * np.cos(angle), start[1] + length * np.sin(angle))
        bend = (
            (start[0] + end[0]) / 2 + 0.10 * length * float(rng.normal()),
            (start[1] + end[1]) / 2,
        )
        path = spline([start, bend, end], closed=False, steps=5)
        board.line(path, width, air(BARK_DARK))
        board.line(
            [(px - 0.25 * width, py) for px, py in path], 0.4 * width, air(BARK_LIGHT), alpha=0.8
        )
        if depth == 0:
            tips.append(end)
            return
        for spread in (-0.48, 0.10, 0.52):
            limb(
                end,
                angle + spread + 0.16 * float(rng.normal()),
                length * float(rng.uniform(0.58, 0.76)),
                0.6 * width,
                depth - 1,
            )

    trunk = 0.34 * h
    limb((x, y), -np.pi / 2 + 0.10 * float(rng.normal()), trunk, 0.085 * h, 3)
    if bare >= 1:
        return
    for layer, (tone, shift) in enumerate(
        ((LEAF_DARK, 0.02), (LEAF_MIDDLE, 0.0), (LEAF_LIGHT, -0.025))
    ):
        for tip in tips:
            if rng.random() < bare:
                continue
            for _ in range(3 if layer else 2):
                centre = (
                    tip[0] + h * (shift + 0.045 * float(rng.normal())),
                    tip[1] + h * (shift + 0.040 * float(rng.normal())),
                )
                size = h * float(rng.uniform(0.030, 0.062)) * (1.3, 1.0, 0.62)[layer]
                board.line(
                    [(centre[0] - size, centre[1]), (centre[0] + size, centre[1] + 0.4 * size)],
                    1.2 * size,
                    air(between(tone, LEAF_LIGHT, 0.25 * float(rng.random()))),
                    alpha=0.85,
                )
    if apples:
        for tip in tips:
            for _ in range(2):
                at = (
                    tip[0] + 0.06 * h * float(rng.normal()),
                    tip[1] + 0.06 * h * float(rng.normal()),
                )
                board.dab(at, 0.011 * h, air(hue(172, 50, 36)))
                board.dab(
                    (at[0] - 0.003 * h, at[1] - 0.003 * h), 0.005 * h, air(hue(236, 170, 110))
                )


def orchard(board: Board) -> None:
    """An orchard under water; pickers in a boat."""
    weather, w, h = DUSK, board.width, board.height
    horizon = 0.44 * h
    lay_sky(board, weather, horizon)
    lay_sea(board, weather, horizon)
    coast(
        board,
        horizon + 0.006,
        [
            (0, horizon - 0.05),
            (0.3 * w, horizon - 0.09),
            (0.6 * w, horizon - 0.04),
            (w, horizon - 0.08),
        ],
        between(hue(128, 122, 84), weather.horizon, 0.4),
        between(hue(60, 66, 54), weather.horizon, 0.35),
    )
    tower(board, 0.70 * w, horizon + 0.004, (0.04, 0.20), haze=0.4, haze_tone=weather.horizon)
    house(board, 0.74 * w, horizon + 0.004, (0.06, 0.07), haze=0.4, haze_tone=weather.horizon)
    mirror_in_water(board, horizon, 0.18, 0.5)
    rng = board.rng
    places = sorted(
        (horizon + (h - horizon) * t, t) for t in (0.06, 0.10, 0.14, 0.30, 0.36, 0.62, 0.70)
    )
    shares = (0.16, 0.60, 0.90, 0.34, 0.78, 0.10, 0.93)
    for (y, t), x in zip(places, shares, strict=True):
        size = 0.16 + 0.55 * t
        foot = (w * x + 0.02 * float(rng.normal()), y)
        for i in range(7):
            half = 0.05 * size * (1 + 0.5 * i)
            board.line(
                [
                    (foot[0] - half, y + 0.035 * size * i),
                    (foot[0] + half, y + 0.035 * size * i + 0.003),
                ],
                0.020 * size,
                BARK_DARK,
                alpha=0.55 - 0.06 * i,
            )
        tree(
            board,
            foot,
            size,
            apples=True,
            haze=0.5 * (1 - t) ** 3,
            haze_tone=weather.horizon,
            bare=0.15,
        )
    ferry(
        board,
        Rig(x=0.46 * w, waterline=horizon + 0.60 * (h - horizon), length=0.36, shadow=0.3),
        passengers=4,
        lanterns=1,
    )
    gulls(board, 6, ((0, 0.08), (w, horizon - 0.1)), hue(226, 210, 178), 0.03)


def gorge(board: Board) -> None:
    """Two cliffs, a rope bridge between them, people crossing, a river below."""
    rng = board.rng
    w, h = board.width, board.height
    lay_sky(board, DAY, 0.62 * h)
    far = [
        (0, 0.40 * h),
        (0.25 * w, 0.30 * h),
        (0.5 * w, 0.42 * h),
        (0.75 * w, 0.28 * h),
        (w, 0.38 * h),
    ]
    coast(
        board,
        0.74 * h,
        far,
        between(hue(128, 136, 128), DAY.horizon, 0.45),
        between(hue(92, 104, 108), DAY.horizon, 0.45),
    )
    lay_sea(board, DAY, 0.70 * h)
    left = [
        (-0.05, 0.34 * h),
        (0.16 * w, 0.37 * h),
        (0.28 * w, 0.44 * h),
        (0.33 * w, 0.62 * h),
        (0.40 * w, 0.84 * h),
        (0.46 * w, h + 0.1),
    ]
    right = [
        (0.52 * w, h + 0.1),
        (0.60 * w, 0.80 * h),
        (0.66 * w, 0.58 * h),
        (0.72 * w, 0.40 * h),
        (0.86 * w, 0.33 * h),
        (1.05 * w, 0.30 * h),
    ]
    _cliff(board, [*left, (-0.05, h + 0.1)], is_lit=False)
    _cliff(board, [*right, (1.05 * w, h + 0.1)], is_lit=True)
    tree(board, (0.10 * w, 0.36 * h), 0.34)
    tree(board, (0.93 * w, 0.34 * h), 0.28, haze=0.1, haze_tone=DAY.horizon)
    a, b = (0.24 * w, 0.42 * h), (0.745 * w, 0.39 * h)
    deck = [
        (a[0] + (b[0] - a[0]) * t, a[1] + (b[1] - a[1]) * t + 0.075 * h * 4 * t * (1 - t))
        for t in np.linspace(0, 1, 30)
    ]
    rail = [(x, y - 0.075 * h - 0.02 * h * (abs(i - 14.5) / 14.5)) for i, (x, y) in enumerate(deck)]
    for t in (4, 9, 15, 21):
        x, y = deck[t]
        small_figure(
            board,
            (x, y + 0.004),
            0.105 * h,
            FIGURE_COATS[t % len(FIGURE_COATS)],
            is_woman=t % 2 == 0,
            facing=1,
        )
    board.line(deck, 0.014, hue(70, 50, 34))
    board.line([(x, y - 0.004) for x, y in deck], 0.005, hue(176, 140, 92), alpha=0.8)
    board.line(rail, 0.006, hue(92, 70, 46))
    for (x0, y0), (x1, y1) in zip(deck[::2], rail[::2], strict=True):
        board.line([(x0, y0), (x1, y1)], 0.003, hue(92, 70, 46), alpha=0.8)
    for x, y in (a, b):
        board.line([(x, y + 0.02), (x, y - 0.14 * h)], 0.022, hue(64, 46, 32))
    gulls(board, 5, ((0.3 * w, 0.1 * h), (0.8 * w, 0.34 * h)), hue(240, 236, 224), 0.03)
    for _ in range(12):
        x = w * float(rng.uniform(0.45, 0.55))
        rock(
            board,
            (x, h * float(rng.uniform(0.90, 1.0))),
            (0.05, 0.03),
            hue(150, 144, 130),
            hue(60, 58, 54),
        )


def _cliff(board: Board, outline: list[Point], *, is_lit: bool) -> None:
    """A cliff face in strata with grass on its top."""
    region = board.region(outline)
    if region.is_empty:
        return
    light, dark = (
        (hue(190, 164, 122), hue(92, 76, 58)) if is_lit else (hue(126, 106, 82), hue(48, 42, 36))
    )
    part = (slice(region.y0, region.y1), slice(region.x0, region.x1))
    strata = (
        board.noise(0.10, octaves=4, stretch=0.45)[part]
        + 0.5 * board.noise(0.05, octaves=2, stretch=4)[part]
    )
    slope = np.roll(strata, 3, 1) - strata
    lit = smoothstep(-1.2, 1.2, -2.2 * slope + 0.4 * strata)[..., None]
    tone = dark + (light - dark) * lit
    board.lay(region, tone, detail=0.4, angle=1.4)
    grass = between(LEAF_LIGHT, hue(170, 150, 90), 0.4)
    for (x0, y0), (x1, y1) in itertools.pairwise(outline):
        if max(y0, y1) < 0.5 * board.height and abs(y1 - y0) < 0.15:
            for t in np.linspace(0, 1, 40):
                x, y = x0 + (x1 - x0) * float(t), y0 + (y1 - y0) * float(t)
                board.line(
                    [(x, y + 0.012), (x + 0.006 * float(board.rng.normal()), y - 0.008)],
                    0.008,
                    between(grass, LEAF_DARK, float(board.rng.random())),
                    alpha=0.8,
                )


def beach(board: Board) -> None:
    """Net menders on a beach, boats drawn up."""
    rng = board.rng
    w, h = board.width, board.height
    weather: Weather = STORM if rng.random() < 0.25 else DAY
    horizon = 0.40 * h
    lay_sky(board, weather, horizon)
    lay_sea(board, weather, horizon)
    coast(
        board,
        horizon + 0.004,
        [(0.55 * w, horizon), (0.75 * w, horizon - 0.07), (w, horizon - 0.14)],
        between(hue(138, 130, 96), weather.horizon, 0.4),
        between(hue(70, 74, 64), weather.horizon, 0.4),
    )
    fishing_boat(
        board,
        Rig(
            x=0.30 * w,
            waterline=horizon + 0.03,
            length=0.10,
            shadow=0.2,
            haze=0.3,
            haze_tone=weather.horizon,
        ),
    )
    shore = horizon + 0.16
    sand = spline(
        [
            (-0.05, shore + 0.05),
            (0.25 * w, shore + 0.02),
            (0.6 * w, shore + 0.07),
            (w + 0.05, shore - 0.05),
        ],
        closed=False,
    )
    region = board.region([*sand, (w + 0.05, h + 0.05), (-0.05, h + 0.05)])
    board.shade(
        region, hue(206, 180, 134), hue(128, 100, 68), direction=(0.3, 1.0), detail=0.25, angle=0.1
    )
    board.line(sand, 0.010, hue(236, 232, 218), alpha=0.8)
    fishing_boat(
        board,
        Rig(x=0.80 * w, waterline=shore + 0.12, length=0.34, heading=-1, shadow=0.25),
        crew=0,
        sail=hue(186, 116, 78),
    )
    for i in range(3):
        x = w * (0.16 + 0.20 * i)
        _net(board, (x, h - 0.14 + 0.03 * (i % 2)), 0.26)
        for side in (-1, 1):
            small_figure(
                board,
                (x + 0.13 * side, h - 0.10 + 0.03 * (i % 2)),
                0.20,
                FIGURE_COATS[int(rng.integers(len(FIGURE_COATS)))],
                is_woman=side > 0,
                facing=-side,
                lean=0.16,
            )
    crowd(board, ((0.55 * w, shore + 0.11), (0.95 * w, shore + 0.16)), 5, 0.14)
    for _ in range(5):
        x, y = w * float(rng.uniform(0.55, 0.95)), h - float(rng.uniform(0.04, 0.10))
        basket = board.oval((x, y), (0.035, 0.022))
        board.shade(basket, hue(176, 132, 78), hue(76, 52, 32), direction=(0.9, 0.5), detail=0.7)
        for _ in range(5):
            board.line(
                [(x - 0.02, y - 0.018), (x + 0.02 * float(rng.normal()), y - 0.024)],
                0.006,
                hue(190, 198, 200),
                alpha=0.9,
            )
    gulls(board, 12, ((0, 0.08), (w, horizon)), hue(240, 236, 224), 0.035)


def _net(board: Board, at: Point, width: float) -> None:
    """A brown net spread over trestles."""
    x, y = at
    s = width
    shape = spline(
        [
            (x - 0.5 * s, y),
            (x - 0.3 * s, y - 0.28 * s),
            (x, y - 0.22 * s),
            (x + 0.3 * s, y - 0.30 * s),
            (x + 0.5 * s, y),
            (x, y + 0.10 * s),
        ]
    )
    board.shade(
        board.region(shape),
        hue(120, 84, 56),
        hue(50, 36, 28),
        direction=(0.6, 0.7),
        alpha=0.8,
        detail=0.6,
    )
    for i in range(-6, 7):
        for lean in (-1, 1):
            top = (x + 0.07 * s * i, y - 0.22 * s)
            board.line(
                [top, (top[0] + lean * 0.16 * s, y + 0.04 * s)],
                0.002,
                hue(176, 140, 100),
                alpha=0.5,
            )
