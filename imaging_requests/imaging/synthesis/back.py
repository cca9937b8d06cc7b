"""Backs that carry no picture: cloth with its stretcher, wood with its tool marks, metal."""

from __future__ import annotations

import numpy as np

from .condition import Condition
from .damage import tear, tear_path, tide
from .grid import Grid, generator, smooth_noise, smoothstep
from .labels import lay_labels, supplier_stamp
from .maps import FaceMaps
from .relief import board_edges
from .spec import PaintingSpec
from .support import cradle_battens, stretcher_bars, weave, wood_grain
from .vocabulary import BackFinish, Map, Rect, Support
from .wall import Stuff, Wall

RAW_CLOTH = Stuff(colour=(0.235, 0.165, 0.095), infrared=0.72, glow=(0.022, 0.022, 0.016))
LINING_CLOTH = Stuff(colour=(0.42, 0.335, 0.215), infrared=0.80, glow=(0.040, 0.042, 0.036))
OLD_PINE = Stuff(colour=(0.30, 0.185, 0.090), infrared=0.78, glow=(0.030, 0.028, 0.016))
NEW_PINE = Stuff(colour=(0.52, 0.375, 0.215), infrared=0.86, glow=(0.060, 0.058, 0.036))
OAK = Stuff(colour=(0.185, 0.112, 0.056), infrared=0.70, glow=(0.018, 0.017, 0.010))
BATTEN = Stuff(colour=(0.36, 0.225, 0.115), infrared=0.78, glow=(0.026, 0.025, 0.015))
COPPER = Stuff(colour=(0.215, 0.092, 0.048), infrared=0.85, glow=(0.001, 0.001, 0.001))
VERDIGRIS = Stuff(colour=(0.10, 0.20, 0.15), infrared=0.45, glow=(0.001, 0.002, 0.001))
GREY_PAINT = Stuff(colour=(0.235, 0.240, 0.240), infrared=0.62, glow=(0.012, 0.014, 0.018))
LEAF = Stuff(colour=(0.46, 0.40, 0.27), infrared=0.92, glow=(0.001, 0.001, 0.001))
GLUE = Stuff(colour=(0.115, 0.070, 0.032), infrared=0.62, glow=(0.10, 0.12, 0.13))
BOARD = Stuff(colour=(0.40, 0.40, 0.385), infrared=0.80, glow=(0.03, 0.03, 0.035))
STEEL = Stuff(colour=(0.20, 0.20, 0.20), infrared=0.4, glow=(0.001, 0.001, 0.001))
RUST = Stuff(colour=(0.060, 0.030, 0.018), infrared=0.30, glow=(0.001, 0.001, 0.001))
TAPE = Stuff(colour=(0.50, 0.37, 0.22), infrared=0.82, glow=(0.05, 0.05, 0.05))
BROWN_LINE = Stuff(colour=(0.085, 0.052, 0.030), infrared=0.5, glow=(0.05, 0.05, 0.03))
SHADOW = Stuff(colour=(0.010, 0.008, 0.007), infrared=0.06, glow=(0.0, 0.0, 0.0))


def mirrored(rect: Rect, width_mm: float) -> Rect:
    """A rectangle given on one face, in the coordinates of the other."""
    return Rect(x=width_mm - rect.right, y=rect.y, width=rect.width, height=rect.height)


def bare_back(spec: PaintingSpec, condition: Condition, grid: Grid) -> FaceMaps:
    """Layers of a bare back in the coordinates of its own viewer."""
    makers = {Support.PANEL: _panel, Support.COPPER: _copper}
    wall = makers.get(spec.support, _canvas)(spec, condition, grid)
    if condition.has_water_stain:
        _tide_line(wall, spec)
    if condition.has_backing_board:
        _backing_board(wall, spec, generator(spec.seed, "board"))
    return wall.maps(generator(spec.seed, "back dirt"))


def _canvas(spec: PaintingSpec, condition: Condition, grid: Grid) -> Wall:
    """Cloth, what has soaked through it, and the stretcher on top."""
    rng = generator(spec.seed, "lining back" if condition.is_lined else "cloth back")
    w, h = spec.width_mm, spec.height_mm
    is_lined = condition.is_lined
    cloth = weave(grid, rng, pitch_mm=1.3 if is_lined else 0.85)
    clouds = smooth_noise(rng, grid.shape, max(grid.shape) / 3, octaves=4)
    texture = 0.16 * cloth + (0.05 if is_lined else 0.13) * clouds
    wall = Wall(grid, LINING_CLOTH if is_lined else RAW_CLOTH, texture, 0.07 * cloth)
    if not is_lined:
        seep = smoothstep(
            1.5,
            2.3,
            smooth_noise(rng, grid.shape, grid.px(5), octaves=3)
            + 0.6 * smooth_noise(rng, grid.shape, grid.px(120)),
        )
        wall.stain(0.5 * seep, BROWN_LINE)
        supplier_stamp(wall, (0.5 * w, 0.42 * h), float(np.clip(min(w, h) / 620, 0.4, 1.4)), rng)
        if condition.has_back_residue:
            rng = generator(spec.seed, "residue")
            patchy = smooth_noise(rng, grid.shape, grid.px(70), octaves=3)
            trowel = smooth_noise(rng, grid.shape, (grid.px(90), grid.px(6)))
            wall.stain(0.75 * smoothstep(-0.5, 0.9, patchy + 0.5 * trowel), GLUE)
    if condition.has_tear or condition.has_repaired_tear:
        _tear(wall, spec, condition)
    _stretcher(wall, spec, condition, grid)
    return wall


def _stretcher(wall: Wall, spec: PaintingSpec, condition: Condition, grid: Grid) -> None:
    """Bars with mitred corners, keys, folded cloth at the edge, and what is stuck to them."""
    rng = generator(spec.seed, "old bars" if condition.has_old_stretcher else "new bars")
    w, h = spec.width_mm, spec.height_mm
    wood = OLD_PINE if condition.has_old_stretcher else NEW_PINE
    bars = [mirrored(bar, w) for bar in stretcher_bars(spec)]
    b = min(bars[0].height, bars[2].width)
    steps = [float(v) for v in np.arange(0.0, max(w, h) + 90, 85)]
    upright = 0.20 * wood_grain(grid, steps, rng)
    level = 0.20 * wood_grain(grid, steps, rng, is_upright=False)
    for bar in [*bars[4:], *bars[:2]]:
        wall.rect(
            bar,
            wood,
            texture=level if bar.width > bar.height else upright,
            thickness_mm=15.0,
            shadow_mm=7.0,
        )
    for left in (0.0, w - b):
        inner = left + b if left == 0 else left
        outer = 0.0 if left == 0 else w
        side = [(outer, 0.0), (inner, b), (inner, h - b), (outer, h)]
        wall.part(side, wood, texture=upright, shadow_mm=0.0)
        wall.rect(
            Rect(x=left, y=b, width=b, height=h - 2 * b),
            wood,
            texture=upright,
            thickness_mm=15.0,
            shadow_mm=7.0,
        )
        wall.part(side, wood, texture=upright)
    for x, y, sx, sy in ((0.0, 0.0, 1, 1), (w, 0.0, -1, 1), (w, h, -1, -1), (0.0, h, 1, -1)):
        wall.part(
            [(x, y), (x + sx * b, y + sy * b), (x + sx * (b - 0.9), y + sy * b), (x, y + sy * 0.9)],
            SHADOW,
            alpha=0.8,
        )
        for along, across in ((0.62, 1.0), (1.0, 0.62)):
            tip = (x + sx * b * along, y + sy * b * across)
            is_level = across < along
            wedge = [
                tip,
                (
                    tip[0] + sx * (0.55 if is_level else 0.10) * b,
                    tip[1] + sy * (0.10 if is_level else 0.55) * b,
                ),
                (
                    tip[0] + sx * (0.55 if is_level else -0.16) * b,
                    tip[1] + sy * (-0.16 if is_level else 0.55) * b,
                ),
            ]
            wall.part(wedge, NEW_PINE, thickness_mm=5.0, shadow_mm=1.5)
    fold = 13.0
    fringe = float(rng.uniform(2, 5))
    edge = TAPE if condition.has_tape_edges else RAW_CLOTH
    width = 24.0 if condition.has_tape_edges else fold
    for rect in (
        Rect(x=0, y=0, width=w, height=width),
        Rect(x=0, y=h - width, width=w, height=width),
        Rect(x=0, y=0, width=width, height=h),
        Rect(x=w - width, y=0, width=width, height=h),
    ):
        wall.rect(rect, edge, thickness_mm=0.5, shadow_mm=1.0)
    if not condition.has_tape_edges:
        for i in range(int(2 * (w + h) / 52)):
            along = 52.0 * i + float(rng.uniform(-6, 6))
            x, y = _around(along, w, h, 6.5)
            wall.rect(
                Rect(x=x - 2.6, y=y - 2.6, width=5.2, height=5.2),
                RUST,
                thickness_mm=0.8,
                shadow_mm=0.8,
                turn=0.6,
            )
            if rng.random() < 0.25:
                wall.rect(
                    Rect(x=x - fringe, y=y - 1, width=2 * fringe, height=1.2),
                    RAW_CLOTH,
                    turn=float(rng.uniform(0, 3)),
                )
    if condition.has_labels and condition.has_old_stretcher:
        lay_labels(wall, spec, generator(spec.seed, "labels"), low=h - b - 58)
    dust = np.zeros(grid.shape, np.float32)
    first, last = round(grid.px(h - b - 9)), round(grid.px(h - b))
    dust[first:last] = np.linspace(0, 0.6, max(1, last - first), dtype=np.float32)[:, None]
    if condition.back_dirt > 0:
        wall.stain(
            dust * np.float32(condition.back_dirt), Stuff(colour=(0.16, 0.14, 0.12), infrared=0.5)
        )


def _around(along: float, w: float, h: float, inset: float) -> tuple[float, float]:
    """Place on a rectangle's rim after walking some way clockwise."""
    along %= 2 * (w + h)
    if along < w:
        return along, inset
    if along < w + h:
        return w - inset, along - w
    if along < 2 * w + h:
        return 2 * w + h - along, h - inset
    return inset, 2 * (w + h) - along


def _panel(spec: PaintingSpec, condition: Condition, grid: Grid) -> Wall:
    """Boards with plane marks, bevelled edges, joints, worm holes, battens or a cradle."""
    rng = generator(spec.seed, "panel back")
    w, h = spec.width_mm, spec.height_mm
    edges = [w - x for x in reversed(board_edges(spec))]
    grain = wood_grain(grid, edges, rng)
    x, y = grid.axes_mm()
    sway = smooth_noise(rng, grid.shape, grid.px(80), octaves=2)
    scoop = np.abs(np.sin((y + 9 * sway + 0.10 * x) * np.float32(np.pi / 46.0)))
    edge = np.minimum(np.minimum(x, w - x), np.minimum(y, h - y)).astype(np.float32)
    bevel = -0.16 * np.clip(34 - edge, 0, 34) * min(1.0, spec.depth_mm / 16)
    relief = 0.07 * grain + 0.32 * scoop + bevel
    clouds = smooth_noise(rng, grid.shape, max(grid.shape) / 3, octaves=4)
    wall = Wall(grid, OAK, 0.26 * grain + 0.10 * clouds - 0.10 * scoop, relief)
    for joint in edges[1:-1]:
        width = 0.9 if condition.has_open_joint else 0.35
        wall.rect(Rect(x=joint - width / 2, y=0, width=width, height=h), SHADOW, thickness_mm=-0.8)
        for share in (0.22, 0.78):
            _butterfly(wall, (joint, share * h), 34.0)
    holes = [(float(rng.uniform(0, w)), float(rng.uniform(0, h))) for _ in range(int(w * h / 9000))]
    for hx, hy in holes:
        if condition.is_wood_consolidated:
            wall.rect(Rect(x=hx - 0.9, y=hy - 0.9, width=1.8, height=1.8), BROWN_LINE)
        else:
            wall.rect(
                Rect(x=hx - 0.8, y=hy - 0.8, width=1.6, height=1.6), SHADOW, thickness_mm=-1.0
            )
    if spec.back_finish is BackFinish.METAL_LEAF:
        _leaf(wall, spec, grid, rng)
    elif spec.back_finish is BackFinish.GREY_PAINT:
        _grey(wall, grid, rng)
    if condition.is_cradled:
        _cradle(wall, spec, grid, generator(spec.seed, "cradle"))
    elif spec.is_cradled:
        _traces(wall, spec)
    if condition.has_auxiliary_support:
        _strainer(wall, spec, grid, generator(spec.seed, "strainer"))
    if condition.has_labels:
        lay_labels(wall, spec, generator(spec.seed, "labels"), low=0.72 * h)
    return wall


def _butterfly(wall: Wall, at: tuple[float, float], size: float) -> None:
    """A dovetail key across a joint."""
    x, y = at
    s = size
    for side in (-1, 1):
        wall.part(
            [
                (x, y - 0.14 * s),
                (x + side * 0.8 * s, y - 0.36 * s),
                (x + side * 0.8 * s, y + 0.36 * s),
                (x, y + 0.14 * s),
            ],
            BATTEN,
            thickness_mm=0.25,
            shadow_mm=0.7,
        )


def _cradle(wall: Wall, spec: PaintingSpec, grid: Grid, rng: np.random.Generator) -> None:
    """Fixed battens along the grain, sliding ones through them."""
    fixed, sliding = cradle_battens(spec)
    steps = [float(v) for v in np.arange(0.0, max(spec.width_mm, spec.height_mm) + 40, 40)]
    level = 0.18 * wood_grain(grid, steps, rng, is_upright=False)
    upright = 0.18 * wood_grain(grid, steps, rng)
    for batten in sliding:
        wall.rect(
            mirrored(batten, spec.width_mm), BATTEN, texture=level, thickness_mm=9.0, shadow_mm=4.0
        )
    for batten in fixed:
        wall.rect(
            mirrored(batten, spec.width_mm),
            BATTEN,
            texture=upright,
            thickness_mm=12.0,
            shadow_mm=4.0,
        )


def _traces(wall: Wall, spec: PaintingSpec) -> None:
    """Pale stripes with glue lines where a cradle has been."""
    fixed, _ = cradle_battens(spec)
    pale = Stuff(colour=(0.33, 0.215, 0.115), infrared=0.8, glow=(0.05, 0.055, 0.05))
    for batten in fixed:
        wall.rect(mirrored(batten, spec.width_mm), pale, alpha=0.7)


def _strainer(wall: Wall, spec: PaintingSpec, grid: Grid, rng: np.random.Generator) -> None:
    """A light frame held by springs."""
    grain = 0.12 * wood_grain(grid, [0.0, spec.width_mm], rng)
    w, h = spec.width_mm, spec.height_mm
    for share in (0.2, 0.8):
        wall.rect(
            Rect(x=0.04 * w, y=share * h - 18, width=0.92 * w, height=36),
            NEW_PINE,
            texture=grain,
            thickness_mm=12,
            shadow_mm=5,
        )
        for i in range(5):
            x = w * (0.12 + 0.19 * i)
            wall.rect(
                Rect(x=x - 5, y=share * h - 5, width=10, height=10),
                STEEL,
                thickness_mm=1,
                turn=0.78,
            )


def _leaf(wall: Wall, spec: PaintingSpec, grid: Grid, rng: np.random.Generator) -> None:
    """White-gold leaf in overlapping squares."""
    leaf = 84.0
    worn = smooth_noise(rng, grid.shape, grid.px(12), octaves=3)
    for j in range(int(spec.height_mm / leaf) + 1):
        for i in range(int(spec.width_mm / leaf) + 1):
            shade = float(rng.normal(1, 0.06))
            tone = Stuff(
                colour=(0.46 * shade, 0.40 * shade, 0.27 * shade), infrared=0.92, glow=LEAF.glow
            )
            wall.rect(
                Rect(x=i * leaf, y=j * leaf, width=leaf + 3, height=leaf + 3),
                tone,
                texture=-0.12 * np.maximum(worn, 0),
            )


def _grey(wall: Wall, grid: Grid, rng: np.random.Generator) -> None:
    """Grey house paint, brushed on."""
    strokes = smooth_noise(rng, grid.shape, (grid.px(160), grid.px(5)), octaves=2)
    share: Map = np.clip(0.95 + 0.06 * strokes, 0, 1).astype(np.float32)
    wall.stain(share, GREY_PAINT)
    wall.paint *= (1 + 0.05 * strokes)[..., None]
    wall.height += 0.05 * strokes


def _copper(spec: PaintingSpec, condition: Condition, grid: Grid) -> Wall:
    """Hammered copper with scratches and green spots."""
    rng = generator(spec.seed, "copper back")
    dents = smooth_noise(rng, grid.shape, grid.px(16), octaves=2)
    clouds = smooth_noise(rng, grid.shape, max(grid.shape) / 3, octaves=4)
    scratches = np.zeros(grid.shape, np.float32)
    for sx, sy in ((70.0, 1.0), (1.0, 55.0)):
        line = smooth_noise(rng, grid.shape, (grid.px(sx), grid.px(sy)))
        scratches += smoothstep(2.0, 2.8, line)
    wall = Wall(grid, COPPER, 0.16 * clouds + 0.10 * dents + 0.5 * scratches, 0.10 * dents)
    green = smoothstep(
        1.9, 2.9, smooth_noise(rng, grid.shape, grid.px(6), octaves=3) + 0.6 * clouds
    )
    wall.stain(0.8 * green, VERDIGRIS)
    if spec.back_finish is BackFinish.GREY_PAINT:
        _grey(wall, grid, rng)
    if condition.has_labels:
        lay_labels(wall, spec, generator(spec.seed, "labels"), low=0.66 * spec.height_mm)
    return wall


def _tear(wall: Wall, spec: PaintingSpec, condition: Condition) -> None:
    """The tear from behind, or the cloth patch over it."""
    if condition.has_tear:
        gap = tear(spec, wall.grid, 1.6)[:, ::-1]
        wall.stain(0.9 * gap, SHADOW)
        return
    path = tear_path(spec)
    left, right = min(x for x, _ in path), max(x for x, _ in path)
    top, bottom = min(y for _, y in path), max(y for _, y in path)
    patch = Rect(x=left - 12, y=top - 12, width=right - left + 24, height=bottom - top + 24)
    cloth = weave(wall.grid, generator(spec.seed, "patch"), pitch_mm=1.3)
    wall.rect(
        mirrored(patch, spec.width_mm),
        LINING_CLOTH,
        texture=0.15 * cloth,
        thickness_mm=0.4,
        shadow_mm=1.0,
    )


def _tide_line(wall: Wall, spec: PaintingSpec) -> None:
    """A water stain that rose from the lower edge, its border darker."""
    inside, rim = tide(spec, wall.grid)
    wall.stain((0.25 * inside + 0.55 * rim)[:, ::-1], BROWN_LINE)


def _backing_board(wall: Wall, spec: PaintingSpec, rng: np.random.Generator) -> None:
    """A grey board screwed over the whole back, with the number on it."""
    w, h = spec.width_mm, spec.height_mm
    inset = min(14.0, 0.06 * w)
    wall.height *= 0.0
    fibre = 0.03 * smooth_noise(rng, wall.grid.shape, wall.grid.px(4), octaves=3)
    wall.rect(
        Rect(x=inset, y=inset, width=w - 2 * inset, height=h - 2 * inset),
        BOARD,
        texture=fibre,
        thickness_mm=4.0,
        shadow_mm=3.0,
    )
    for x in (2.2 * inset, w / 2, w - 2.2 * inset):
        for y in (2.2 * inset, h - 2.2 * inset):
            wall.rect(Rect(x=x - 3, y=y - 3, width=6, height=6), STEEL, turn=0.8, shadow_mm=1.0)
    size = 0.045 * min(w, h)
    wall.write(
        spec.number,
        (0.12 * w, 0.16 * h),
        size,
        Stuff(colour=(0.02, 0.02, 0.02), infrared=0.06),
        weight=0.14,
    )
