"""Sky, water and coast: the grounds of all marine pictures."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np

from ..grid import smooth_noise, smoothstep
from ..pigments import hue
from ..vocabulary import Map
from .board import Board, Point, Tone, between, spline


@dataclass(frozen=True, kw_only=True)
class Weather:
    """Colours of an hour and a weather.

    Attributes:
        zenith, middle, horizon: Sky from above to the horizon.
        cloud_light, cloud_dark: Clouds towards and away from the light.
        sea_near, sea_far: Water below and at the horizon.
        crest: Light on the waves.
        cover: Share of the sky in cloud, about -1 (clear) to 1.5 (overcast).
        sun: Where the light stands, in shares of width and of the sky's height; None for none.
        sun_tone: Colour of the light.
        swell: Height of the waves, 0 to 1.
    """

    zenith: Tone
    middle: Tone
    horizon: Tone
    cloud_light: Tone
    cloud_dark: Tone
    sea_near: Tone
    sea_far: Tone
    crest: Tone
    cover: float
    sun: Point | None
    sun_tone: Tone
    swell: float


DUSK = Weather(
    zenith=hue(74, 92, 112),
    middle=hue(168, 158, 142),
    horizon=hue(238, 190, 122),
    cloud_light=hue(240, 204, 152),
    cloud_dark=hue(104, 98, 104),
    sea_near=hue(38, 48, 50),
    sea_far=hue(150, 132, 104),
    crest=hue(226, 188, 132),
    cover=0.5,
    sun=(0.64, 0.86),
    sun_tone=hue(255, 226, 160),
    swell=0.35,
)
DAY = Weather(
    zenith=hue(104, 136, 164),
    middle=hue(160, 180, 188),
    horizon=hue(222, 216, 194),
    cloud_light=hue(240, 234, 216),
    cloud_dark=hue(140, 144, 148),
    sea_near=hue(54, 76, 76),
    sea_far=hue(136, 156, 152),
    crest=hue(224, 226, 212),
    cover=0.7,
    sun=None,
    sun_tone=hue(255, 244, 214),
    swell=0.5,
)
NIGHT = Weather(
    zenith=hue(24, 31, 50),
    middle=hue(46, 58, 78),
    horizon=hue(98, 102, 104),
    cloud_light=hue(128, 132, 132),
    cloud_dark=hue(16, 18, 26),
    sea_near=hue(16, 23, 33),
    sea_far=hue(62, 71, 78),
    crest=hue(110, 112, 104),
    cover=0.3,
    sun=(0.30, 0.34),
    sun_tone=hue(238, 230, 196),
    swell=0.25,
)
STORM = Weather(
    zenith=hue(38, 42, 46),
    middle=hue(82, 84, 80),
    horizon=hue(170, 160, 130),
    cloud_light=hue(176, 168, 148),
    cloud_dark=hue(30, 32, 36),
    sea_near=hue(24, 34, 34),
    sea_far=hue(74, 84, 78),
    crest=hue(214, 212, 196),
    cover=1.25,
    sun=None,
    sun_tone=hue(236, 220, 170),
    swell=1.0,
)
WINTER = Weather(
    zenith=hue(148, 154, 158),
    middle=hue(186, 184, 176),
    horizon=hue(226, 212, 184),
    cloud_light=hue(232, 226, 210),
    cloud_dark=hue(150, 150, 150),
    sea_near=hue(70, 84, 84),
    sea_far=hue(158, 164, 158),
    crest=hue(232, 230, 220),
    cover=1.0,
    sun=(0.30, 0.80),
    sun_tone=hue(246, 222, 180),
    swell=0.2,
)
FIRE = Weather(
    zenith=hue(22, 22, 28),
    middle=hue(66, 42, 34),
    horizon=hue(176, 82, 36),
    cloud_light=hue(206, 112, 54),
    cloud_dark=hue(26, 22, 24),
    sea_near=hue(16, 16, 20),
    sea_far=hue(92, 54, 36),
    crest=hue(240, 160, 76),
    cover=0.6,
    sun=None,
    sun_tone=hue(255, 190, 90),
    swell=0.3,
)
ECLIPSE = Weather(
    zenith=hue(20, 26, 40),
    middle=hue(48, 56, 70),
    horizon=hue(190, 140, 88),
    cloud_light=hue(150, 124, 98),
    cloud_dark=hue(26, 30, 40),
    sea_near=hue(18, 24, 30),
    sea_far=hue(110, 92, 72),
    crest=hue(180, 150, 110),
    cover=0.3,
    sun=(0.56, 0.32),
    sun_tone=hue(250, 240, 214),
    swell=0.3,
)


def lay_sky(board: Board, weather: Weather, horizon: float) -> None:
    """Sky down to the horizon (y in units), clouds lit from the sun's side."""
    v = np.clip(board.y / np.float32(horizon), 0, 1.02)
    wobble = 0.05 * board.noise(0.7, octaves=2, stretch=3)
    t = (v + wobble * (1 - v))[..., None]
    sky = np.where(
        t < 0.55,
        weather.zenith + (weather.middle - np.asarray(weather.zenith)) * smoothstep(0, 0.55, t),
        weather.middle + (weather.horizon - np.asarray(weather.middle)) * smoothstep(0.55, 1.0, t),
    )
    board.tone[...] = sky
    sun = weather.sun or (0.25, 0.2)
    place = (sun[0] * board.width, sun[1] * horizon)
    if weather.sun is not None:
        board.glow(place, 0.30, weather.sun_tone, 0.55)
    for size, low, share in ((0.62, 0.02, 1.0), (0.24, 0.5, 0.75)):
        _clouds(board, weather, place, horizon, size, low, share)
    if weather.sun is not None:
        board.glow(place, 0.05, weather.sun_tone, 0.95)
    board.angle[...] = 0.25 * board.noise(0.5, octaves=2)
    board.detail[...] = 0.16


def _clouds(
    board: Board,
    weather: Weather,
    sun: Point,
    horizon: float,
    size: float,
    low: float,
    share: float,
) -> None:
    """One bank of clouds; low is where it is thickest, as a share of the sky's height."""
    shape = board.noise(size, octaves=5, stretch=1.9, persistence=0.55)
    v = np.clip(board.y / np.float32(horizon), 0, 1)
    place = np.exp(-(((v - np.float32(0.30 + 0.45 * low)) / 0.34) ** 2))
    density = smoothstep(0.55, 1.75, shape + np.float32(weather.cover) * place)
    step = max(2, round(0.022 * board.unit * (size / 0.4)))
    dx = 1 if sun[0] > 0.5 * board.width else -1
    move = np.array([[1, 0, dx * step], [0, 1, -(step // 2)]], np.float32)
    shifted = cv2.warpAffine(
        shape,
        move,
        shape.shape[1::-1],
        flags=cv2.INTER_NEAREST | cv2.WARP_INVERSE_MAP,
        borderMode=cv2.BORDER_REPLICATE,
    )
    lit = smoothstep(-0.5, 0.7, (shape - shifted) * 1.1 + 0.25 * (0.5 - v))
    light = (
        weather.cloud_dark
        + (np.asarray(weather.cloud_light) - np.asarray(weather.cloud_dark)) * lit[..., None]
    )
    fade = density * share * (1 - smoothstep(0.93, 1.0, v + np.zeros_like(density)))
    board.tone += (light - board.tone) * fade[..., None]


def lay_sea(board: Board, weather: Weather, horizon: float) -> None:
    """Water from the horizon down to the lower edge, waves growing towards the viewer."""
    first = min(board.rows - 1, max(0, round(horizon * board.unit)))
    rows = board.rows - first
    depth = (np.arange(rows, dtype=np.float32)[:, None] + 1.0) / np.float32(rows)
    waves = _waves(board, rows, depth)
    t = depth**0.6
    far, near = np.asarray(weather.sea_far), np.asarray(weather.sea_near)
    water = far + (near - far) * t[..., None]
    light = smoothstep(0.2, 2.4, waves)
    dark = smoothstep(0.2, 2.0, -waves)
    strength = np.float32(0.18 + 0.55 * weather.swell)
    water = water * (1 - 0.55 * strength * dark[..., None])
    sheen = strength * light * (0.35 + 0.65 * depth)
    water = water + (np.asarray(weather.crest) - water) * (0.8 * sheen)[..., None]
    if weather.sun is not None:
        path = board.x - np.float32(weather.sun[0] * board.width)
        width = 0.035 + 0.16 * depth
        glitter = np.exp(-((path / width) ** 2)) * smoothstep(-0.35, 1.1, waves)
        water = water + (np.asarray(weather.sun_tone) - water) * (0.75 * glitter)[..., None]
    if weather.swell > 0.45:
        torn = board.noise(0.05, octaves=3, stretch=2.5)[first:]
        foam = smoothstep(1.1, 2.2, waves + 0.45 * torn) * smoothstep(0.05, 0.6, depth)
        water = (
            water
            + (np.asarray(weather.crest) - water)
            * (0.85 * (weather.swell - 0.25) * foam)[..., None]
        )
    board.tone[first:] = water
    board.angle[first:] = 0.10 * waves
    board.detail[first:] = 0.20 + 0.18 * (1 - depth)
    haze = np.exp(-(((board.y - horizon) / 0.018) ** 2)) * np.float32(0.55)
    board.wash(haze + np.zeros_like(board.detail), weather.horizon)


def _waves(board: Board, rows: int, depth: Map) -> Map:
    """Wave pattern in perspective: a flat pattern looked up at 1 / depth."""
    pattern = smooth_noise(board.rng, (768, 768), (34.0, 13.0), octaves=3, persistence=0.6)
    u = board.x - np.float32(board.width / 2)
    row = (150.0 / (depth + 0.16)) % 768
    column = (u * (95.0 / (depth + 0.16)) + 4000) % 768
    row_map = np.broadcast_to(row, (rows, board.columns)).astype(np.float32)
    return cv2.remap(
        pattern,
        np.ascontiguousarray(column.astype(np.float32)),
        np.ascontiguousarray(row_map),
        cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_WRAP,
    )


def mirror_in_water(board: Board, waterline: float, depth: float, strength: float) -> None:
    """Reflect what stands above the waterline in the water below it, broken by ripples."""
    first = round(waterline * board.unit)
    count = min(board.rows - first, first, round(depth * board.unit))
    if count < 4:
        return
    ripple = smooth_noise(board.rng, (count, board.columns), (26.0, 3.0), octaves=2)
    far = np.arange(count, dtype=np.float32)[:, None]
    row = np.clip(first - 1 - far * 1.05 + ripple * (0.4 + 0.022 * far), 0, first - 1)
    column = np.arange(board.columns, dtype=np.float32)[None, :] + ripple * (0.8 + 0.012 * far)
    image = cv2.remap(
        board.tone[:first],
        np.ascontiguousarray(column.astype(np.float32)),
        np.ascontiguousarray(row.astype(np.float32)),
        cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_REPLICATE,
    )
    fade = np.float32(strength) * (1 - far / count) ** 0.8
    part = board.tone[first : first + count]
    part += (0.82 * image - part) * fade[..., None]


def coast(
    board: Board,
    waterline: float,
    points: Sequence[Point],
    light: Tone,
    dark: Tone,
    *,
    detail: float = 0.3,
    from_left: bool = True,
) -> None:
    """Land that rises from the water: an outline broken by noise, lit from one side."""
    rng = board.rng
    top: list[Point] = []
    for (x0, y0), (x1, y1) in itertools.pairwise(points):
        for t in np.linspace(0, 1, 14, endpoint=False):
            rough = 0.35 * abs(y0 - waterline) * float(rng.normal(0, 0.12))
            top.append((x0 + (x1 - x0) * float(t), y0 + (y1 - y0) * float(t) + rough))
    top.append(points[-1])
    region = board.region([(top[0][0], waterline), *top, (top[-1][0], waterline)])
    if region.is_empty:
        return
    rows, columns = region.cover.shape
    cell = max(4.0, 0.07 * board.unit)
    rock = smooth_noise(rng, (rows, columns), (cell * 0.7, cell), octaves=4, persistence=0.6)
    slope = np.roll(rock, 2 if from_left else -2, 1) - rock
    lit = smoothstep(-0.8, 1.0, -3.0 * slope + 0.45 * rock)[..., None]
    tone = np.asarray(dark) + (np.asarray(light) - np.asarray(dark)) * lit
    board.lay(region, tone, detail=detail, angle=float(rng.uniform(0.9, 1.4)))


def rock(board: Board, centre: Point, size: Point, light: Tone, dark: Tone) -> None:
    """A single rock or stack with lit and shadowed facets and foam at its foot."""
    rng = board.rng
    cx, foot = centre
    w, h = size
    left, right, peak = cx - w / 2, cx + w / 2, cx + w * float(rng.uniform(-0.15, 0.15))
    outline = [
        (left, foot),
        (left + 0.10 * w, foot - 0.45 * h),
        (left + 0.24 * w, foot - 0.78 * h),
        (peak, foot - h),
        (right - 0.20 * w, foot - 0.86 * h),
        (right - 0.08 * w, foot - 0.40 * h),
        (right, foot),
    ]
    jagged = [
        (x + float(rng.normal(0, 0.02)) * w, y + float(rng.normal(0, 0.02)) * h)
        for x, y in spline(outline, closed=False, steps=5)
    ]
    region = board.region([*jagged, (right, foot), (left, foot)])
    if region.is_empty:
        return
    rows, columns = region.cover.shape
    facets = smooth_noise(rng, (rows, columns), (max(3, columns / 3), max(3, rows / 5)), octaves=4)
    across = np.linspace(1, -1, columns, dtype=np.float32)[None, :]
    lit = smoothstep(-1.3, 1.5, 0.9 * across + 0.45 * facets)[..., None]
    tone = np.asarray(dark) + (np.asarray(light) - np.asarray(dark)) * lit
    board.lay(region, tone, detail=0.42, angle=1.45)
    for _ in range(10):
        x = cx + w * float(rng.uniform(-0.6, 0.6))
        board.line(
            [(x - 0.02, foot), (x + 0.02, foot + float(rng.normal(0, 0.004)))],
            float(rng.uniform(0.003, 0.008)),
            between(light, hue(236, 234, 222), 0.7),
            alpha=0.6,
        )
