"""Half-length portraits against a dark ground, light from the upper left."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from ..pigments import hue
from ..vocabulary import Attribute
from .board import Board, spline
from .features import paint_features
from .forms import Light, Matter, Model
from .hands import hand, sleeve
from .heads import LINEN, Cover, Head, model_head
from .holding import BEHIND, DRAWN

CLOTHS = (
    Matter(hue(14, 12, 12), hue(34, 30, 29), hue(88, 82, 76), 0.06, 0.5),
    Matter(hue(40, 16, 16), hue(104, 36, 32), hue(176, 78, 60), 0.06, 0.5),
    Matter(hue(18, 24, 32), hue(46, 60, 76), hue(112, 130, 142), 0.06, 0.5),
    Matter(hue(40, 29, 18), hue(98, 70, 40), hue(176, 138, 88), 0.06, 0.5),
    Matter(hue(22, 27, 20), hue(56, 68, 48), hue(118, 128, 90), 0.06, 0.5),
)
FELT = Matter(hue(12, 10, 10), hue(34, 29, 27), hue(84, 74, 66), 0.0, 0.5)
WINDOW_LIGHT = Light(towards=(-0.60, -0.55, 0.58), fill=0.08)
LAMP_LIGHT = Light(towards=(-0.55, 0.25, 0.62), fill=0.05)


def ground(board: Board, *, tone: tuple[int, int, int] = (60, 48, 38)) -> None:
    """Dark wall, lighter behind the shadowed side of the head."""
    base = hue(*tone)
    board.tone[...] = base * 0.70
    cx, cy = 0.68 * board.width, 0.40 * board.height
    far = ((board.x - cx) / 0.62) ** 2 + ((board.y - cy) / 0.75) ** 2
    board.wash(0.8 * np.exp(-far), base * 1.75)
    board.tone *= (1 + 0.05 * board.noise(0.25, octaves=3))[..., None]
    board.angle[...] = 0.9 + 0.6 * board.noise(0.4)
    board.detail[...] = 0.14


def man(board: Board) -> None:
    """A man at half length."""
    rng = board.rng
    cover = Cover(rng.choice([Cover.BRIM, Cover.NONE, Cover.CAP, Cover.FUR]))
    matter = CLOTHS[int(rng.integers(1, 3))] if cover is Cover.CAP else FELT
    portrait(
        board,
        Head(
            at=(0, 0),
            size=1,
            skin=int(rng.integers(2)),
            hair=int(rng.integers(4)),
            eye=int(rng.integers(3)),
            age=float(rng.uniform(0.4, 0.95)),
            beard=float(rng.choice([0.0, 0.45, 0.9])),
            long_hair=float(rng.uniform(0.0, 0.6)),
            cover=cover,
            cover_matter=matter,
        ),
    )


def woman(board: Board) -> None:
    """A woman at half length."""
    rng = board.rng
    portrait(
        board,
        Head(
            at=(0, 0),
            size=1,
            skin=2 if rng.random() < 0.6 else 0,
            hair=int(rng.integers(2)),
            eye=int(rng.integers(3)),
            age=float(rng.uniform(0.35, 0.6)),
            is_woman=True,
            cover=Cover.COIF if rng.random() < 0.75 else Cover.VEIL,
            cover_matter=LINEN,
        ),
    )


def child(board: Board) -> None:
    """A boy with his cap."""
    rng = board.rng
    portrait(
        board,
        Head(
            at=(0, 0),
            size=1,
            skin=2,
            hair=int(rng.integers(2)),
            eye=int(rng.integers(3)),
            age=0.0,
            is_woman=True,
            long_hair=0.25,
            cover=Cover.CAP,
            cover_matter=CLOTHS[1],
        ),
    )


def portrait(board: Board, sitter: Head) -> None:
    """Anybody at half length, with what they hold."""
    rng = board.rng
    ground(board, tone=((60, 48, 38), (54, 54, 48), (64, 44, 38))[int(rng.integers(3))])
    w, h = board.width, board.height
    side = -1 if rng.random() < 0.5 else 1
    s = min(0.255 * h, 0.33 * w) * (1.12 if sitter.age < 0.3 else 1.0)
    yaw = side * float(rng.uniform(0.28, 0.55))
    head = replace(
        sitter,
        at=(0.5 * w - 0.03 * side, 0.30 * h),
        size=s,
        yaw=yaw,
        pitch=float(rng.uniform(0.0, 0.10)),
        roll=float(rng.uniform(-0.05, 0.05)),
    )
    attribute = board.attribute
    # who feels a coast with the fingers does not need to look
    head = replace(head, closed_eyes=attribute is Attribute.MAP)
    light = LAMP_LIGHT if attribute is Attribute.LAMP else WINDOW_LIGHT
    cx, neck = head.at[0], head.at[1] + 0.50 * s
    cloth = CLOTHS[int(rng.integers(len(CLOTHS)))] if rng.random() < 0.6 else CLOTHS[0]
    hold = (cx - 0.42 * s, neck + 1.38 * s)
    if attribute in BEHIND:
        hold = (cx - 0.70 * s, neck + 1.30 * s)
    if attribute in BEHIND:
        DRAWN[attribute](board, hold, 0.6 * s, light)
    model = Model(board, ((0, 0), (w, h)))
    _torso(model, cx, neck, s, cloth, h)
    for arm in (-1, 1):
        shoulder = (cx + arm * 0.80 * s, neck + 0.52 * s, 0.28)
        elbow = (cx + arm * 1.06 * s, neck + 1.52 * s, 0.36)
        wrist = (
            (hold[0] - 0.26 * s, hold[1] + 0.22 * s, 0.66)
            if arm < 0
            else (cx + 0.36 * s, neck + 1.74 * s, 0.60)
        )
        sleeve(model, (shoulder, elbow, wrist), 0.30 * s, cloth)
    _collar(model, cx, neck, s, sitter.is_woman and sitter.age > 0.3)
    model_head(model, head)
    hand(
        model,
        (hold[0] - 0.24 * s, hold[1] + 0.20 * s, 0.78),
        (0.30, -0.20),
        0.62 * s,
        skin=head.skin,
        curl=0.55,
        thumb=-1,
    )
    hand(
        model,
        (cx + 0.34 * s, neck + 1.73 * s, 0.74),
        (-0.55, 0.10),
        0.60 * s,
        skin=head.skin,
        curl=0.35,
        thumb=1,
    )
    model.render(light)
    paint_features(board, head)
    _buttons(board, cx, neck, s, cloth)
    if attribute is not None and attribute not in BEHIND:
        DRAWN[attribute](board, (hold[0] + 0.06 * s, hold[1] - 0.02 * s), 0.62 * s, light)
    board.vignette(0.42, centre=(head.at[0], head.at[1] + 0.4 * s))


def _torso(model: Model, cx: float, neck: float, s: float, cloth: Matter, h: float) -> None:
    """Chest and shoulders."""
    coat = model.blank()
    outline = spline(
        [
            (cx - 0.20 * s, neck),
            (cx - 0.56 * s, neck + 0.16 * s),
            (cx - 0.96 * s, neck + 0.38 * s),
            (cx - 1.02 * s, neck + 0.95 * s),
            (cx - 0.86 * s, h + 0.6),
            (cx + 0.86 * s, h + 0.6),
            (cx + 1.02 * s, neck + 0.95 * s),
            (cx + 0.96 * s, neck + 0.38 * s),
            (cx + 0.56 * s, neck + 0.16 * s),
            (cx + 0.20 * s, neck),
        ]
    )
    model.cushion(coat, outline, 0.22, 0.34, edge=0.85 * s)
    model.folds(coat, spacing=0.42 * s, depth=0.018, direction=1.2, bend=0.8)
    model.put(coat, cloth)


def _collar(model: Model, cx: float, neck: float, s: float, is_ruff: bool) -> None:
    """A ruff, or a flat linen collar."""
    collar = model.blank()
    if is_ruff:
        model.ball(collar, (cx, neck + 0.06 * s, 0.50), (0.62 * s, 0.21 * s, 0.55 * s))
        dx, dy = (model.x - cx) / (0.62 * s), (model.y - neck - 0.06 * s) / (0.21 * s)
        far = np.sqrt(dx * dx + dy * dy)
        pleat = np.sin(np.arctan2(dy, dx) * 38) * np.clip(far - 0.25, 0, 0.75)
        there = collar > -4
        collar[there] += (0.030 * s * pleat)[there].astype(np.float32)
        model.put(collar, LINEN)
        return
    for side in (-1, 1):
        outline = spline(
            [
                (cx + 0.02 * side * s, neck + 0.10 * s),
                (cx + 0.22 * side * s, neck - 0.04 * s),
                (cx + 0.56 * side * s, neck + 0.16 * s),
                (cx + 0.62 * side * s, neck + 0.34 * s),
                (cx + 0.30 * side * s, neck + 0.42 * s),
                (cx + 0.05 * side * s, neck + 0.36 * s),
            ]
        )
        model.cushion(collar, outline, 0.60, 0.022, edge=0.05 * s)
    model.folds(collar, spacing=0.16 * s, depth=0.010 * s, direction=0.9)
    model.put(collar, LINEN)


def _buttons(board: Board, cx: float, neck: float, s: float, cloth: Matter) -> None:
    """A row of buttons down the front."""
    for i in range(7):
        at = (cx + 0.03 * s, neck + (0.48 + 0.17 * i) * s)
        board.dab(at, 0.026 * s, cloth.dark)
        board.dab((at[0] - 0.008 * s, at[1] - 0.008 * s), 0.012 * s, cloth.light, alpha=0.8)
