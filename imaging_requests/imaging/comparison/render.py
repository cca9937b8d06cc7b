"""The exported comparison: pictures of one size and one tone, the map, the sentence inside it."""

from __future__ import annotations

import math
import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont

from .change import ChangeMap

Screen = NDArray[np.uint8]

XYZ_TO_SRGB = np.linalg.inv(
    [
        [0.4360747, 0.3850649, 0.1430804],
        [0.2225045, 0.7168786, 0.0606169],
        [0.0139322, 0.0971045, 0.7141733],
    ]
)
"""XYZ (D50) to linear sRGB: the Bradford-adapted primaries of IEC 61966-2-1, inverted."""
GROUND = (24, 24, 24)
INK = (236, 236, 236)
MARK_LOW, MARK_HIGH = np.array([255, 214, 120.0]), np.array([214, 48, 16.0])
OUTLINE = (255, 255, 255)
STEEPEST = 4.0
"""Multiple of the floor at which the colour of a mark is strongest."""
GAP_PX = 16
LEAST_TEXT_PX = 13
PLAIN = {"Δ": "d", "×": "x", "–": "-", "−": "-", "·": ".", "→": ">", "≥": ">=", "≤": "<="}


@dataclass(frozen=True, slots=True, eq=False)
class Panel:
    """One picture of the row: sRGB, (rows, columns, 3), and the words above it."""

    picture: Screen
    caption: str


def to_screen(light: NDArray[Any]) -> Screen:
    """8-bit sRGB of light by one fixed conversion: no stretching, no contrast, ever.

    Args:
        light: XYZ (D50, Y of white 1), (rows, columns, 3), or light alone, (rows, columns).

    >>> to_screen(np.ones((1, 1), np.float32)).tolist()
    [[[255, 255, 255]]]
    """
    values = np.asarray(light, np.float32)
    if values.ndim == 2:
        linear = np.repeat(values[..., None], 3, axis=2)
    else:
        linear = np.asarray(cv2.transform(values, XYZ_TO_SRGB.astype(np.float32)), np.float32)
    linear = np.clip(linear, 0, 1)
    encoded = np.where(
        linear <= 0.0031308, linear * 12.92, 1.055 * np.power(linear, 1 / 2.4) - 0.055
    )
    return np.asarray((encoded * 255 + 0.5), np.uint8)


def draw_map(found: ChangeMap, light: NDArray[Any]) -> Screen:
    """The map over a faint grey picture: marks filled and outlined, hatching where nothing is told.

    A mark's colour runs from light to strong between the floor and four times the floor.
    """
    grey = to_screen(light if light.ndim == 2 else light[..., 1])[..., 0].astype(np.float32)
    faint = np.repeat((60 + 0.35 * grey)[..., None], 3, axis=2)
    depth = np.clip((np.nan_to_num(found.change.size) / found.floor - 1) / (STEEPEST - 1), 0, 1)
    colour = MARK_LOW + (MARK_HIGH - MARK_LOW) * depth[..., None]
    faint = np.where(found.marked[..., None], colour, faint)
    faint = np.where(found.inside[..., None], faint, np.array(GROUND, np.float32))
    drawn = np.asarray(faint, np.uint8)
    rows, columns = np.indices(found.hatched.shape)
    drawn[found.hatched & ((rows + columns) % 6 < 2)] = (150, 170, 190)
    edges, _ = cv2.findContours(
        found.marked.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE
    )
    cv2.drawContours(drawn, edges, -1, OUTLINE, 1)
    return drawn


def legend_of(found: ChangeMap, no_face: str = "") -> str:
    """What the colours and lines of a map mean, with the numbers.

    Args:
        no_face: Why shares are of the picture and not of the face, as part of a sentence.
    """
    unit = found.change.unit
    whole = "face" if found.is_of_face else "picture"
    said = "" if found.is_of_face else " " + why_of_picture(no_face)
    return (
        f"Filled: changed by more than {found.floor:.1f} {unit}, strongest colour from "
        f"{STEEPEST * found.floor:.0f} {unit} on, {100 * found.marked_share:.1f} % of the {whole}. "
        f"Hatched: cannot be told, {100 * found.hatched_share:.1f} %{_saturated(found)}. "
        "Alignment is off by "
        f"{found.residual_px / found.px_per_mm:.2f} mm.{said}"
    )


def _saturated(found: ChangeMap) -> str:
    share = 100 * found.saturated_share
    return (
        f" ({share:.1f} % saturated in one picture, which hides changes)" if share >= 0.05 else ""
    )


def why_of_picture(because: str) -> str:
    """Say why shares are of the picture and not of the face.

    >>> why_of_picture("its size is not recorded.").partition("known, ")[2]
    'since its size is not recorded.'
    """
    return (
        "Shares are of the picture, ground included: where the face lies in it is not known, since "
        f"{because.rstrip('.')}."
    )


def sheet(
    panels: Sequence[Panel],
    sentence: str,
    *,
    notes: Sequence[str] = (),
    lamp_from_deg: float | None = None,
) -> Screen:
    """Set pictures side by side with their captions, and write the sentence under them.

    Args:
        panels: Pictures of one height; each is shown pixel by pixel.
        sentence: Grade and reason; it becomes part of the picture and cannot be cropped off by
            mistake alone.
        lamp_from_deg: Clock angle from which raking light comes; drawn as an arrow on each picture.

    Raises:
        ValueError: There is no picture, or their heights differ.

    >>> blank = Panel(np.zeros((120, 200, 3), np.uint8), "before")
    >>> made = sheet([blank, blank], "Grade C: only side by side.")
    >>> made.shape[1] > 400, made.shape[0] > 120
    (True, True)
    """
    heights = {panel.picture.shape[0] for panel in panels}
    if len(heights) != 1:
        raise ValueError("Pictures of one height are needed to set them side by side.")
    width = sum(panel.picture.shape[1] for panel in panels) + GAP_PX * (len(panels) + 1)
    text_px = max(LEAST_TEXT_PX, width // 70)
    font = ImageFont.load_default(text_px)
    lines = [line for text in (sentence, *notes) for line in _wrap(text, font, width - 2 * GAP_PX)]
    head = text_px + 2 * GAP_PX
    height = head + heights.pop() + GAP_PX * 2 + round(len(lines) * text_px * 1.5)
    canvas = Image.new("RGB", (width, height), GROUND)
    pen = ImageDraw.Draw(canvas)
    x = GAP_PX
    for panel in panels:
        canvas.paste(Image.fromarray(panel.picture), (x, head))
        pen.text((x, GAP_PX), plain(panel.caption), INK, font)
        if lamp_from_deg is not None:
            _arrow(pen, (x, head), panel.picture.shape, lamp_from_deg)
        x += panel.picture.shape[1] + GAP_PX
    y = float(height - GAP_PX - round(len(lines) * text_px * 1.5))
    for line in lines:
        pen.text((GAP_PX, y), line, INK, font)
        y += text_px * 1.5
    return np.asarray(canvas, np.uint8)


def plain(text: str) -> str:
    """Text in the letters that the built-in font has.

    >>> plain("ΔE00 − 20 × 20 mm, Zoë")
    'dE00 - 20 x 20 mm, Zoe'
    """
    swapped = "".join(PLAIN.get(letter, letter) for letter in text)
    split = unicodedata.normalize("NFD", swapped)
    return "".join(letter for letter in split if ord(letter) < 127 or letter in "°±µ")


def _wrap(text: str, font: Any, width_px: int) -> list[str]:
    lines: list[str] = []
    for word in plain(text).split():
        longer = f"{lines[-1]} {word}" if lines else word
        if lines and font.getlength(longer) <= width_px:
            lines[-1] = longer
        else:
            lines.append(word)
    return lines


def _arrow(
    pen: ImageDraw.ImageDraw, at: tuple[int, int], shape: tuple[int, ...], from_deg: float
) -> None:
    """An arrow in the corner that points the way the light goes."""
    size = max(24, min(shape[:2]) // 10)
    cx, cy = at[0] + size, at[1] + size
    angle = math.radians(from_deg)
    way = (-math.sin(angle), math.cos(angle))
    side = (-way[1], way[0])
    half = 0.6 * size
    tip = (cx + way[0] * half, cy + way[1] * half)
    tail = (cx - way[0] * half, cy - way[1] * half)
    pen.line([tail, tip], (0, 0, 0), max(5, size // 7))
    pen.line([tail, tip], OUTLINE, max(3, size // 12))
    wings = [
        (tip[0] - way[0] * half * 0.5 + side[0] * s, tip[1] - way[1] * half * 0.5 + side[1] * s)
        for s in (half * 0.35, -half * 0.35)
    ]
    pen.polygon([tip, *wings], OUTLINE, (0, 0, 0))
