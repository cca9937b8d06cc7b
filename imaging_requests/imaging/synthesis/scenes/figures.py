"""Whole figures in robes: standing, kneeling, winged; in colour, or as stone."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from ..pigments import hue
from ..vocabulary import Attribute
from .board import Board, Point, spline
from .features import paint_features
from .forms import Light, Matter, Model
from .hands import hand, sleeve
from .heads import Cover, Head, model_head
from .holding import BEHIND, DRAWN

AZURITE = Matter(hue(16, 24, 44), hue(44, 74, 122), hue(140, 166, 196), 0.0, 0.6)
VERMILION = Matter(hue(74, 16, 18), hue(176, 46, 36), hue(232, 120, 88), 0.0, 0.6)
LAKE = Matter(hue(42, 10, 20), hue(116, 28, 44), hue(206, 112, 118), 0.05, 0.6)
GREEN = Matter(hue(16, 34, 26), hue(50, 92, 64), hue(146, 172, 116), 0.0, 0.6)
OCHRE = Matter(hue(70, 44, 20), hue(176, 126, 60), hue(236, 206, 140), 0.05, 0.6)
WHITE = Matter(hue(92, 90, 92), hue(178, 174, 166), hue(242, 238, 226), 0.0, 0.6)
VIOLET = Matter(hue(40, 26, 44), hue(96, 68, 96), hue(190, 164, 178), 0.0, 0.6)
UMBER = Matter(hue(26, 20, 16), hue(72, 54, 40), hue(140, 112, 82), 0.0, 0.6)
STONE = Matter(hue(56, 52, 48), hue(134, 128, 118), hue(222, 216, 202), 0.0, 0.7)
ROBES = (AZURITE, VERMILION, GREEN, OCHRE, LAKE, WHITE, VIOLET)
DAYLIGHT = Light(towards=(-0.55, -0.50, 0.67), fill=0.14)


@dataclass(frozen=True, kw_only=True)
class Figure:
    """One robed figure.

    Attributes:
        foot: Where it stands, board units.
        height: From foot to crown.
        robe, mantle: Materials; no mantle for None.
        head: Head with size and place left to the figure.
        facing: -1 to 1, how far the body turns to the viewer's right.
        attribute: What the hand on the viewer's left holds.
        is_praying: Hands together instead.
        is_kneeling: Lower half folded.
        is_stone: All of one grey stone.
        wings: Colour of wings, None for none.
    """

    foot: Point
    height: float
    robe: Matter
    mantle: Matter | None
    head: Head
    facing: float = 0.0
    attribute: Attribute | None = None
    is_praying: bool = False
    is_kneeling: bool = False
    is_stone: bool = False
    wings: Matter | None = None
    opening: float = 0.0


def draw_figure(board: Board, figure: Figure, light: Light = DAYLIGHT) -> Head:
    """Draw a figure; returns its head as placed, for halos and the like."""
    f = _petrified(figure) if figure.is_stone else figure
    x, foot = f.foot
    total = 5.0 if f.is_kneeling else 7.2
    s = f.height / total
    top = foot - f.height
    lean = 0.28 * s * f.facing
    head = replace(
        f.head,
        at=(x + lean, top + 0.52 * s),
        size=s,
        yaw=f.head.yaw + 0.45 * f.facing,
        z=0.62,
    )
    neck = top + 1.02 * s
    hold = (x - 0.62 * s + lean, top + 2.75 * s)
    if f.attribute in BEHIND:
        hold = (x - 1.12 * s + lean, top + 2.60 * s)
    if f.attribute in BEHIND:
        DRAWN[f.attribute](board, hold, 0.62 * s, light)
    model = Model(board, ((x - 3.2 * s, top - 0.8 * s), (x + 3.2 * s, foot + 0.4 * s)))
    if f.wings is not None:
        _wings(model, (x + lean, neck), s, f.wings, f.facing)
    _robe(model, f, x, neck, s, lean)
    if f.mantle is not None:
        _mantle(model, f, x, neck, s, lean)
    hands = _arms(model, f, x, neck, s, lean, hold)
    model_head(model, head)
    for wrist, towards, thumb in hands:
        hand(model, wrist, towards, 0.66 * s, skin=head.skin, curl=0.3, thumb=thumb, has_cuff=False)
    if f.is_stone:
        model.matters = [STONE for _ in model.matters]
    model.render(light)
    if not f.is_stone:
        paint_features(board, head)
    if f.attribute is not None and f.attribute not in BEHIND:
        DRAWN[f.attribute](board, hold, 0.74 * s, light)
    return head


def _petrified(figure: Figure) -> Figure:
    """The same as a statue."""
    wings = None if figure.wings is None else STONE
    mantle = None if figure.mantle is None else STONE
    return replace(figure, robe=STONE, mantle=mantle, wings=wings)


def _robe(model: Model, f: Figure, x: float, neck: float, s: float, lean: float) -> None:
    """A long robe that breaks on the ground."""
    foot = f.foot[1]
    hem = (1.25 if not f.is_kneeling else 1.7) * s
    forward = 0.75 * s * f.facing if f.is_kneeling else 0.0
    robe = model.blank()
    outline = [
        (x + lean - 0.18 * s, neck),
        (x + lean - 0.72 * s, neck + 0.42 * s),
        (x + 0.7 * lean - 0.66 * s, neck + 1.5 * s),
        (x + 0.3 * lean - 0.86 * s, neck + 2.9 * s),
        (x - 0.96 * hem + 0.8 * forward, foot - 0.9 * s),
        (x - hem + forward, foot - 0.12 * s),
        (x - 0.55 * hem + forward, foot + 0.07 * s),
        (x + forward, foot + 0.09 * s),
        (x + 0.6 * hem + forward, foot + 0.06 * s),
        (x + hem + forward, foot - 0.14 * s),
        (x + 0.96 * hem + 0.8 * forward, foot - 0.9 * s),
        (x + 0.3 * lean + 0.88 * s, neck + 2.9 * s),
        (x + 0.7 * lean + 0.66 * s, neck + 1.5 * s),
        (x + lean + 0.72 * s, neck + 0.42 * s),
        (x + lean + 0.18 * s, neck),
    ]
    model.cushion(robe, spline(outline, steps=6), 0.20, 0.55 * s + 0.12, edge=0.9 * s)
    waist = neck + 1.55 * s
    model.folds(
        robe,
        spacing=0.34 * s,
        depth=0.16 * s,
        direction=1.57,
        bend=0.35,
        about=(x + lean, waist - 3.2 * s),
    )
    model.put(robe, f.robe)
    belt = model.blank()
    model.limb(
        belt,
        (x + 0.7 * lean - 0.62 * s, waist, 0.40),
        (x + 0.7 * lean + 0.62 * s, waist, 0.40),
        (0.07 * s, 0.07 * s),
        flat=2.2,
    )
    model.put(belt, UMBER)


def _mantle(model: Model, f: Figure, x: float, neck: float, s: float, lean: float) -> None:
    """A mantle over both shoulders, drawn across the body to one side."""
    assert f.mantle is not None
    foot = f.foot[1]
    side = 1 if f.facing <= 0 else -1
    back = model.blank()
    far = [
        (x + lean - 0.30 * side * s, neck + 0.02 * s),
        (x + lean + 0.55 * side * s, neck + 0.20 * s),
        (x + lean + 1.02 * side * s, neck + 0.80 * s),
        (x + 1.20 * side * s, neck + 2.4 * s),
        (x + 1.45 * side * s, foot - 0.1 * s),
        (x + 0.85 * side * s, foot + 0.08 * s),
        (x + 0.62 * side * s, neck + 3.4 * s),
        (x + 0.42 * side * s, neck + 1.6 * s),
        (x + lean + 0.22 * side * s, neck + 0.5 * s),
    ]
    model.cushion(back, spline(far, steps=6), 0.36, 0.30 * s + 0.10, edge=0.5 * s)
    model.folds(back, spacing=0.30 * s, depth=0.14 * s, direction=1.5 + 0.12 * side, bend=0.4)
    model.put(back, f.mantle)
    front = model.blank()
    near = [
        (x + lean + 0.20 * side * s, neck + 0.04 * s),
        (x + lean - 0.60 * side * s, neck + 0.22 * s),
        (x + lean - 1.0 * side * s, neck + 0.9 * s),
        (x - 1.10 * side * s, neck + 2.2 * s),
        (x - 0.98 * side * s, neck + 3.5 * s),
        (x - 0.15 * side * s, neck + 4.3 * s),
        (x + 0.75 * side * s, neck + 3.0 * s),
        (x + 0.98 * side * s, neck + 2.1 * s),
        (x + 0.25 * side * s, neck + 2.3 * s),
        (x - 0.35 * side * s, neck + 1.6 * s),
        (x + lean - 0.30 * side * s, neck + 0.6 * s),
    ]
    model.cushion(front, spline(near, steps=6), 0.46, 0.28 * s + 0.12, edge=0.5 * s)
    model.folds(front, spacing=0.36 * s, depth=0.17 * s, direction=1.57 + 0.75 * side, bend=0.55)
    model.put(front, f.mantle)


def _arms(
    model: Model, f: Figure, x: float, neck: float, s: float, lean: float, hold: Point
) -> list[tuple[tuple[float, float, float], Point, int]]:
    """Sleeves, and where hands begin: wrist, direction, side of the thumb."""
    found: list[tuple[tuple[float, float, float], Point, int]] = []
    for arm in (-1, 1):
        shoulder = (x + lean + 0.62 * arm * s, neck + 0.55 * s, 0.42)
        elbow = (x + lean + 0.98 * arm * s, neck + 1.75 * s, 0.50)
        if f.is_praying:
            wrist = (x + lean + (0.13 * arm + 0.30 * f.facing) * s, neck + 1.42 * s, 0.84)
            towards, thumb = (0.10 * f.facing - 0.12 * arm, -1.0), -arm
        elif arm < 0 or f.opening > 0:
            wrist = (
                (hold[0] + 0.05 * s, hold[1] + 0.12 * s, 0.84)
                if arm < 0
                else (x + lean + (0.9 + 0.5 * f.opening) * s, neck + 1.05 * s, 0.80)
            )
            towards, thumb = ((-0.55, -0.5), 1) if arm < 0 else ((0.6, -0.75), -1)
        else:
            wrist = (x + lean + 0.30 * s, neck + 1.62 * s, 0.82)
            towards, thumb = (-0.9, -0.35), 1
        sleeve(model, (shoulder, elbow, wrist), 0.30 * s, f.robe, folds=0.8)
        found.append((wrist, towards, thumb))
    return found


def _wings(model: Model, root: Point, s: float, matter: Matter, facing: float) -> None:
    """A pair of feathered wings."""
    x, y = root
    for side in (-1, 1):
        for i in range(9):
            t = i / 8
            reach = (2.6 - 0.9 * t) * s * (1.0 if side * facing <= 0 else 0.75)
            angle = -1.15 + 2.0 * t
            quill = model.blank()
            start = (x + 0.45 * side * s, y + (0.35 + 0.35 * t) * s, 0.10 - 0.004 * i)
            bend = (
                start[0] + side * 0.75 * s * np.cos(angle * 0.5),
                start[1] + 0.75 * s * np.sin(angle * 0.8) - 0.25 * s,
                start[2],
            )
            end = (
                start[0] + side * reach * np.cos(angle * 0.75 - 0.1),
                start[1] + reach * np.sin(angle) * 0.95,
                start[2],
            )
            model.limb(quill, start, bend, (0.22 * s, 0.26 * s), flat=0.3)
            model.limb(quill, bend, end, (0.25 * s, 0.07 * s), flat=0.3, melt=0.04 * s)
            model.folds(quill, spacing=0.07 * s, depth=0.02 * s, direction=angle * side)
            tint = 0.75 + 0.25 * (i % 2)
            model.put(quill, replace(matter, light=np.asarray(matter.light) * tint))


def halo(board: Board, head: Head, *, is_gold: bool) -> None:
    """A golden disc behind a head, with a punched rim; call before the figure is drawn."""
    radius = 0.92 * head.size
    disc = board.disc(head.at, radius)
    board.lay(disc, hue(214, 168, 82), alpha=0.95, detail=0.5, gloss=1.0 if is_gold else 0.3)
    for r, width in ((0.97, 0.05), (0.78, 0.03)):
        ring = [
            (head.at[0] + r * radius * np.cos(a), head.at[1] + r * radius * np.sin(a))
            for a in np.linspace(0, 2 * np.pi, 60)
        ]
        board.line(ring, width * radius, hue(132, 84, 36), alpha=0.7)
        board.line(
            [(px - 0.006, py - 0.006) for px, py in ring],
            0.4 * width * radius,
            hue(250, 224, 150),
            alpha=0.6,
        )
    for a in np.linspace(0, 2 * np.pi, 36, endpoint=False):
        at = (head.at[0] + 0.875 * radius * np.cos(a), head.at[1] + 0.875 * radius * np.sin(a))
        board.dab(at, 0.026 * radius, hue(120, 76, 34), alpha=0.8)


def placed_head(figure: Figure) -> Head:
    """The head where draw_figure will put it."""
    total = 5.0 if figure.is_kneeling else 7.2
    s = figure.height / total
    lean = 0.28 * s * figure.facing
    return replace(
        figure.head, size=s, at=(figure.foot[0] + lean, figure.foot[1] - figure.height + 0.52 * s)
    )


def some_head(
    rng: np.random.Generator,
    *,
    is_woman: bool,
    cover: Cover = Cover.NONE,
    cover_matter: Matter = WHITE,
) -> Head:
    """A head of no one in particular."""
    return Head(
        at=(0, 0),
        size=1,
        skin=2 if is_woman else int(rng.integers(3)),
        hair=int(rng.integers(3)),
        eye=int(rng.integers(3)),
        age=float(rng.uniform(0.32, 0.5) if is_woman else rng.uniform(0.4, 0.9)),
        is_woman=is_woman,
        beard=0.0 if is_woman else float(rng.choice([0.0, 0.5, 1.0])),
        long_hair=float(rng.uniform(0.3, 0.9)),
        cover=cover,
        cover_matter=cover_matter,
        pitch=float(rng.uniform(0.02, 0.14)),
        roll=float(rng.uniform(-0.10, 0.10)),
    )


def robes(rng: np.random.Generator, count: int) -> Sequence[Matter]:
    """Different robe colours."""
    return [ROBES[int(i)] for i in rng.permutation(len(ROBES))[:count]]
