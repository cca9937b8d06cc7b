"""Saints on gold, in niches and before landscapes; annunciations, laments, thrones."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from ..grid import smoothstep
from ..pigments import hue
from ..vocabulary import Attribute
from .board import Board, Point, between
from .figures import (
    STONE,
    Figure,
    draw_figure,
    halo,
    placed_head,
    robes,
    some_head,
)
from .forms import Light
from .gold import gold_ground, painted_arch
from .heads import Cover
from .sea import DUSK, Weather, coast, lay_sea, lay_sky
from .ships import Rig, three_master


def floor_tiles(
    board: Board,
    horizon: float,
    first: Point,
) -> None:
    """A chequered floor in perspective from a horizon line down; first is the vanishing point."""
    vx, vy = first
    y = np.maximum(board.y - np.float32(vy), 1e-3)
    depth = (board.height - vy) / y
    column = np.floor((board.x - np.float32(vx)) * depth / 0.17 + 100)
    row = np.floor(np.log2(np.maximum(depth, 1e-3)) * 3.1 + 50)
    even = ((column + row) % 2).astype(np.float32)
    a, b = hue(196, 176, 142), hue(104, 66, 48)
    tone = a + (b - a) * even[..., None]
    fade = smoothstep(horizon, board.height, board.y)
    tone = (tone * (0.70 + 0.30 * fade)[..., None]).astype(np.float32)
    below = (board.y >= np.float32(horizon)).astype(np.float32) + np.zeros_like(board.detail)
    board.tone += (tone - board.tone) * below[..., None]
    board.detail[...] = np.where(below > 0, 0.55, board.detail)
    board.angle[...] = np.where(below > 0, 0.0, board.angle)


def saint(board: Board) -> None:
    """One saint standing before gold or a shore, with the attribute."""
    _saints(board, 1)


def two_saints(board: Board) -> None:
    """Two saints side by side."""
    _saints(board, 2)


def _saints(board: Board, count: int) -> None:
    rng = board.rng
    w, h = board.width, board.height
    is_tall = min(0.80 * h, 2.05 * w / count)
    if board.attribute is Attribute.WHALE:
        shore_scene(board, DUSK, 0.58)
        is_gold = False
    else:
        gold_ground(board)
        floor_tiles(board, h - 0.16 * min(h, 1.6), (w / 2, 0.45 * h))
        is_gold = True
    if is_tall and count == 1 and is_gold:
        painted_arch(board)
    tall = min(0.80 * h, 2.05 * w / count)
    colours = robes(rng, 2 * count)
    for i in range(count):
        is_woman = bool(rng.random() < 0.4) if count == 1 else i == 1
        attribute = board.attribute if i == 0 else Attribute.BRANCH
        if attribute is None:
            attribute = (Attribute.OAR, Attribute.BOOK, Attribute.ANCHOR)[int(rng.integers(3))]
        cover = Cover.VEIL if is_woman and rng.random() < 0.5 else Cover.NONE
        head = some_head(rng, is_woman=is_woman, cover=cover)
        facing = 0.25 if count == 1 else (0.6 if i == 0 else -0.6)
        figure = Figure(
            foot=(w * (i + 0.5) / count, h - 0.07),
            height=tall,
            robe=colours[2 * i],
            mantle=colours[2 * i + 1],
            head=head,
            facing=facing * (1 if i else -1) if count == 1 else facing,
            attribute=attribute,
        )
        halo(board, placed_head(figure), is_gold=is_gold)
        contact_shadow(board, figure)
        draw_figure(board, figure)


def contact_shadow(board: Board, figure: Figure) -> None:
    """Shadow on the ground beside the feet."""
    x, y = figure.foot
    s = figure.height / 7.2
    board.lay(
        board.oval((x + 0.9 * s, y - 0.02), (1.8 * s, 0.28 * s), soft=0.02),
        hue(40, 28, 22),
        alpha=0.55,
    )


def shore_scene(board: Board, weather: Weather, share: float) -> float:
    """Sea and strand behind figures; returns the horizon."""
    w, h = board.width, board.height
    horizon = share * h
    lay_sky(board, weather, horizon)
    lay_sea(board, weather, horizon)
    coast(
        board,
        horizon + 0.004,
        [(0, horizon - 0.10), (0.2 * w, horizon - 0.05), (0.36 * w, horizon)],
        between(hue(120, 112, 88), weather.horizon, 0.35),
        between(hue(58, 62, 58), weather.horizon, 0.3),
    )
    three_master(
        board,
        Rig(
            x=0.80 * w,
            waterline=horizon + 0.03,
            length=0.16,
            heading=-1,
            shadow=0.35,
            haze=0.35,
            haze_tone=weather.horizon,
        ),
    )
    top = h - 0.20
    coast(
        board,
        h + 0.1,
        [(0, top), (0.3 * w, top + 0.04), (0.7 * w, top + 0.02), (w, top - 0.03)],
        hue(176, 146, 100),
        hue(104, 82, 58),
        detail=0.3,
    )
    return horizon


def grisaille(board: Board) -> None:
    """A saint as a statue in a niche, all in greys."""
    rng = board.rng
    w, h = board.width, board.height
    board.tone[...] = hue(126, 120, 110)
    board.detail[...] = 0.3
    t = np.linspace(np.pi, 0, 30)
    cx, top = w / 2, 0.10 * h + 0.36 * w
    arch = [(cx + 0.37 * w * np.cos(a), top - 0.37 * w * np.sin(a)) for a in t]
    niche = [(cx - 0.37 * w, h - 0.20), *arch, (cx + 0.37 * w, h - 0.20)]
    board.shade(
        board.region(niche),
        hue(40, 38, 36),
        hue(108, 104, 96),
        direction=(0.9, 0.0),
        detail=0.4,
        angle=1.57,
    )
    board.line(niche, 0.018, hue(186, 180, 168))
    board.line([(x + 0.012, y + 0.006) for x, y in niche], 0.012, hue(60, 57, 54), alpha=0.8)
    base = [
        (cx - 0.40 * w, h - 0.20),
        (cx + 0.40 * w, h - 0.20),
        (cx + 0.44 * w, h - 0.07),
        (cx - 0.44 * w, h - 0.07),
    ]
    board.shade(
        board.region(base), hue(190, 184, 172), hue(92, 88, 82), direction=(0.4, 0.8), detail=0.5
    )
    attribute = (Attribute.OAR, Attribute.BOOK, Attribute.LAMP)[int(rng.integers(3))]
    if attribute is Attribute.LAMP:
        attribute = Attribute.BOOK
    figure = Figure(
        foot=(cx, h - 0.15),
        height=min(0.72 * h, 1.9 * w),
        robe=STONE,
        mantle=STONE,
        head=some_head(rng, is_woman=bool(rng.random() < 0.5), cover=Cover.VEIL),
        facing=0.3,
        attribute=attribute,
        is_stone=True,
    )
    board.lay(
        board.oval((cx + 0.16 * w, h - 0.17), (0.22 * w, 0.03), soft=0.02),
        hue(40, 38, 36),
        alpha=0.6,
    )
    draw_figure(board, figure, Light(towards=(-0.62, -0.45, 0.64), fill=0.12))
    grey = board.tone @ np.array([0.3, 0.6, 0.1], np.float32)
    stone = grey[..., None] * np.array([1.02, 1.0, 0.96], np.float32)
    board.tone[...] = 0.18 * board.tone + 0.82 * stone
    board.accents = [
        replace(a, tone=np.full(3, float(a.tone @ np.array([0.3, 0.6, 0.1])), np.float32))
        for a in board.accents
    ]
