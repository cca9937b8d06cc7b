"""The target strip below the face: where everything on it lies, and what it looks like.

Everything is given in face mm, so that a check can be compared with the truth.
"""

from __future__ import annotations

from dataclasses import dataclass

from .colour import lab_to_rgb
from .shot import (
    INFRARED_MARGIN_MM,
    INFRARED_STRIP_MM,
    MARGIN_MM,
    STRIP_MM,
)
from .spec import PaintingSpec
from .vocabulary import Rect

# An invented 24-patch chart, CIELAB (D50): three rings of hue and a row of greys.
CHART_LAB: tuple[tuple[float, float, float], ...] = (
    (38, 34, 18),
    (52, 40, 44),
    (66, 18, 58),
    (58, -28, 36),
    (46, -36, 8),
    (40, -8, -30),
    (30, 16, -38),
    (42, 36, -14),
    (72, 16, 18),
    (80, 4, 40),
    (74, -22, 20),
    (68, -18, -12),
    (64, 4, -24),
    (70, 22, -6),
    (86, 0, 62),
    (48, 56, 26),
    (34, 8, 12),
    (56, 6, 22),
    (96, 0, 0),
    (81, 0, 0),
    (66, 0, 0),
    (50, 0, 0),
    (35, 0, 0),
    (20, 0, 0),
)
GREY_STEPS_L = (95.0, 84.0, 73.0, 62.0, 51.0, 40.0, 29.0, 18.0)
WIDE_FROM_MM = 560.0
# Linear level of the fluorescent reference patch in the frame with EV 0.
REFERENCE_LEVEL = 0.45
REFERENCE_RGB = (0.46, 0.455, 0.42)
WHITE_RGB_WITH_FILTER = (0.0080, 0.0085, 0.0095)
WHITE_RGB_WITHOUT_FILTER = (0.150, 0.160, 0.860)
BLACK_RGB = (0.0006, 0.0006, 0.0007)
CARBON_INFRARED = 0.06
PAPER_INFRARED = 0.86


@dataclass(frozen=True)
class Patch:
    """A patch of one colour, linear working RGB."""

    rect: Rect
    rgb: tuple[float, float, float]


@dataclass(frozen=True)
class StripLayout:
    """Where things lie on the strip of visible, raking and ultraviolet pictures, face mm.

    Attributes:
        board: The whole strip.
        chart: 24 patches in the order of CHART_LAB.
        greys: Patches in the order of GREY_STEPS_L.
        references: Fluorescent patches (U): one among the others, one at the right end.
        white, black: Non-fluorescing white (W) and black (K).
        ruler: Blocks of 10 mm, black and white in turn; starts at x_mm 0 with a black one.
        dots: Middles of four round marks of 4 mm.
        level_pin, upright_pin: Feet of the rake gauge for light along x and along y.
        level_bed, upright_bed: White beds that receive their shadows.
    """

    board: Rect
    chart: tuple[Patch, ...]
    greys: tuple[Patch, ...]
    references: tuple[Rect, Rect]
    white: Rect
    black: Rect
    ruler: tuple[Rect, ...]
    dots: tuple[tuple[float, float], ...]
    level_pin: tuple[float, float]
    upright_pin: tuple[float, float]
    level_bed: Rect
    upright_bed: Rect


@dataclass(frozen=True)
class InfraredLayout:
    """Where things lie on the infrared strip, face mm."""

    board: Rect
    greys: tuple[Patch, ...]
    carbon_line: Rect
    iron_gall_line: Rect
    ruler: tuple[Rect, ...]


def strip_layout(spec: PaintingSpec) -> StripLayout:
    """Strip for a face; wide faces get patches of 20 mm instead of 10.

    >>> layout = strip_layout(PaintingSpec(seed=1, width_mm=740, height_mm=920))
    >>> len(layout.chart), layout.board.y
    (24, 940.0)
    """
    w, h = spec.width_mm, spec.height_mm
    board = Rect(x=-MARGIN_MM, y=h + MARGIN_MM, width=w + 2 * MARGIN_MM, height=STRIP_MM)
    is_wide = w >= WIDE_FROM_MM
    size = 20.0 if is_wide else 10.0
    columns = 12 if is_wide else 6
    x, y = board.x + 3.0, board.y + 9.0
    chart = tuple(
        Patch(_cell(x, y, size, i, columns), lab_to_rgb(*lab)) for i, lab in enumerate(CHART_LAB)
    )
    x += columns * size + 3.0
    grey_columns = 4 if is_wide else 2
    greys = tuple(
        Patch(_cell(x, y, size, i, grey_columns), lab_to_rgb(lightness, 0, 0))
        for i, lightness in enumerate(GREY_STEPS_L)
    )
    x += grey_columns * size + 3.0
    side = 13.0
    first = Rect(x=x, y=y, width=side, height=side)
    white = Rect(x=x, y=y + side, width=side, height=side)
    black = Rect(x=x, y=y + 2 * side, width=side, height=side)
    last = Rect(x=board.right - 3.0 - side, y=y + side, width=side, height=side)
    bed = Rect(x=max(board.x + 4, w / 2 - 122), y=board.y + 50, width=min(244.0, w + 32), height=9)
    long = min(250.0, h - 4)
    upright_bed = Rect(x=-17.0, y=h / 2 - long / 2, width=9.0, height=long)
    return StripLayout(
        board=board,
        chart=chart,
        greys=greys,
        references=(first, last),
        white=white,
        black=black,
        ruler=_ruler(w, board.y + 1.5, 6.0),
        dots=(
            (board.x + 1.0 + 6, board.y + 4.5),
            (board.right - 7.0, board.y + 4.5),
            (-10.0, -10.0),
            (w + 10.0, -10.0),
        ),
        level_pin=(w / 2, bed.y + 4.5),
        upright_pin=(-12.5, h / 2),
        level_bed=bed,
        upright_bed=upright_bed,
    )


def infrared_layout(spec: PaintingSpec) -> InfraredLayout:
    """Infrared strip for a face."""
    w, h = spec.width_mm, spec.height_mm
    board = Rect(
        x=-INFRARED_MARGIN_MM,
        y=h + INFRARED_MARGIN_MM,
        width=w + 2 * INFRARED_MARGIN_MM,
        height=INFRARED_STRIP_MM,
    )
    x, y = board.x + 3.0, board.y + 9.0
    greys = tuple(
        Patch(Rect(x=x + 11 * i, y=y, width=11, height=18), lab_to_rgb(lightness, 0, 0))
        for i, lightness in enumerate(GREY_STEPS_L)
    )
    x += 11 * len(greys) + 8
    return InfraredLayout(
        board=board,
        greys=greys,
        carbon_line=Rect(x=x, y=y, width=3.0, height=18),
        iron_gall_line=Rect(x=x + 14, y=y, width=3.0, height=18),
        ruler=_ruler(w, board.y + 1.5, 5.0),
    )


def _cell(x: float, y: float, size: float, index: int, columns: int) -> Rect:
    row, column = divmod(index, columns)
    return Rect(x=x + column * size, y=y + row * size, width=size, height=size)


def _ruler(width: float, y: float, height: float) -> tuple[Rect, ...]:
    """Black blocks of a scale in steps of 10 mm; the white ones are what lies between."""
    return tuple(
        Rect(x=20.0 * i, y=y, width=10.0, height=height) for i in range(int((width - 10) // 20) + 1)
    )
