"""A king of the tides on his throne, and an allegory on a breakwater."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from ..grid import smoothstep
from ..pigments import hue
from ..vocabulary import Attribute
from .board import Board
from .figures import (
    GREEN,
    VERMILION,
    WHITE,
    Figure,
    draw_figure,
    some_head,
)
from .forms import Matter
from .heads import Cover
from .sacred import contact_shadow
from .sea import DAY, STORM, lay_sea, lay_sky, mirror_in_water
from .ships import Rig, fishing_boat, lantern, three_master
from .staffage import crowd, gulls
from .town import town

CROWN_GOLD = Matter(hue(80, 52, 20), hue(190, 142, 62), hue(248, 220, 140), 0.5, 0.85)


def king(board: Board) -> None:
    """A crowned king enthroned above the tide, judging; people and boats below."""
    rng = board.rng
    w, h = board.width, board.height
    horizon = 0.44 * h
    lay_sky(board, STORM, horizon)
    lay_sea(board, STORM, horizon)
    gulls(board, 14, ((0, 0.08), (w, 0.3 * h)), hue(228, 224, 210), 0.035)
    throne = [
        (0.27 * w, 0.80 * h),
        (0.30 * w, 0.16 * h),
        (0.5 * w, 0.07 * h),
        (0.70 * w, 0.16 * h),
        (0.73 * w, 0.80 * h),
    ]
    board.shade(
        board.region(throne),
        hue(140, 126, 98),
        hue(62, 56, 48),
        direction=(1, 0.2),
        detail=0.5,
        angle=1.57,
    )
    for i in range(4):
        y = h * (0.74 + 0.06 * i)
        half = w * (0.28 + 0.06 * i)
        step = [
            (0.5 * w - half, y),
            (0.5 * w + half, y),
            (0.5 * w + half, y + 0.07 * h),
            (0.5 * w - half, y + 0.07 * h),
        ]
        board.shade(
            board.region(step),
            hue(178, 164, 134),
            hue(96, 88, 74),
            direction=(0.3, 0.8),
            detail=0.5,
        )
    head = replace(
        some_head(rng, is_woman=False, cover=Cover.CROWN, cover_matter=CROWN_GOLD),
        age=0.9,
        beard=1.0,
        hair=2,
        pitch=0.02,
        roll=0.0,
    )
    ruler = Figure(
        foot=(0.5 * w, 0.80 * h),
        height=0.66 * h,
        robe=GREEN,
        mantle=VERMILION,
        head=head,
        facing=0.0,
        is_kneeling=True,
        attribute=Attribute.OAR,
        opening=0.5,
    )
    draw_figure(board, ruler)
    crowd(board, ((0.04 * w, 0.93 * h), (0.34 * w, 0.99 * h)), 7, 0.17 * h, shadow=0.15, raised=0.4)
    crowd(board, ((0.66 * w, 0.93 * h), (0.96 * w, 0.99 * h)), 7, 0.17 * h, shadow=0.25, raised=0.2)
    board.vignette(0.25)


def allegory(board: Board) -> None:
    """A woman on the breakwater with an anchor, ships safe behind her and storm before."""
    rng = board.rng
    w, h = board.width, board.height
    horizon = 0.55 * h
    lay_sky(board, DAY, horizon)
    lay_sea(board, DAY, horizon)
    dark = smoothstep(0.45 * w, 0.0, board.x + np.zeros_like(board.detail))
    board.darken(1 - 0.45 * dark)
    town(board, 0.62 * w, w + 0.02, horizon + 0.01, 0.09, haze=0.45, haze_tone=DAY.horizon)
    mirror_in_water(board, horizon + 0.01, 0.15, 0.4)
    for i, x in enumerate((0.70, 0.86)):
        three_master(
            board,
            Rig(
                x=x * w,
                waterline=horizon + 0.06 + 0.05 * i,
                length=0.20 + 0.05 * i,
                heading=-1,
                shadow=0.2,
                haze=0.2,
                haze_tone=DAY.horizon,
            ),
            sails=i == 0,
        )
    fishing_boat(
        board, Rig(x=0.14 * w, waterline=horizon + 0.12, length=0.16, shadow=0.35, heel=0.2)
    )
    wall = [(-0.02, h - 0.20), (0.66 * w, h - 0.16), (0.80 * w, h + 0.02), (-0.02, h + 0.02)]
    board.shade(
        board.region(wall), hue(176, 160, 132), hue(84, 76, 66), direction=(0.4, 0.8), detail=0.45
    )
    for i in range(9):
        x = 0.09 * w * i
        board.line([(x, h - 0.20 + 0.03 * i / 9), (x + 0.05, h)], 0.004, hue(70, 62, 54), alpha=0.6)
    head = some_head(rng, is_woman=True)
    woman = Figure(
        foot=(0.40 * w, h - 0.07),
        height=0.76 * h,
        robe=WHITE,
        mantle=VERMILION,
        head=replace(head, long_hair=0.9, hair=1),
        facing=0.5,
        attribute=Attribute.ANCHOR,
        opening=0.9,
    )
    contact_shadow(board, woman)
    draw_figure(board, woman)
    lantern(board, (0.40 * w + 0.22 * h, h - 0.07 - 0.66 * h), 0.014)
