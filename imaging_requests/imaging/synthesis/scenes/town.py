"""Houses, towers, quays and lighthouses along the shore."""

from __future__ import annotations

from ..pigments import hue
from .board import Board, Point, Tone, between
from .ships import lantern

WALL_LIGHT = hue(196, 164, 120)
WALL_DARK = hue(92, 72, 56)
BRICK_LIGHT = hue(168, 98, 66)
BRICK_DARK = hue(80, 48, 38)
ROOF_LIGHT = hue(142, 76, 52)
ROOF_DARK = hue(64, 42, 36)
WINDOW = hue(48, 40, 36)
LIT = hue(255, 206, 112)
STONE_LIGHT = hue(176, 164, 142)
STONE_DARK = hue(70, 64, 58)


def house(
    board: Board,
    left: float,
    foot: float,
    size: Point,
    *,
    haze: float,
    haze_tone: Tone,
    lit: float = 0.0,
    is_stepped: bool = False,
) -> None:
    """A house with its gable to the viewer, light from the left."""
    w, h = size
    rng = board.rng
    brick = rng.random() < 0.5
    light = between(BRICK_LIGHT if brick else WALL_LIGHT, haze_tone, haze)
    dark = between(BRICK_DARK if brick else WALL_DARK, haze_tone, haze)
    gable = h * float(rng.uniform(0.28, 0.42))
    wall = [(left, foot), (left, foot - h + gable), (left + w, foot - h + gable), (left + w, foot)]
    board.shade(board.region(wall), light, dark, direction=(0.9, 0.25), detail=0.6, angle=0.0)
    if is_stepped:
        steps: list[Point] = [(left, foot - h + gable)]
        for i in range(4):
            x, y = left + w * (0.5 * i / 4), foot - h + gable * (1 - (i + 1) / 4)
            steps += [(x, y), (x + w * 0.125, y)]
        mirrored = [(2 * left + w - x, y) for x, y in reversed(steps)]
        board.shade(
            board.region([*steps, *mirrored]), light, dark, direction=(0.9, 0.2), detail=0.7
        )
    else:
        roof = [
            (left - 0.04 * w, foot - h + gable),
            (left + w / 2, foot - h),
            (left + 1.04 * w, foot - h + gable),
        ]
        board.shade(
            board.region(roof),
            between(ROOF_LIGHT, haze_tone, haze),
            between(ROOF_DARK, haze_tone, haze),
            direction=(1.0, 0.1),
            detail=0.7,
        )
    chimney = [
        (left + 0.68 * w, foot - h + 0.75 * gable),
        (left + 0.68 * w, foot - h - 0.02),
        (left + 0.78 * w, foot - h - 0.02),
        (left + 0.78 * w, foot - h + 0.95 * gable),
    ]
    board.lay(board.region(chimney), between(BRICK_DARK, haze_tone, haze), detail=0.7)
    columns = max(2, round(w / 0.032))
    rows = max(1, round((h - gable) / 0.045))
    for row in range(rows):
        for column in range(columns):
            x = left + w * (column + 0.5) / columns
            y = foot - (h - gable) * (row + 0.62) / rows
            is_lit = rng.random() < lit
            tone = LIT if is_lit else between(WINDOW, haze_tone, haze)
            half = 0.20 * w / columns
            pane = [
                (x - half, y - 1.5 * half),
                (x + half, y - 1.5 * half),
                (x + half, y + half),
                (x - half, y + half),
            ]
            board.lay(board.region(pane), tone, alpha=0.9, detail=0.7)
            if is_lit:
                board.glow((x, y), 0.02, hue(230, 140, 60), 0.5)


def tower(
    board: Board, x: float, foot: float, size: Point, *, haze: float, haze_tone: Tone
) -> None:
    """A church tower with a pointed spire."""
    w, h = size
    light = between(STONE_LIGHT, haze_tone, haze)
    dark = between(STONE_DARK, haze_tone, haze)
    body = [
        (x - w / 2, foot),
        (x - w / 2, foot - 0.6 * h),
        (x + w / 2, foot - 0.6 * h),
        (x + w / 2, foot),
    ]
    board.shade(board.region(body), light, dark, direction=(1.0, 0.1), detail=0.6, angle=1.57)
    spire = [(x - 0.62 * w, foot - 0.6 * h), (x, foot - h), (x + 0.62 * w, foot - 0.6 * h)]
    board.shade(
        board.region(spire),
        between(light, hue(96, 104, 100), 0.5),
        dark,
        direction=(1.0, 0.0),
        detail=0.6,
    )
    board.line([(x, foot - h), (x, foot - 1.07 * h)], 0.004, dark)
    for level in (0.50, 0.34):
        board.lay(
            board.oval((x, foot - level * h), (0.10 * w, 0.035 * h)),
            between(WINDOW, haze_tone, haze),
            detail=0.7,
        )


def town(
    board: Board,
    left: float,
    right: float,
    foot: float,
    height: float,
    *,
    haze: float,
    haze_tone: Tone,
    lit: float = 0.0,
) -> None:
    """A row of houses along a quay with a tower among them."""
    rng = board.rng
    x = left
    at = left + (right - left) * float(rng.uniform(0.25, 0.75))
    has_tower = False
    while x < right:
        w = height * float(rng.uniform(0.42, 0.72))
        if not has_tower and x > at:
            tower(board, x, foot, (0.36 * height, 2.1 * height), haze=haze, haze_tone=haze_tone)
            has_tower = True
        house(
            board,
            x,
            foot,
            (w, height * float(rng.uniform(0.75, 1.25))),
            haze=haze,
            haze_tone=haze_tone,
            lit=lit,
            is_stepped=bool(rng.random() < 0.4),
        )
        x += w * float(rng.uniform(0.88, 1.05))


def quay(
    board: Board, points: list[Point], *, light: Tone = STONE_LIGHT, dark: Tone = STONE_DARK
) -> None:
    """A stone quay; the first two points are its upper edge, the rest close the wall below."""
    board.shade(board.region(points), light, dark, direction=(0.5, 0.8), detail=0.4, angle=0.0)
    (x0, y0), (x1, y1) = points[0], points[1]
    for i in range(1, 5):
        t = i / 5
        low0, low1 = points[-1], points[2]
        a = (x0 + (low0[0] - x0) * t, y0 + (low0[1] - y0) * t)
        b = (x1 + (low1[0] - x1) * t, y1 + (low1[1] - y1) * t)
        board.line([a, b], 0.0022, dark, alpha=0.55)
    board.line([(x0, y0), (x1, y1)], 0.005, between(light, hue(240, 230, 205), 0.4), alpha=0.7)


def lighthouse(
    board: Board,
    x: float,
    foot: float,
    height: float,
    *,
    haze: float,
    haze_tone: Tone,
    is_lit: bool,
) -> None:
    """A round tower with a lantern room."""
    w = 0.20 * height
    light = between(hue(214, 204, 182), haze_tone, haze)
    dark = between(hue(86, 78, 70), haze_tone, haze)
    body = [
        (x - 0.62 * w, foot),
        (x - 0.36 * w, foot - 0.8 * height),
        (x + 0.36 * w, foot - 0.8 * height),
        (x + 0.62 * w, foot),
    ]
    board.shade(board.region(body), light, dark, direction=(1.0, 0.05), detail=0.6, angle=1.57)
    for level in (0.22, 0.50):
        band = [
            (x - 0.56 * w + 0.1 * level * w, foot - level * height),
            (x + 0.56 * w - 0.1 * level * w, foot - level * height),
        ]
        board.line(band, 0.055 * height, between(hue(150, 60, 44), haze_tone, haze), alpha=0.65)
    room = [
        (x - 0.26 * w, foot - 0.80 * height),
        (x - 0.26 * w, foot - 0.93 * height),
        (x + 0.26 * w, foot - 0.93 * height),
        (x + 0.26 * w, foot - 0.80 * height),
    ]
    board.lay(board.region(room), between(WINDOW, haze_tone, haze), detail=0.7)
    cap = [
        (x - 0.36 * w, foot - 0.92 * height),
        (x, foot - height),
        (x + 0.36 * w, foot - 0.92 * height),
    ]
    board.lay(board.region(cap), between(ROOF_DARK, haze_tone, haze), detail=0.7)
    board.line(
        [(x - 0.46 * w, foot - 0.80 * height), (x + 0.46 * w, foot - 0.80 * height)],
        0.018 * height,
        dark,
    )
    if is_lit:
        lantern(board, (x, foot - 0.865 * height), 0.05 * height, strength=1.0)
