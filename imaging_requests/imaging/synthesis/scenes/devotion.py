"""A virgin before kilns, and an annunciation with kingfishers."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from ..pigments import hue
from ..vocabulary import Attribute
from .board import Board, Point, spline
from .features import paint_features
from .figures import (
    AZURITE,
    DAYLIGHT,
    LAKE,
    OCHRE,
    VERMILION,
    WHITE,
    Figure,
    draw_figure,
    halo,
    placed_head,
    some_head,
)
from .forms import Model
from .heads import Cover, Head, model_head
from .sacred import contact_shadow, floor_tiles, shore_scene
from .sea import DAY, DUSK, lay_sea, lay_sky


def virgin(board: Board) -> None:
    """A woman in blue before the kilns of a shore, a child on her arm."""
    rng = board.rng
    w, h = board.width, board.height
    horizon = shore_scene(board, DUSK, 0.46)
    for i, x in enumerate((0.12, 0.26, 0.88)):
        _kiln(board, (x * w, horizon + 0.11 + 0.05 * (i % 2)), 0.13 + 0.03 * i)
    head = some_head(rng, is_woman=True, cover=Cover.VEIL)
    figure = Figure(
        foot=(0.5 * w, h + 0.62 * h),
        height=1.52 * h,
        robe=LAKE,
        mantle=AZURITE,
        head=replace(head, pitch=0.16, roll=0.10),
        facing=-0.35,
    )
    halo(board, placed_head(figure), is_gold=False)
    placed = draw_figure(board, figure)
    s = placed.size * 0.62
    infant = Head(
        at=(placed.at[0] - 1.45 * s, placed.at[1] + 1.55 * s),
        size=s,
        yaw=0.6,
        age=0.0,
        is_woman=True,
        hair=1,
        skin=2,
        z=1.0,
    )
    _infant(board, infant)
    board.vignette(0.22)


def _infant(board: Board, head: Head) -> None:
    """A child in swaddling bands, held in front."""
    x, y, s = head.at[0], head.at[1], head.size
    model = Model(board, ((x - 2.2 * s, y - s), (x + 3.0 * s, y + 3.2 * s)))
    body = model.blank()
    model.limb(
        body,
        (x + 0.15 * s, y + 0.75 * s, 0.98),
        (x + 1.15 * s, y + 2.2 * s, 0.98),
        (0.55 * s, 0.36 * s),
    )
    model.folds(body, spacing=0.24 * s, depth=0.06 * s, direction=0.15, bend=0.2)
    model.put(body, WHITE)
    model_head(model, head)
    model.render(DAYLIGHT)
    paint_features(board, head)


def _kiln(board: Board, foot: Point, size: float) -> None:
    """A bottle-shaped lime kiln with its fire."""
    x, y = foot
    s = size
    body = spline(
        [
            (x - 0.42 * s, y),
            (x - 0.36 * s, y - 0.5 * s),
            (x - 0.16 * s, y - 0.95 * s),
            (x - 0.12 * s, y - 1.25 * s),
            (x + 0.12 * s, y - 1.25 * s),
            (x + 0.16 * s, y - 0.95 * s),
            (x + 0.36 * s, y - 0.5 * s),
            (x + 0.42 * s, y),
        ],
        steps=5,
    )
    board.shade(
        board.region(body), hue(170, 108, 74), hue(70, 42, 34), direction=(1.0, 0.1), detail=0.6
    )
    mouth = board.oval((x - 0.05 * s, y - 0.14 * s), (0.12 * s, 0.16 * s))
    board.lay(mouth, hue(255, 190, 90), detail=0.8)
    board.glow((x - 0.05 * s, y - 0.14 * s), 0.35 * s, hue(240, 140, 60), 0.6)
    board.glow((x, y - 1.3 * s), 0.22 * s, hue(220, 120, 60), 0.45)


def annunciation(board: Board) -> None:
    """An angel and a reading woman in a hall open to the sea; two kingfishers on the sill."""
    rng = board.rng
    w, h = board.width, board.height
    horizon = 0.42 * h
    lay_sky(board, DAY, horizon)
    lay_sea(board, DAY, horizon)
    wall_light, wall_dark = hue(206, 190, 160), hue(120, 104, 84)
    sill = 0.56 * h
    for x0, x1 in ((-0.02, 0.10 * w), (0.46 * w, 0.54 * w), (0.90 * w, w + 0.02)):
        pier = board.region([(x0, 0), (x1, 0), (x1, sill), (x0, sill)])
        board.shade(pier, wall_light, wall_dark, direction=(1.0, 0.1), detail=0.5, angle=1.57)
    for cx in (0.28 * w, 0.72 * w):
        t = np.linspace(np.pi, 0, 24)
        arch = [(cx + 0.18 * w * np.cos(a), 0.22 * h - 0.18 * w * np.sin(a)) for a in t]
        left, right = cx - 0.23 * w, cx + 0.23 * w
        lid = [(left, -0.02), (left, 0.22 * h), *arch, (right, 0.22 * h), (right, -0.02)]
        board.shade(board.region(lid), wall_light, wall_dark, direction=(0.5, 0.7), detail=0.5)
        board.line(arch, 0.012, wall_dark, alpha=0.8)
        board.line([(x - 0.004, y - 0.004) for x, y in arch], 0.005, hue(240, 230, 206), alpha=0.8)
    parapet = [(-0.02, sill), (w + 0.02, sill), (w + 0.02, sill + 0.10), (-0.02, sill + 0.10)]
    board.shade(board.region(parapet), wall_light, wall_dark, direction=(0.2, 0.9), detail=0.5)
    board.line([(0, sill), (w, sill)], 0.010, hue(240, 230, 206))
    floor_tiles(board, sill + 0.10, (0.5 * w, horizon))
    for i, x in enumerate((0.47, 0.53)):
        _kingfisher(board, (x * w, sill - 0.004), 0.055, 1 if i == 0 else -1)
    angel = Figure(
        foot=(0.27 * w, h - 0.06),
        height=0.64 * h,
        robe=WHITE,
        mantle=VERMILION,
        head=some_head(rng, is_woman=True),
        facing=0.9,
        is_kneeling=True,
        wings=OCHRE,
        attribute=Attribute.BRANCH,
    )
    mary = Figure(
        foot=(0.73 * w, h - 0.06),
        height=0.66 * h,
        robe=LAKE,
        mantle=AZURITE,
        head=some_head(rng, is_woman=True, cover=Cover.VEIL),
        facing=-0.7,
        is_praying=True,
        is_kneeling=True,
    )
    for figure in (angel, mary):
        contact_shadow(board, figure)
        halo(board, placed_head(figure), is_gold=False)
        draw_figure(board, figure)


def _kingfisher(board: Board, foot: Point, size: float, facing: int) -> None:
    """A kingfisher on a ledge."""
    x, y = foot
    s, f = size, facing
    body = spline(
        [
            (x - 0.55 * f * s, y - 0.02 * s),
            (x - 0.2 * f * s, y - 0.5 * s),
            (x + 0.2 * f * s, y - 0.85 * s),
            (x + 0.42 * f * s, y - 0.5 * s),
            (x + 0.15 * f * s, y - 0.05 * s),
        ],
        steps=5,
    )
    board.shade(
        board.region(body), hue(70, 140, 168), hue(24, 62, 92), direction=(0.4, 0.4), detail=0.95
    )
    breast = board.oval((x + 0.22 * f * s, y - 0.38 * s), (0.16 * s, 0.30 * s), turn=0.4 * f)
    board.lay(breast, hue(206, 112, 50), detail=0.95)
    bill = [
        (x + 0.34 * f * s, y - 0.78 * s),
        (x + 0.95 * f * s, y - 0.66 * s),
        (x + 0.36 * f * s, y - 0.64 * s),
    ]
    board.lay(board.region(bill), hue(30, 28, 28), detail=0.95)
    board.dab((x + 0.28 * f * s, y - 0.72 * s), 0.035 * s, hue(14, 12, 12))
