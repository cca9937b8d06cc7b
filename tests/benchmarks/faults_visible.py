"""Faults of pictures in visible light, and of every file: one generator for each rule."""

from __future__ import annotations

from functools import lru_cache
from typing import Any

import cv2
import numpy as np

from imaging_requests.imaging.measure import edge, evenness, outline, scale, transfer
from imaging_requests.imaging.measure.chart_find import FoundChart, find_chart
from imaging_requests.imaging.measure.chart_read import compare_with_reference, read_patches
from imaging_requests.imaging.measure.delta_e import delta_e_2000, lab_to_xyz
from imaging_requests.imaging.measure.encoding import power_encoding
from imaging_requests.imaging.measure.frame import Frame, frame_from_array
from imaging_requests.imaging.synthesis.colour import RGB_TO_XYZ
from tests.benchmarks.fault_material import is_faulty, noise_like, texture
from tests.pure.measure_samples import draw_chart, editions, soft_edge

TO_RGB = np.linalg.inv(RGB_TO_XYZ)
CHART = editions()["24-after-2014-11"]
FACE_MM = (240.0, 180.0)
PX_PER_MM = 1.5


@lru_cache(maxsize=1)
def _chart() -> tuple[Any, Any]:
    light, to_px = draw_chart(CHART, RGB_TO_XYZ, patch_px=18, gap_px=3, border_px=30)
    return np.clip(light, 0, 1), to_px


def _seen_chart(rng: np.random.Generator, lab: Any, noise: float = 0.002) -> Any:
    """A chart whose patches have these colours, turned a little, noisy; read again."""
    light = _chart()[0].copy()
    for patch, colour in enumerate(np.clip(lab_to_xyz(lab) @ TO_RGB.T, 0, 1)):
        column, row = CHART.cell(patch)
        x, y = 33 + column * 21, 33 + row * 21
        light[y : y + 18, x : x + 18] = colour
    middle = (light.shape[1] / 2, light.shape[0] / 2)
    turn = cv2.getRotationMatrix2D(middle, float(rng.uniform(-8, 8)), 1.0)
    light = cv2.warpAffine(light, turn, light.shape[1::-1], borderValue=(0.05, 0.05, 0.05))
    share = np.clip(np.sqrt(light) + rng.normal(0, noise, light.shape), 0, 1).astype(np.float32)
    found = find_chart(share**2, RGB_TO_XYZ, {"it": CHART})
    if not isinstance(found, FoundChart):
        return None
    readings = read_patches(share, found, power_encoding(2.0, matrix=RGB_TO_XYZ))
    return None if readings is None else compare_with_reference(readings, found)


def _off_by(rng: np.random.Generator, lab: Any, wanted: float) -> Any:
    """Colours that differ from these by ΔE00 ``wanted`` each, in random directions."""
    direction = rng.normal(size=lab.shape)
    direction /= np.linalg.norm(direction, axis=1, keepdims=True)
    low, high = np.zeros(len(lab)), np.full(len(lab), 60.0)
    for _ in range(40):
        middle = (low + high) / 2
        is_far = delta_e_2000(lab, lab + middle[:, None] * direction) > wanted
        low, high = np.where(is_far, low, middle), np.where(is_far, middle, high)
    return lab + low[:, None] * direction


def mean_colour(rng: np.random.Generator, strength: float) -> float | None:
    report = _seen_chart(rng, _off_by(rng, CHART.lab, strength) if strength else CHART.lab)
    return None if report is None else report.mean_de00


def worst_colour(rng: np.random.Generator, strength: float) -> float | None:
    lab = CHART.lab.copy()
    if strength:
        patch = int(rng.integers(0, 15))
        lab[patch] = _off_by(rng, lab, strength)[patch]
    report = _seen_chart(rng, lab)
    return None if report is None else report.max_de00


def grey_lightness(rng: np.random.Generator, strength: float) -> float | None:
    lab = CHART.lab.copy()
    grey = int(rng.choice(CHART.greys[1:-1]))
    lab[grey, 0] += strength * rng.choice([-1, 1])
    report = _seen_chart(rng, lab)
    return None if report is None else report.grey_delta_l


def grey_tint(rng: np.random.Generator, strength: float) -> float | None:
    lab = CHART.lab.copy()
    turn = rng.uniform(0, 2 * np.pi)
    lab[list(CHART.greys), 1:] += strength * np.array([np.cos(turn), np.sin(turn)])
    report = _seen_chart(rng, lab)
    return None if report is None else report.neutrality


def chart_noise(rng: np.random.Generator, strength: float) -> float | None:
    # dL* = 116 · 2/3 · v^(−1/3) · dv on a square-root scale; three channels average in Y.
    level = float(np.sqrt(lab_to_xyz(np.array([50.76, 0, 0]))[1]))
    gain = 116 * 2 / 3 * level ** (-1 / 3) * float(np.linalg.norm(RGB_TO_XYZ[1]))
    report = _seen_chart(rng, CHART.lab, noise=(strength or 0.3) / gain)
    return None if report is None else report.noise_l


def even_board(rng: np.random.Generator, rows: int = 210, columns: int = 280) -> Any:
    return np.full((rows, columns), rng.uniform(0.3, 0.6)) + rng.normal(0, 0.004, (rows, columns))


def flat_field(rng: np.random.Generator, strength: float) -> float | None:
    board = even_board(rng)
    level = float(board.mean())
    x = np.linspace(-0.5, 0.5, board.shape[1])
    # strength in L*: dY = dL · 3 · Y^(2/3) / 116; the outer ninth of the board averages a little.
    slope = strength * 9 / 8 * 3 * level ** (2 / 3) / 116
    found = evenness.measure_field(board + slope * x)
    return None if found is None else found.range_l


def flicker(rng: np.random.Generator, strength: float) -> float | None:
    rows = np.arange(900)
    wave = 1 + strength / 100 * np.sin(rows * 2 * np.pi / rng.uniform(9, 60) + rng.uniform(0, 6))
    parts = [(even_board(rng, 900, 40) * wave[:, None]) for _ in range(2)]
    found = evenness.banding(parts)
    return None if found is None else 100 * found


def sharpening(rng: np.random.Generator, strength: float) -> float | None:
    part = soft_edge(float(rng.uniform(0.5, 0.9)), float(rng.uniform(3, 12)), fine=4, rows=70)
    if strength:
        over, best = 0.0, part
        for over in np.linspace(0.5, 9, 18):
            around = cv2.blur(part, (3, 3))
            best = part + over * (part - around)
            seen = edge.measure_edge(best[4:-4, 4:-4])
            if isinstance(seen, edge.Sfr) and seen.peak >= 1 + 1.5 * (strength / 1.5 - 1):
                break
        part = best
    found = edge.measure_edge(part[4:-4, 4:-4] + rng.normal(0, 0.003, part[4:-4, 4:-4].shape))
    return found.peak if isinstance(found, edge.Sfr) else None


def baseline_sharpness(rng: np.random.Generator, strength: float) -> float | None:
    degrees = float(rng.uniform(3, 12))
    base = 0.6
    wanted = 0.267 * (strength or 100) / 100
    sigma = base if not strength else float(np.sqrt(max(0.01, (0.1874 / wanted) ** 2 - 0.09)))
    noise = rng.normal(0, 0.004, (70, 80))
    found = edge.measure_edge(soft_edge(sigma, degrees, rows=70, fine=4) + noise)
    ought = edge.measure_edge(soft_edge(base, degrees, rows=70, fine=4))
    if not isinstance(found, edge.Sfr) or not isinstance(ought, edge.Sfr):
        return None
    return 100 * (found.mtf50 or 0) / (ought.mtf50 or 1)


def exposure_tiles(rng: np.random.Generator, strength: float) -> float | None:
    part = texture(rng, 80, 120)
    other = part * 2.0 ** (strength * rng.choice([-1, 1]))
    return evenness.exposure_step(part + noise_like(rng, part), other + noise_like(rng, part))


def tile_sharpness(rng: np.random.Generator, strength: float) -> float | None:
    part = texture(rng, 200, 200)
    other = part
    if strength:
        for sigma in np.linspace(0.3, 4, 38):
            other = cv2.GaussianBlur(part, (0, 0), float(sigma))
            ratio = evenness.sharpness_ratio(part, other)
            if ratio is not None and ratio <= 0.7 / 1.5:
                break
    return evenness.sharpness_ratio(part + noise_like(rng, part), other + noise_like(rng, part))


def keystone(rng: np.random.Generator, strength: float) -> float | None:
    found = face_outline(rng, strength)
    return found.keystone_percent() if isinstance(found, outline.Outline) else None


def coverage(rng: np.random.Generator, strength: float) -> float | None:
    """The face keeps so many mm of easel at its left side, 12 mm at the others."""
    margin_mm = strength or 12.0
    found = face_outline(rng, 0.0, margin_mm=margin_mm)
    if not isinstance(found, outline.Outline):
        return None
    density = found.px_per_mm(*FACE_MM)
    return min(found.margins_px(*_frame_px(margin_mm))) / density


def _frame_px(margin_mm: float, grow: float = 1.0) -> tuple[int, int]:
    width, height = (side * PX_PER_MM * grow for side in FACE_MM)
    return round(width + (12 + margin_mm) * PX_PER_MM), round(height + 24 * PX_PER_MM)


def _covered(corners: Any, size: tuple[int, int]) -> Any:
    """Share of each pixel that a shape covers whose sides run nearly along rows and columns."""
    x, y = np.meshgrid(np.arange(size[0]), np.arange(size[1]))
    share = np.ones(size[::-1])
    for start, end in zip(corners, np.roll(corners, -1, axis=0), strict=True):
        along = (end - start) / np.hypot(*(end - start))
        inward = (x - start[0]) * -along[1] + (y - start[1]) * along[0]
        share *= np.clip(inward + 0.5, 0, 1)
    return share


def face_outline(
    rng: np.random.Generator, keystone_percent: float, margin_mm: float = 12.0, grow: float = 1.0
) -> Any:
    """The outline found of a face of 240 × 180 mm at 1.5 px/mm, ``grow`` times as large."""
    size = _frame_px(margin_mm, grow)
    across, down = (side * PX_PER_MM * grow for side in FACE_MM)
    half = keystone_percent / 200 * across / 2
    left, top = margin_mm * PX_PER_MM, 12 * PX_PER_MM
    corners = np.array(
        [
            [left + half, top],
            [left + across - half, top],
            [left + across + half, top + down],
            [left - half, top + down],
        ]
    )
    mask = _covered(corners, size)
    paint = np.maximum(texture(rng, size[1], size[0]), 0.12)
    light = 0.016 + (paint - 0.016) * mask + rng.normal(0, 0.002, paint.shape)
    return outline.find_outline(light.astype(np.float32))


def density(rng: np.random.Generator, strength: float) -> float | None:
    true = 6.0 * (1 + strength / 100)
    at = np.arange(int(200 * true)) / true + rng.uniform(0, 20)
    ruler = cv2.GaussianBlur(((at // 10) % 2).reshape(1, -1), (0, 0), 0.8)[0]
    found = scale.read_ruler(ruler + rng.normal(0, 0.02, len(ruler)), block_mm=10)
    return None if found is None else scale.percent_off(found.px_per_mm, 6.0)


def clipped(rng: np.random.Generator, strength: float) -> float | None:
    values = rng.normal(30_000, 4_000, (600, 600))
    at = rng.choice(values.size, round(strength / 100 * values.size), replace=False)
    values.ravel()[at] = 65_535
    found = transfer.clipped_share(values, low=0.004 * 65_535, high=0.996 * 65_535)
    return None if found is None else 100 * found


def broken_transfer(rng: np.random.Generator, _: float) -> float | None:
    values = (texture(rng, 160, 120) * 60_000 + rng.normal(0, 150, (160, 120))).astype(np.uint16)
    if is_faulty(rng):
        kind = int(rng.integers(0, 4))
        row = int(rng.integers(20, 130))
        if kind == 0:
            values[row:] = values[row]
        elif kind == 1:
            values[-1] = 0
        elif kind == 2:
            values[row : row + 8] = values[4:12]
        else:
            values[:, 0] = 65_535
    return float(transfer.find_transfer_faults(values).count)


def upgraded_depth(rng: np.random.Generator, _: float) -> float | None:
    """A fault is a picture of 8 bits in a container of 16, at 200 to 256 levels."""
    values = texture(rng, 324, 324) * 60_000 + rng.normal(0, 150, (324, 324))
    if is_faulty(rng):
        count = int(rng.integers(200, 257))
        values = np.round(values / 65_535 * (count - 1)) * (65_535 / (count - 1))
    pixels = np.clip(np.round(values), 0, 65_535).astype(np.uint16)
    frame = frame_from_array(pixels, None, clip=(0.004, 0.996))
    assert isinstance(frame, Frame)
    return None if frame.distinct_levels is None else float(frame.distinct_levels)
