"""A lament and a crucifixion above an invented harbour."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from ..pigments import hue
from .board import Board, Point, spline
from .features import paint_features
from .figures import (
    AZURITE,
    DAYLIGHT,
    GREEN,
    LAKE,
    VERMILION,
    VIOLET,
    WHITE,
    Figure,
    draw_figure,
    halo,
    placed_head,
    some_head,
)
from .forms import Light, Model
from .heads import SKINS, Cover, Head, model_head
from .sacred import contact_shadow, shore_scene
from .sea import DUSK, STORM, coast, lay_sea, lay_sky
from .town import town


def lamentation(board: Board) -> None:
    """Mourners around a body at the foot of a mast-like cross, a low evening sky."""
    rng = board.rng
    w, h = board.width, board.height
    shore_scene(board, DUSK, 0.50)
    wooden_cross(board, (0.5 * w, h - 0.18), 0.95 * h)
    board.darken(0.85 + np.zeros_like(board.detail))
    colours = (VIOLET, GREEN, VERMILION)
    for i, (x, facing) in enumerate(((0.17, 0.8), (0.83, -0.8))):
        figure = Figure(
            foot=(x * w, h - 0.10),
            height=0.62 * h,
            robe=colours[i],
            mantle=colours[i + 1],
            head=some_head(rng, is_woman=i == 0, cover=Cover.VEIL if i == 0 else Cover.NONE),
            facing=facing,
            is_praying=True,
        )
        halo(board, placed_head(figure), is_gold=False)
        draw_figure(board, figure)
    mother = Figure(
        foot=(0.5 * w, h - 0.05),
        height=0.58 * h,
        robe=LAKE,
        mantle=AZURITE,
        head=replace(some_head(rng, is_woman=True, cover=Cover.VEIL), pitch=0.25),
        facing=-0.4,
        is_kneeling=True,
    )
    halo(board, placed_head(mother), is_gold=False)
    draw_figure(board, mother)
    _lying(board, (0.5 * w, h - 0.17), 0.66 * w)
    board.vignette(0.3)


def _lying(board: Board, middle: Point, length: float) -> None:
    """A body lying across on a white cloth, head to the left."""
    x, y = middle
    s = length / 6.2
    cloth = spline(
        [
            (x - 3.4 * s, y + 0.2 * s),
            (x - 1.5 * s, y - 0.1 * s),
            (x + 2.0 * s, y + 0.1 * s),
            (x + 3.4 * s, y + 0.5 * s),
            (x + 2.6 * s, y + 1.1 * s),
            (x, y + 0.9 * s),
            (x - 2.8 * s, y + 1.1 * s),
        ]
    )
    model = Model(board, ((x - 3.8 * s, y - 1.6 * s), (x + 3.8 * s, y + 1.5 * s)))
    linen = model.blank()
    model.cushion(linen, cloth, 0.9, 0.05, edge=0.4 * s)
    model.folds(linen, spacing=0.4 * s, depth=0.10 * s, direction=1.2, bend=0.6)
    model.put(linen, WHITE)
    pale = replace(SKINS[2], middle=hue(176, 150, 124), light=hue(228, 212, 186), blushes=False)
    body = model.blank()
    model.limb(
        body,
        (x - 1.9 * s, y - 0.12 * s, 1.1),
        (x - 0.2 * s, y + 0.16 * s, 1.1),
        (0.46 * s, 0.40 * s),
    )
    model.limb(
        body,
        (x - 0.2 * s, y + 0.16 * s, 1.1),
        (x + 1.3 * s, y - 0.12 * s, 1.15),
        (0.30 * s, 0.22 * s),
        melt=0.2 * s,
    )
    model.limb(
        body,
        (x + 1.3 * s, y - 0.12 * s, 1.15),
        (x + 2.6 * s, y + 0.30 * s, 1.1),
        (0.20 * s, 0.13 * s),
        melt=0.1 * s,
    )
    model.limb(
        body,
        (x + 2.6 * s, y + 0.30 * s, 1.1),
        (x + 2.9 * s, y + 0.12 * s, 1.1),
        (0.12 * s, 0.09 * s),
        melt=0.1 * s,
    )
    model.limb(
        body,
        (x - 1.75 * s, y - 0.30 * s, 1.2),
        (x - 1.1 * s, y + 0.55 * s, 1.3),
        (0.17 * s, 0.13 * s),
    )
    model.limb(
        body,
        (x - 1.1 * s, y + 0.55 * s, 1.3),
        (x - 0.1 * s, y + 0.62 * s, 1.3),
        (0.13 * s, 0.08 * s),
        melt=0.05 * s,
    )
    model.put(body, pale)
    wrap = model.blank()
    model.limb(
        wrap,
        (x - 0.35 * s, y + 0.10 * s, 1.2),
        (x + 0.45 * s, y + 0.06 * s, 1.2),
        (0.36 * s, 0.30 * s),
    )
    model.folds(wrap, spacing=0.16 * s, depth=0.05 * s, direction=0.5)
    model.put(wrap, WHITE)
    head = Head(
        at=(x - 2.55 * s, y - 0.30 * s),
        size=0.92 * s,
        yaw=0.5,
        roll=-1.1,
        pitch=0.1,
        hair=0,
        beard=0.5,
        long_hair=0.4,
        closed_eyes=True,
        skin=2,
        z=1.2,
    )
    model_head(model, head)
    model.render(DAYLIGHT)
    paint_features(board, head)


def wooden_cross(board: Board, foot: Point, height: float) -> None:
    """A tall wooden cross."""
    x, y = foot
    t = 0.030 * height
    for beam in (
        [(x - t, y), (x - t, y - height), (x + t, y - height), (x + t, y)],
        [
            (x - 0.30 * height, y - 0.82 * height),
            (x + 0.30 * height, y - 0.82 * height),
            (x + 0.30 * height, y - 0.76 * height),
            (x - 0.30 * height, y - 0.76 * height),
        ],
    ):
        board.shade(
            board.region(beam), hue(146, 104, 64), hue(62, 42, 28), direction=(0.7, 0.7), detail=0.6
        )


def crucifixion(board: Board) -> None:
    """A crucified man above a harbour under a dark sky, two mourners below."""
    rng = board.rng
    w, h = board.width, board.height
    horizon = 0.66 * h
    lay_sky(board, STORM, horizon)
    lay_sea(board, STORM, horizon)
    town(board, 0.0, w, horizon + 0.01, 0.10, haze=0.35, haze_tone=STORM.horizon)
    top = h - 0.20
    coast(
        board,
        h + 0.1,
        [(0, top + 0.03), (0.5 * w, top - 0.02), (w, top + 0.04)],
        hue(130, 108, 76),
        hue(58, 48, 38),
    )
    wooden_cross(board, (0.5 * w, h - 0.14), 0.86 * h)
    _hanging(board, (0.5 * w, h - 0.14 - 0.79 * 0.86 * h), 0.62 * h)
    for i, (x, facing) in enumerate(((0.20, 0.75), (0.80, -0.75))):
        figure = Figure(
            foot=(x * w, h - 0.07),
            height=0.50 * h,
            robe=(LAKE, GREEN)[i],
            mantle=(AZURITE, VERMILION)[i],
            head=replace(
                some_head(rng, is_woman=i == 0, cover=Cover.VEIL if i == 0 else Cover.NONE),
                pitch=-0.12,
            ),
            facing=facing,
            is_praying=True,
        )
        contact_shadow(board, figure)
        halo(board, placed_head(figure), is_gold=False)
        draw_figure(board, figure)
    board.vignette(0.3)


def _hanging(board: Board, middle: Point, height: float) -> None:
    """The body on the cross; middle is where the beams meet."""
    x, y = middle
    s = height / 6.0
    model = Model(board, ((x - 3.2 * s, y - 1.6 * s), (x + 3.2 * s, y + 6.0 * s)))
    pale = replace(SKINS[2], middle=hue(184, 152, 120), light=hue(236, 216, 186), blushes=False)
    body = model.blank()
    for side in (-1, 1):
        model.limb(
            body,
            (x + 0.45 * side * s, y + 0.75 * s, 0.5),
            (x + 1.45 * side * s, y + 0.35 * s, 0.5),
            (0.20 * s, 0.15 * s),
            melt=0.1 * s,
        )
        model.limb(
            body,
            (x + 1.45 * side * s, y + 0.35 * s, 0.5),
            (x + 2.4 * side * s, y - 0.05 * s, 0.5),
            (0.15 * s, 0.10 * s),
            melt=0.08 * s,
        )
        model.ball(
            body,
            (x + 2.55 * side * s, y - 0.10 * s, 0.5),
            (0.14 * s, 0.16 * s, 0.08 * s),
            melt=0.05 * s,
        )
        model.limb(
            body,
            (x + 0.18 * side * s, y + 2.6 * s, 0.5),
            (x + 0.16 * side * s + 0.1 * s, y + 3.9 * s, 0.6),
            (0.24 * s, 0.18 * s),
            melt=0.1 * s,
        )
        model.limb(
            body,
            (x + 0.16 * side * s + 0.1 * s, y + 3.9 * s, 0.6),
            (x + 0.06 * side * s, y + 5.1 * s, 0.5),
            (0.17 * s, 0.10 * s),
            melt=0.08 * s,
        )
    model.limb(
        body,
        (x, y + 0.95 * s, 0.5),
        (x + 0.05 * s, y + 2.5 * s, 0.5),
        (0.52 * s, 0.40 * s),
        melt=0.25 * s,
    )
    model.limb(
        body,
        (x, y + 5.1 * s, 0.5),
        (x + 0.02 * s, y + 5.45 * s, 0.55),
        (0.13 * s, 0.10 * s),
        melt=0.05 * s,
    )
    ribs = (
        0.018
        * s
        * np.sin((model.y - y) / s * 19)
        * np.exp(-(((model.y - y - 1.3 * s) / (0.5 * s)) ** 2))
    )
    there = body > -4
    body[there] += np.broadcast_to(ribs, body.shape)[there]
    model.put(body, pale)
    wrap = model.blank()
    model.limb(
        wrap,
        (x - 0.34 * s, y + 2.55 * s, 0.6),
        (x + 0.42 * s, y + 2.65 * s, 0.6),
        (0.34 * s, 0.28 * s),
    )
    model.limb(
        wrap,
        (x + 0.45 * s, y + 2.6 * s, 0.6),
        (x + 0.75 * s, y + 3.4 * s, 0.6),
        (0.16 * s, 0.08 * s),
    )
    model.folds(wrap, spacing=0.15 * s, depth=0.05 * s, direction=0.7)
    model.put(wrap, WHITE)
    head = Head(
        at=(x - 0.16 * s, y + 0.22 * s),
        size=0.95 * s,
        yaw=-0.4,
        pitch=0.35,
        roll=-0.28,
        hair=0,
        beard=0.5,
        long_hair=0.5,
        closed_eyes=True,
        skin=2,
        z=0.95,
    )
    halo(board, head, is_gold=False)
    model_head(model, head)
    model.render(Light(towards=(-0.6, -0.5, 0.62), fill=0.10))
    paint_features(board, head)
