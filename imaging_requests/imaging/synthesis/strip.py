"""Laying the target strip into a picture, for each kind of light."""

from __future__ import annotations

import numpy as np

from .sheet import Sheet
from .shot import GAUGE_PIN_MM, Shot
from .spec import PaintingSpec
from .targets import (
    BLACK_RGB,
    CARBON_INFRARED,
    PAPER_INFRARED,
    REFERENCE_RGB,
    WHITE_RGB_WITH_FILTER,
    WHITE_RGB_WITHOUT_FILTER,
    infrared_layout,
    strip_layout,
)
from .vocabulary import Map, Rect

BOARD_RGB = (0.22, 0.22, 0.215)
WHITE_RGB = (0.90, 0.90, 0.89)
INK_RGB = (0.02, 0.02, 0.02)
BED_RGB = (0.72, 0.72, 0.71)
PIN_RGB = (0.30, 0.30, 0.30)
PIN_RADIUS_MM = 1.5
SHADOW_DEPTH = 0.985


def lay_strip(sheet: Sheet, spec: PaintingSpec) -> None:
    """The strip as it looks under white light."""
    layout = strip_layout(spec)
    sheet.rect(layout.board, BOARD_RGB)
    _lay_ruler(sheet, layout.ruler, spec.width_mm, WHITE_RGB, INK_RGB)
    for patch in (*layout.chart, *layout.greys):
        sheet.rect(patch.rect, patch.rgb)
    for reference in layout.references:
        sheet.rect(reference, (0.80, 0.80, 0.72))
    sheet.rect(layout.white, (0.95, 0.95, 0.95))
    sheet.rect(layout.black, (0.012, 0.012, 0.012))
    for bed in (layout.level_bed, layout.upright_bed):
        sheet.rect(bed, BED_RGB)
    for pin in (layout.level_pin, layout.upright_pin):
        sheet.disc(pin, PIN_RADIUS_MM, PIN_RGB)
    for dot in layout.dots:
        sheet.disc(dot, 4.0, WHITE_RGB)
        sheet.disc(dot, 2.0, INK_RGB)


def _lay_ruler(
    sheet: Sheet,
    blocks: tuple[Rect, ...],
    width_mm: float,
    light: tuple[float, float, float] | float,
    dark: tuple[float, float, float] | float,
) -> None:
    """Blocks of 10 mm on a light ground."""
    ground = Rect(x=0, y=blocks[0].y, width=width_mm, height=blocks[0].height)
    sheet.rect(ground, light)
    for rect in blocks:
        sheet.rect(rect, dark)


def lay_strip_fluorescence(sheet: Sheet, spec: PaintingSpec, *, has_barrier_filter: bool) -> None:
    """The strip under ultraviolet lamps: only the reference patches glow."""
    layout = strip_layout(spec)
    sheet.rect(layout.board, (0.0012, 0.0012, 0.0018))
    white = WHITE_RGB_WITH_FILTER if has_barrier_filter else WHITE_RGB_WITHOUT_FILTER
    _lay_ruler(sheet, layout.ruler, spec.width_mm, white, BLACK_RGB)
    for patch in (*layout.chart, *layout.greys):
        share = 0.25 * float(np.mean(patch.rgb))
        sheet.rect(patch.rect, tuple(share * value + 0.0005 for value in white))
    extra = (0.0, 0.0, 0.0) if has_barrier_filter else (0.03, 0.03, 0.20)
    glow = tuple(a + b for a, b in zip(REFERENCE_RGB, extra, strict=True))
    for reference in layout.references:
        sheet.rect(reference, glow)
    sheet.rect(layout.white, white)
    sheet.rect(layout.black, BLACK_RGB)
    for dot in layout.dots:
        sheet.disc(dot, 4.0, white)
        sheet.disc(dot, 2.0, BLACK_RGB)


def lay_infrared_strip(sheet: Sheet, spec: PaintingSpec) -> None:
    """The strip in infrared: greys as in visible light, carbon ink dark, iron-gall ink gone."""
    layout = infrared_layout(spec)
    sheet.rect(layout.board, PAPER_INFRARED)
    _lay_ruler(sheet, layout.ruler, spec.width_mm, PAPER_INFRARED, CARBON_INFRARED)
    for patch in layout.greys:
        sheet.rect(patch.rect, float(np.mean(patch.rgb)))
    sheet.rect(layout.carbon_line, CARBON_INFRARED)
    sheet.rect(layout.iron_gall_line, PAPER_INFRARED - 0.012)


def rake_bed(shot: Shot, spec: PaintingSpec) -> Map:
    """Light left on the beds of the rake gauge: 1, and next to nothing in the pins' shadows.

    A pin of 10 mm throws a shadow of 10 / tan(elevation).
    """
    layout = strip_layout(spec)
    sheet = Sheet(shot.tile, shot.px_per_mm, shot.size_px, 1)
    sheet.image[...] = 1.0
    azimuth = np.deg2rad(shot.azimuth_deg)
    away = (-float(np.sin(azimuth)), float(np.cos(azimuth)))
    length = GAUGE_PIN_MM / float(np.tan(np.deg2rad(shot.lamp.elevation_deg)))
    side = (-away[1] * PIN_RADIUS_MM, away[0] * PIN_RADIUS_MM)
    is_level = abs(away[0]) >= abs(away[1])
    x, y = layout.level_pin if is_level else layout.upright_pin
    tip = (x + away[0] * length, y + away[1] * length)
    sheet.polygon(
        [
            (x + side[0], y + side[1]),
            (tip[0] + side[0], tip[1] + side[1]),
            (tip[0] - side[0], tip[1] - side[1]),
            (x - side[0], y - side[1]),
        ],
        1.0 - SHADOW_DEPTH,
    )
    return sheet.image
