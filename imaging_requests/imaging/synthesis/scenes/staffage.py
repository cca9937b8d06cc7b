"""Small people and birds that give a landscape its scale."""

from __future__ import annotations

from dataclasses import dataclass

from ..pigments import hue
from .board import Board, Point, Tone, between, spline

SKIN = hue(206, 152, 116)
DARK = hue(36, 29, 25)
LINEN = hue(228, 218, 196)


@dataclass(frozen=True)
class Coat:
    """Colours of a small person's clothes: lit side, shadowed side, hat."""

    light: Tone
    dark: Tone
    hat: Tone


FIGURE_COATS = (
    Coat(hue(112, 78, 48), hue(48, 36, 28), hue(38, 30, 26)),
    Coat(hue(170, 58, 42), hue(84, 30, 26), hue(44, 34, 30)),
    Coat(hue(84, 100, 118), hue(38, 46, 56), LINEN),
    Coat(hue(176, 142, 78), hue(96, 72, 40), hue(70, 46, 32)),
    Coat(hue(92, 96, 72), hue(42, 46, 36), LINEN),
    Coat(hue(140, 128, 112), hue(64, 58, 52), hue(120, 40, 32)),
    Coat(hue(58, 52, 50), hue(28, 25, 24), hue(28, 24, 23)),
)


def small_figure(
    board: Board,
    foot: Point,
    height: float,
    coat: Coat,
    *,
    shadow: float = 0.0,
    legs: bool = True,
    is_woman: bool = False,
    facing: int = 1,
    arms: float = 0.0,
    lean: float = 0.0,
) -> Point:
    """A person a few centimetres high, lit from the left.

    Args:
        foot: Where they stand.
        height: From foot to crown, units.
        shadow: 0 in the light, 1 a silhouette.
        arms: 0 hanging, 1 raised.
        lean: Forward bend as a share of the height.

    Returns:
        Where the raised or forward hand is.
    """
    x, y = foot
    h = height

    def at(dx: float, dy: float) -> Point:
        return (x + facing * (dx + lean * dy) * h, y - dy * h)

    def dim(tone: Tone) -> Tone:
        return between(tone, DARK, 0.8 * shadow)

    sway = float(board.rng.normal(0, 0.015))
    if legs and not is_woman:
        for side in (-0.055, 0.06):
            points = [
                at(side, 0.42),
                at(side * 1.5, 0.0),
                at(side * 1.5 + 0.06, 0.0),
                at(side + 0.075, 0.42),
            ]
            board.shade(
                board.region(points),
                dim(between(coat.dark, DARK, 0.3)),
                DARK,
                direction=(0.8, 0.4),
                detail=0.8,
            )
    hem = 0.0 if is_woman else (0.30 if legs else 0.12)
    flare = 0.19 if is_woman else 0.135
    body = spline(
        [
            at(-0.10 + sway, 0.82),
            at(-flare * 0.72, 0.52),
            at(-flare, hem),
            at(flare, hem),
            at(flare * 0.74, 0.52),
            at(0.10 + sway, 0.82),
        ],
        steps=5,
    )
    board.shade(
        board.region(body),
        dim(coat.light),
        dim(coat.dark),
        direction=(0.95, 0.25),
        detail=0.85,
        angle=1.4,
    )
    if is_woman:
        apron = spline([at(-0.07, 0.55), at(-0.10, 0.10), at(0.04, 0.08), at(0.04, 0.55)], steps=4)
        board.shade(
            board.region(apron),
            dim(LINEN),
            dim(hue(130, 122, 110)),
            direction=(0.9, 0.3),
            alpha=0.85,
            detail=0.85,
        )
    hand = at(0.17 + 0.10 * arms, 0.50 + 0.52 * arms)
    elbow = at(0.17, 0.60 + 0.18 * arms)
    board.line([at(0.08, 0.77), elbow, hand], 0.075 * h, dim(between(coat.light, coat.dark, 0.6)))
    board.line([at(-0.09, 0.77), at(-0.15, 0.60), at(-0.11, 0.46)], 0.07 * h, dim(coat.light))
    board.dab(hand, 0.030 * h, dim(SKIN))
    head = at(0.01 + sway, 0.915)
    board.shade(
        board.oval(head, (0.062 * h, 0.078 * h)),
        dim(SKIN),
        dim(hue(112, 70, 50)),
        direction=(0.9, 0.3),
        detail=0.9,
    )
    if is_woman:
        cap = board.oval(
            (head[0] - facing * 0.012 * h, head[1] - 0.024 * h), (0.074 * h, 0.068 * h)
        )
        board.shade(cap, dim(LINEN), dim(hue(140, 130, 116)), direction=(0.9, 0.4), detail=0.9)
        face = board.oval(
            (head[0] + facing * 0.022 * h, head[1] + 0.012 * h), (0.040 * h, 0.052 * h)
        )
        board.lay(face, dim(SKIN), detail=0.9)
    else:
        brim = board.oval((head[0], head[1] - 0.040 * h), (0.115 * h, 0.022 * h))
        board.lay(brim, dim(coat.hat), detail=0.9)
        crown = board.oval((head[0], head[1] - 0.068 * h), (0.062 * h, 0.045 * h))
        board.shade(
            crown,
            dim(between(coat.hat, LINEN, 0.18)),
            dim(coat.hat),
            direction=(1.0, 0.2),
            detail=0.9,
        )
        board.line([at(-0.05, 0.82), at(0.06, 0.82)], 0.035 * h, dim(LINEN), alpha=0.8)
    ground = board.oval((x + 0.16 * h, y + 0.004), (0.22 * h, 0.025 * h), soft=0.004)
    if legs:
        board.lay(ground, DARK, alpha=0.45 * (1 - shadow))
    return hand


def far_gull(board: Board, at: Point, span: float, tone: Tone) -> None:
    """A gull far off: two strokes."""
    x, y = at
    tilt = float(board.rng.normal(0, 0.25))
    lift = span * float(board.rng.uniform(0.10, 0.26))
    left = [(x - span / 2, y - lift + tilt * span / 2), (x - span / 4, y - 0.75 * lift), (x, y)]
    right = [(x, y), (x + span / 4, y - 0.75 * lift), (x + span / 2, y - lift - tilt * span / 2)]
    for wing in (left, right):
        board.line(spline(wing, closed=False, steps=4), max(0.0016, 0.10 * span), tone, alpha=0.9)


def gulls(board: Board, count: int, box: tuple[Point, Point], tone: Tone, size: float) -> None:
    """A loose flock within a box."""
    (x0, y0), (x1, y1) = box
    for _ in range(count):
        at = (float(board.rng.uniform(x0, x1)), float(board.rng.uniform(y0, y1)))
        far_gull(board, at, size * float(board.rng.uniform(0.5, 1.3)), tone)


def crowd(
    board: Board,
    box: tuple[Point, Point],
    count: int,
    height: float,
    *,
    shadow: float = 0.1,
    raised: float = 0.0,
    growth: float = 0.6,
) -> list[Point]:
    """People standing within a box, the nearer ones lower and larger.

    Returns:
        Their hands, back row first.
    """
    (x0, y0), (x1, y1) = box
    rng = board.rng
    places = sorted((float(rng.uniform(y0, y1)), float(rng.uniform(x0, x1))) for _ in range(count))
    hands = []
    for y, x in places:
        t = (y - y0) / max(1e-6, y1 - y0)
        hands.append(
            small_figure(
                board,
                (x, y),
                height * (1 - growth / 2 + growth * t) * float(rng.uniform(0.93, 1.07)),
                FIGURE_COATS[int(rng.integers(len(FIGURE_COATS)))],
                shadow=shadow,
                is_woman=bool(rng.random() < 0.42),
                facing=1 if rng.random() < 0.5 else -1,
                arms=1.0 if rng.random() < raised else 0.0,
            )
        )
    return hands
