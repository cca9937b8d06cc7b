"""Saints on gold, in niches and before landscapes; annunciations, laments, thrones."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from .board import Board, Point, between, spline
from .figures import (
    AZURITE,
    DAYLIGHT,
    GREEN,
    LAKE,
    OCHRE,
    STONE,
    UMBER,
    VERMILION,
    VIOLET,
    WHITE,
    Figure,
    draw_figure,
    halo,
    placed_head,
    robes,
    some_head,
)
from .forms import Light, Matter, Model
from .grid import smoothstep
from .heads import Cover, Head
from .pigments import hue
from .sea import DAY, DUSK, STORM, Weather, coast, lay_sea, lay_sky, mirror_in_water
from .ships import Rig, ferry, fishing_boat, lantern, three_master
from .staffage import crowd, gulls
from .town import town
from .vocabulary import Attribute

GOLD_LIGHT = hue(236, 196, 108)
GOLD = hue(206, 158, 72)
BOLE = hue(140, 62, 38)
CROWN_GOLD = Matter(hue(80, 52, 20), hue(190, 142, 62), hue(248, 220, 140), 0.5, 0.85)


def gold_ground(board: Board) -> None:
    """Leaf laid in overlapping squares, worn to the red bole in places, with a punched border."""
    rng = board.rng
    board.tone[...] = GOLD
    leaf = 0.16
    for j in range(int(board.height / leaf) + 2):
        for i in range(int(board.width / leaf) + 2):
            x, y = (i - 0.5 * (j % 2)) * leaf, j * leaf
            shade = float(rng.normal(0, 0.035))
            square = board.region(
                [
                    (x, y),
                    (x + leaf * 1.04, y),
                    (x + leaf * 1.04, y + leaf * 1.04),
                    (x, y + leaf * 1.04),
                ]
            )
            board.lay(square, GOLD * (1 + shade), alpha=0.8)
    sheen = board.noise(0.5, octaves=3)
    board.wash(0.30 * smoothstep(-0.3, 1.6, sheen), GOLD_LIGHT)
    worn = smoothstep(1.2, 2.6, board.noise(0.022, octaves=4) + 0.7 * board.noise(0.6))
    board.wash(0.5 * worn, BOLE)
    board.gloss[...] = 1 - 0.7 * worn
    board.detail[...] = 0.3
    board.angle[...] = 0.0
    _punched_border(board)


def _punched_border(board: Board) -> None:
    """A band of rosettes near the edge."""
    w, h, inset = board.width, board.height, 0.045
    for x0, y0, x1, y1 in (
        (inset, inset, w - inset, inset),
        (inset, inset, inset, h - inset),
        (w - inset, inset, w - inset, h - inset),
    ):
        length = float(np.hypot(x1 - x0, y1 - y0))
        count = max(4, round(length / 0.034))
        for i in range(count + 1):
            at = (x0 + (x1 - x0) * i / count, y0 + (y1 - y0) * i / count)
            board.dab(at, 0.010, hue(126, 82, 36), alpha=0.75)
            board.dab((at[0] - 0.002, at[1] - 0.002), 0.004, GOLD_LIGHT, alpha=0.9)
        for shift in (-0.022, 0.022):
            dx, dy = (shift if x0 == x1 else 0.0), (shift if y0 == y1 else 0.0)
            board.line([(x0 + dx, y0 + dy), (x1 + dx, y1 + dy)], 0.003, hue(126, 82, 36), alpha=0.7)


def floor_tiles(
    board: Board,
    horizon: float,
    first: Point,
    *,
    light: np.ndarray | None = None,
    dark: np.ndarray | None = None,
) -> None:
    """A chequered floor in perspective from a horizon line down; first is the vanishing point."""
    vx, vy = first
    y = np.maximum(board.y - np.float32(vy), 1e-3)
    depth = (board.height - vy) / y
    column = np.floor((board.x - np.float32(vx)) * depth / 0.17 + 100)
    row = np.floor(np.log2(np.maximum(depth, 1e-3)) * 3.1 + 50)
    even = ((column + row) % 2).astype(np.float32)
    a = hue(196, 176, 142) if light is None else light
    b = hue(104, 66, 48) if dark is None else dark
    tone = a + (b - a) * even[..., None]
    fade = smoothstep(horizon, board.height, board.y)
    tone = tone * (0.70 + 0.30 * fade)[..., None]
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
    is_tall = h > 1.25
    if board.attribute is Attribute.WHALE:
        _shore(board, DUSK, 0.58)
        is_gold = False
    else:
        gold_ground(board)
        floor_tiles(board, h - 0.16 * min(h, 1.6), (w / 2, 0.45 * h))
        is_gold = True
    if is_tall and count == 1 and is_gold:
        _arch(board)
    tall = min(0.80 * h, 2.6 * w / count * 0.8, 1.55)
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
        _contact(board, figure)
        draw_figure(board, figure)


def _contact(board: Board, figure: Figure) -> None:
    """Shadow on the ground beside the feet."""
    x, y = figure.foot
    s = figure.height / 7.2
    board.lay(
        board.oval((x + 0.9 * s, y - 0.02), (1.8 * s, 0.28 * s), soft=0.02),
        hue(40, 28, 22),
        alpha=0.55,
    )


def _arch(board: Board) -> None:
    """A painted arch with spandrels."""
    w, h = board.width, board.height
    t = np.linspace(np.pi, 0, 30)
    inner = [(w / 2 + 0.43 * w * np.cos(a), 0.36 * w - 0.26 * w * np.sin(a) + 0.06) for a in t]
    shape = [(0.0, 0.0), (0.0, 0.36 * w + 0.06), *inner, (w, 0.36 * w + 0.06), (w, 0.0)]
    board.shade(
        board.region(shape),
        hue(96, 40, 34),
        hue(52, 22, 22),
        direction=(0.7, 0.5),
        detail=0.5,
        angle=0.4,
    )
    board.gloss[: int(0.1 * board.unit)] *= 0.2
    for width, tone in ((0.020, hue(120, 78, 34)), (0.009, GOLD_LIGHT)):
        board.line(inner, width, tone)
    for side in (0.10, 0.90):
        for a in np.linspace(0, 2 * np.pi, 8, endpoint=False):
            at = (side * w, 0.11 * w + 0.03)
            board.line(
                [at, (at[0] + 0.05 * w * np.cos(a), at[1] + 0.05 * w * np.sin(a))],
                0.006,
                GOLD_LIGHT,
                alpha=0.8,
            )
    del h


def _shore(board: Board, weather: Weather, share: float) -> float:
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


def virgin(board: Board) -> None:
    """A woman in blue before the kilns of a shore, a child on her arm."""
    rng = board.rng
    w, h = board.width, board.height
    horizon = _shore(board, DUSK, 0.46)
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
    from .heads import model_head, paint_features

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
        _contact(board, figure)
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


def lamentation(board: Board) -> None:
    """Mourners around a body at the foot of a mast-like cross, a low evening sky."""
    rng = board.rng
    w, h = board.width, board.height
    horizon = _shore(board, DUSK, 0.50)
    _cross(board, (0.5 * w, h - 0.18), 0.95 * h)
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
    del horizon


def _lying(board: Board, middle: Point, length: float) -> None:
    """A body lying across on a white cloth, head to the left."""
    from .heads import SKINS, model_head, paint_features

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


def _cross(board: Board, foot: Point, height: float) -> None:
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
    _cross(board, (0.5 * w, h - 0.14), 0.86 * h)
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
        _contact(board, figure)
        halo(board, placed_head(figure), is_gold=False)
        draw_figure(board, figure)
    board.vignette(0.3)


def _hanging(board: Board, middle: Point, height: float) -> None:
    """The body on the cross; middle is where the beams meet."""
    from .heads import SKINS, model_head, paint_features

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
    _contact(board, woman)
    draw_figure(board, woman)
    lantern(board, (0.40 * w + 0.22 * h, h - 0.07 - 0.66 * h), 0.014)


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


__all__ = [
    "UMBER",
    "allegory",
    "annunciation",
    "crucifixion",
    "ferry",
    "grisaille",
    "king",
    "lamentation",
    "saint",
    "two_saints",
    "virgin",
]
