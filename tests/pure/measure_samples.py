"""Pictures with known truth for the tests of the measurements, and the studio's limits."""

from __future__ import annotations

import json
from functools import cache
from math import erf
from pathlib import Path

import numpy as np

from imaging_requests.imaging.measure.charts import read_editions
from imaging_requests.imaging.measure.delta_e import lab_to_xyz
from imaging_requests.imaging.measure.encoding import read_encoding
from imaging_requests.imaging.measure.finding import Rules
from imaging_requests.imaging.measure.frame import frame_from_array
from imaging_requests.imaging.measure.plan import Tools
from imaging_requests.imaging.measure.strip import Strip
from imaging_requests.imaging.synthesis import (
    PaintingSpec,
    Scene,
    Shot,
    Subject,
    build_painting,
    capture,
    picture_extent,
)
from imaging_requests.imaging.synthesis.profiles import grey_profile, wide_rgb_profile

FIXTURES = Path(__file__).resolve().parents[2] / "fixtures" / "checks"
SPEC = PaintingSpec(seed=5, width_mm=420, height_mm=330, subject=Subject.HARBOUR)
PX_PER_MM = 2.5


def data(name):
    return json.loads((FIXTURES / f"{name}-1.json").read_text(encoding="utf-8"))


@cache
def editions():
    return read_editions(data("charts"))


@cache
def tools():
    strip = Strip.from_settings(data("target-strip"))
    owned = {name: editions()[name] for name in strip.editions()}
    return Tools(Rules.from_settings(data("measurements")), owned, strip)


@cache
def scene():
    return Scene(build_painting(SPEC, px_per_mm=2.0))


def shoot(technique, **options):
    """A frame of the sample painting: 16-bit pixels."""
    options.setdefault("tile", picture_extent(SPEC, technique))
    options.setdefault("px_per_mm", PX_PER_MM)
    return capture(scene(), Shot(technique=technique, **options))


def encoding_of(exposure):
    if exposure.pixels.ndim == 3:
        return read_encoding(wide_rgb_profile())
    return read_encoding(grey_profile(is_linear=exposure.is_linear))


def as_frame(exposure):
    return frame_from_array(exposure.pixels, encoding_of(exposure), clip=tools().clip())


def light_of(exposure):
    share = exposure.pixels.astype(np.float32) / 65535
    return share if exposure.is_linear else share**2


def soft_edge(sigma, degrees, *, rows=100, columns=80, contrast=(0.1, 0.8), fine=8):
    """Edge of a Gaussian blur, integrated over each pixel's area; sigma in px."""
    angle = np.deg2rad(degrees)
    offsets = (np.arange(fine) + 0.5) / fine - 0.5
    y, x = np.mgrid[:rows, :columns].astype(float)
    step = np.vectorize(erf)
    total = np.zeros((rows, columns))
    for dy in offsets:
        for dx in offsets:
            at = (x + dx - columns / 2 - 0.3) * np.cos(angle) + (y + dy - rows / 2) * np.sin(angle)
            total += step(at / (sigma * 2**0.5)) / 2 + 0.5
    return contrast[0] + (contrast[1] - contrast[0]) * total / fine**2


def draw_chart(edition, to_xyz, *, patch_px=24, gap_px=4, border_px=60, ground=0.05):
    """A chart painted square on, linear light; returns it and chart coordinates → px."""
    step = patch_px + gap_px
    rows, columns = edition.rows * step + gap_px, edition.columns * step + gap_px
    light = np.full((rows + 2 * border_px, columns + 2 * border_px, 3), ground, np.float32)
    light[border_px:-border_px, border_px:-border_px] = 0.012
    colours = lab_to_xyz(edition.lab) @ np.linalg.inv(to_xyz).T
    for patch, colour in enumerate(colours):
        column, row = edition.cell(patch)
        x, y = (border_px + gap_px + each * step for each in (column, row))
        light[y : y + patch_px, x : x + patch_px] = colour
    start = border_px + gap_px / 2 - 0.5
    return light, np.array([[step, 0, start], [0, step, start], [0, 0, 1.0]])
