"""Clean material and faults of known strength, one generator for each rule.

Strength: 1.5 × the fail limit of the rule, in the rule's own unit, on top of clean material.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import cv2
import numpy as np

from imaging_requests.imaging.files.verdicts import Outcome
from imaging_requests.imaging.measure import (
    bracket,
    edge,
    evenness,
    outline,
    raking,
    scale,
    specks,
    transfer,
    xray,
)
from imaging_requests.imaging.measure.chart_find import FoundChart, find_chart
from imaging_requests.imaging.measure.chart_read import compare_with_reference, read_patches
from imaging_requests.imaging.measure.delta_e import delta_e_2000, lab_to_xyz
from imaging_requests.imaging.measure.encoding import power_encoding
from imaging_requests.imaging.measure.fluorescence import find_glow
from imaging_requests.imaging.measure.infrared import linearity
from imaging_requests.imaging.synthesis.colour import RGB_TO_XYZ
from tests.pure.measure_samples import draw_chart, editions, soft_edge, tools

TO_RGB = np.linalg.inv(RGB_TO_XYZ)
RULES = tools().rules
CHART = editions()["24-after-2014-11"]


@dataclass(frozen=True)
class Case:
    """``value``: what the rule measures of one case, None if it cannot tell."""

    rule: str
    words: str
    value: Callable[[np.random.Generator, float], float | None]
    clean: float = 0.0

    def run(self, seed: int, is_faulty: bool) -> Outcome:
        """Judge one case; a fault has 1.5 × the strength of the fail limit."""
        limit = RULES.rule(self.rule).band.fail_limit
        strength = self.clean
        if is_faulty:
            kind = RULES.rule(self.rule).band.kind
            strength = limit / 1.5 if kind == "at_least" and limit > 0 else 1.5 * limit
        rng = np.random.default_rng([seed, int(is_faulty), sum(map(ord, self.rule))])
        found = self.value(rng, strength)
        return Outcome.CANNOT_TELL if found is None else RULES.rule(self.rule).band.judge(found)


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


def _board(rng: np.random.Generator, rows: int = 210, columns: int = 280) -> Any:
    return np.full((rows, columns), rng.uniform(0.3, 0.6)) + rng.normal(0, 0.004, (rows, columns))


def flat_field(rng: np.random.Generator, strength: float) -> float | None:
    board = _board(rng)
    level = float(board.mean())
    x = np.linspace(-0.5, 0.5, board.shape[1])
    # strength in L*: dY = dL · 3 · Y^(2/3) / 116; the outer ninth of the board averages a little.
    slope = strength * 9 / 8 * 3 * level ** (2 / 3) / 116
    found = evenness.measure_field(board + slope * x)
    return None if found is None else found.range_l


def infrared_field(rng: np.random.Generator, strength: float) -> float | None:
    board = _board(rng)
    x = np.linspace(-1, 1, board.shape[1]) * 9 / 8
    found = evenness.measure_field(board * (1 + strength / 100 * x))
    return None if found is None else 100 * found.residual


def flicker(rng: np.random.Generator, strength: float) -> float | None:
    rows = np.arange(900)
    wave = 1 + strength / 100 * np.sin(rows * 2 * np.pi / rng.uniform(9, 60) + rng.uniform(0, 6))
    parts = [(_board(rng, 900, 40) * wave[:, None]) for _ in range(2)]
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
    part = _texture(rng, 80, 120)
    other = part * 2.0 ** (strength * rng.choice([-1, 1]))
    return evenness.exposure_step(part + _noise(rng, part), other + _noise(rng, part))


def tile_sharpness(rng: np.random.Generator, strength: float) -> float | None:
    part = _texture(rng, 200, 200)
    other = part
    if strength:
        for sigma in np.linspace(0.3, 4, 38):
            other = cv2.GaussianBlur(part, (0, 0), float(sigma))
            ratio = evenness.sharpness_ratio(part, other)
            if ratio is not None and ratio <= 0.7 / 1.5:
                break
    return evenness.sharpness_ratio(part + _noise(rng, part), other + _noise(rng, part))


def keystone(rng: np.random.Generator, strength: float) -> float | None:
    found = _outline(rng, strength)
    return found.keystone_percent() if isinstance(found, outline.Outline) else None


def coverage(rng: np.random.Generator, strength: float) -> float | None:
    """2 mm is the fail limit: the face keeps 1.3 mm at one side, or 12 mm all round."""
    found = _outline(rng, 0.0, margin_mm=strength or 12.0)
    if not isinstance(found, outline.Outline):
        return None
    density = found.px_per_mm(300, 220)
    return min(found.margins_px(*_size(strength or 12.0))) / density


def _size(margin_mm: float) -> tuple[int, int]:
    return round((300 + 12 + margin_mm) * 2), ((220 + 24) * 2)


def _outline(rng: np.random.Generator, keystone_percent: float, margin_mm: float = 12.0) -> Any:
    width, height = _size(margin_mm)
    fine = 3
    half = keystone_percent / 200 * 600 / 2
    left, top = margin_mm * 2, 24.0
    corners = np.array(
        [
            [left + half, top],
            [left + 600 - half, top],
            [left + 600 + half, top + 440],
            [left - half, top + 440],
        ]
    )
    mask = np.zeros((height * fine, width * fine), np.uint8)
    points = np.round(((corners + 0.5) * fine - 0.5) * 16).astype(np.int32)
    cv2.fillConvexPoly(mask, points, 255, cv2.LINE_AA, 4)
    mask = cv2.resize(mask, (width, height), interpolation=cv2.INTER_AREA)
    paint = np.maximum(_texture(rng, height, width), 0.12)
    light = 0.016 + (paint - 0.016) * mask / 255 + rng.normal(0, 0.002, (height, width))
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
    values = (_texture(rng, 160, 120) * 60_000 + rng.normal(0, 150, (160, 120))).astype(np.uint16)
    if _faulty(rng):
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


def _faulty(rng: np.random.Generator) -> bool:
    """Rules without a strength learn from the seed whether this is a case with a fault."""
    return bool(rng.bit_generator.seed_seq.entropy[1])  # type: ignore[attr-defined]


def bracket_step(rng: np.random.Generator, strength: float) -> float | None:
    one = _texture(rng, 120, 160) * 0.3
    other = one * 2.0 ** (1 + strength * rng.choice([-1, 1]))
    found = bracket.step_ev(one + _noise(rng, one), np.clip(other + _noise(rng, one), 0, 1))
    return None if found is None else found - 1


def movement(rng: np.random.Generator, strength: float) -> float | None:
    big = _texture(rng, 300, 300)
    turn = rng.uniform(0, 2 * np.pi)
    x, y = strength * np.cos(turn), strength * np.sin(turn)
    move = np.array([[1, 0, x], [0, 1, y]])
    moved = cv2.warpAffine(big, move, (300, 300), flags=cv2.INTER_CUBIC, borderMode=cv2.BORDER_WRAP)
    one, other = big[40:-40, 40:-40] * 0.4, np.clip(moved[40:-40, 40:-40] * 0.8, 0, 1)
    found = bracket.shift_between(one + _noise(rng, one), other + _noise(rng, one))
    return None if found is None else found.length_px


def _gauge(
    rng: np.random.Generator, degrees: float, *, azimuth: float = 270.0, leak: float = 0.004
) -> raking.Gauge | None:
    """A level bed of 244 × 9 mm on a grey strip at 2 px/mm, with a pin and its shadow."""
    fine, density = 4, 2.0
    px = density * fine
    light = np.full((round(30 * px), round(270 * px)), 0.22, np.float32)
    light[round(10 * px) : round(19 * px), round(10 * px) : round(254 * px)] = 0.72
    foot = np.array([132.0 * px, 14.5 * px])
    cv2.circle(light, tuple(int(v) for v in foot), round(1.5 * px), 0.30, -1)
    turn = np.radians(azimuth)
    away = np.array([-np.sin(turn), np.cos(turn)])
    tip = foot + away * 10 / np.tan(np.radians(degrees)) * px
    side = np.array([-away[1], away[0]]) * 1.5 * px
    shade = np.ones_like(light)
    points = np.array([foot + side, tip + side, tip - side, foot - side])
    cv2.fillConvexPoly(shade, points.round().astype(np.int32), 0.015)
    light = light * (0.62 * shade + leak)
    small = cv2.resize(light, None, fx=1 / fine, fy=1 / fine, interpolation=cv2.INTER_AREA)
    small += rng.normal(0, 0.002, small.shape).astype(np.float32)
    to_px = np.array([[density, 0, -0.5], [0, density, -0.5], [0, 0, 1.0]])
    return raking.read_gauge(small, to_px, (0, 10, 270, 9), is_level=True, pin_mm=10)


def direction(rng: np.random.Generator, _: float) -> float | None:
    """A fault is the opposite side."""
    declared = 270.0
    true = 90.0 if _faulty(rng) else 270.0
    found = _gauge(rng, float(rng.uniform(7, 14)), azimuth=true + float(rng.uniform(-2, 2)))
    return None if found is None else (found.azimuth_deg - declared + 180) % 360 - 180


def elevation(rng: np.random.Generator, strength: float) -> float | None:
    card = float(rng.uniform(9, 12))
    found = _gauge(rng, card + strength)
    return None if found is None or found.elevation_deg is None else found.elevation_deg - card


def leak(rng: np.random.Generator, strength: float) -> float | None:
    wanted = strength or 45.0
    # contrast c = (0.62 + l) / (0.62 · 0.015 + l)
    light = (0.62 - wanted * 0.62 * 0.015) / (wanted - 1)
    found = _gauge(rng, float(rng.uniform(8, 13)), leak=light)
    return None if found is None else found.contrast


def _strip(rng: np.random.Generator, white: Any, dim: float = 1.0) -> Any:
    """Two glowing patches, a white and a black one, on a dark strip below a dim face."""
    light = np.full((170, 460, 3), 0.0012, np.float32)
    light[:80, 20:440] = (0.03 * _texture(rng, 80, 420))[..., None]
    x, y, side = 60 + int(rng.integers(-20, 20)), 100, 20
    glow = np.array([0.46, 0.455, 0.42]) * rng.uniform(0.8, 1.1)
    light[y : y + side, x : x + side] = glow
    light[y + side : y + 2 * side, x : x + side] = white
    light[y + 2 * side : y + 3 * side, x : x + side] = 0.0006
    light[y + side : y + 2 * side, 415:435] = glow * dim
    share = np.sqrt(light) + rng.normal(0, 0.0045, light.shape)
    return find_glow(np.maximum(share, 0).astype(np.float32) ** 2)


def slip(rng: np.random.Generator, strength: float) -> float | None:
    level = (strength or float(rng.uniform(0.5, 5))) / 100 * 0.44
    colour = np.array([[0.4, 0.4, 2.2], [1, 1, 1], [1.8, 0.6, 0.6]])[int(rng.integers(0, 3))]
    found = _strip(rng, level * colour)
    return None if found is None else 100 * found.slip


def lamp_evenness(rng: np.random.Generator, strength: float) -> float | None:
    share = (strength or float(rng.uniform(0, 12))) / 100
    found = _strip(rng, np.full(3, 0.008), dim=(1 - share / 2) / (1 + share / 2))
    return None if found is None or found.unevenness is None else 100 * found.unevenness


def _specked(rng: np.random.Generator, share: float, *, is_bright_only: bool) -> float | None:
    values = np.sqrt(_texture(rng, 512, 512)).astype(np.float32)
    values += rng.normal(0, 0.004, values.shape).astype(np.float32)
    count = round(share * values.size)
    at = rng.choice(values.size, count, replace=False)
    values.ravel()[at] = np.where(rng.random(count) < (1.0 if is_bright_only else 0.5), 1.0, 0.0)
    return specks.count_specks(values, least=0.06, is_bright_only=is_bright_only)


def hot(rng: np.random.Generator, strength: float) -> float | None:
    found = _specked(rng, strength * 1e-6, is_bright_only=True)
    return None if found is None else 1e6 * found


def dead(rng: np.random.Generator, strength: float) -> float | None:
    found = _specked(rng, strength / 100, is_bright_only=False)
    return None if found is None else 100 * found


def curve(rng: np.random.Generator, _: float) -> float | None:
    """A fault is a tone curve with an exponent of 1 / 1.5 or 1.5."""
    known = np.array([0.64, 0.45, 0.30, 0.19, 0.11, 0.058, 0.025])
    exponent = rng.choice([1 / 1.5, 1.5]) if _faulty(rng) else 1.0
    return linearity(known**exponent + rng.normal(0, 0.001, 7), known)


def seam(rng: np.random.Generator, strength: float) -> float | None:
    picture = _texture(rng, 160, 200).astype(np.float64)
    low, high = np.percentile(picture, (1, 99))
    picture[:, 100:] += strength / 100 * (high - low) * rng.choice([-1, 1])
    found = evenness.seam_step(picture + _noise(rng, picture), 100, is_upright=True)
    return None if found is None else 100 * found


def plate_noise(rng: np.random.Generator, strength: float) -> float | None:
    ratio = strength or 90.0
    plate = 0.35 + 0.3 * _texture(rng, 512, 512, smooth=40)
    return xray.signal_to_noise(plate + rng.normal(0, 0.5 / ratio, plate.shape) * plate / 0.5)


def dead_line(rng: np.random.Generator, _: float) -> float | None:
    plate = 0.2 + 0.6 * _texture(rng, 300, 320) + rng.normal(0, 0.008, (300, 320))
    plate[80:, 60:] += 0.1
    if _faulty(rng):
        at = int(rng.integers(5, 290))
        if rng.random() < 0.5:
            plate[at] *= 0.88
        else:
            plate[:, at] *= 1.12
    return float(sum(xray.dead_lines(plate.astype(np.float32))))


def polarity(rng: np.random.Generator, _: float) -> float | None:
    """A fault is the wrong statement."""
    plate = 0.1 + 0.7 * _texture(rng, 430, 350)
    plate = np.clip(plate + rng.normal(0, 0.006, plate.shape), 0, 0.93).astype(np.float32)
    text = str(int(rng.integers(1, 85)))
    lead = np.zeros(plate.shape, np.uint8)
    cv2.putText(lead, text, (12, 40), cv2.FONT_HERSHEY_SIMPLEX, 0.8, 255, 2, cv2.LINE_AA)
    plate += (1 - plate) * lead.astype(np.float32) / 255
    is_dark = bool(rng.random() < 0.5)
    found = xray.find_marker(1 - plate if is_dark else plate)
    if found is None:
        return None
    truth = xray.Polarity.DENSE_DARK if is_dark else xray.Polarity.DENSE_BRIGHT
    other = xray.Polarity.DENSE_BRIGHT if is_dark else xray.Polarity.DENSE_DARK
    return float(found.polarity is (other if _faulty(rng) else truth))


def silhouette(rng: np.random.Generator, strength: float) -> float | None:
    front = np.array([[0, 0], [300, 0], [300, 220], [0, 220.0]]) + rng.uniform(-1.5, 1.5, (4, 2))
    back = ((front * (-1, 1)) + (300, 0))[[1, 0, 3, 2]] + rng.normal(0, 0.05, (4, 2))
    if strength:
        back[0] += 2.0 * strength * np.array([0.71, 0.71])
    return outline.silhouette_difference_mm(front, back)[0]


def _texture(rng: np.random.Generator, rows: int, columns: int, smooth: float = 0.0) -> Any:
    """Painted-looking light from 0.02 to 0.9: blots of several sizes."""
    total = np.zeros((rows, columns), np.float32)
    sizes = (smooth,) if smooth else (40.0, 12.0, 4.0, 1.5)
    for size in sizes:
        layer = rng.standard_normal((rows, columns)).astype(np.float32)
        layer = cv2.GaussianBlur(layer, (0, 0), size, borderType=cv2.BORDER_REFLECT)
        total += layer / max(float(layer.std()), 1e-9) * (size / sizes[0]) ** 0.4
    low, high = float(total.min()), float(total.max())
    return 0.02 + 0.88 * (total - low) / (high - low)


def _noise(rng: np.random.Generator, like: Any) -> Any:
    return rng.normal(0, 0.002, like.shape)


CASES = (
    Case("G6", "camera farther away", density),
    Case("G10", "face near the rim", coverage),
    Case("G13", "constant, black, white, repeated rows", broken_transfer),
    Case("V1", "all patches off", mean_colour),
    Case("V2", "one patch off", worst_colour),
    Case("V3", "one grey too light or dark", grey_lightness),
    Case("V4", "all greys tinted", grey_tint),
    Case("V5", "noise", chart_noise),
    Case("V6", "light slopes", flat_field),
    Case("V7", "clipped pixels", clipped),
    Case("V8", "blur", baseline_sharpness),
    Case("V9", "sharpening", sharpening),
    Case("V10", "one tile softer", tile_sharpness),
    Case("V11", "one tile lighter or darker", exposure_tiles),
    Case("V13", "mains flicker", flicker),
    Case("V14", "keystone", keystone),
    Case("R1", "wrong step", bracket_step),
    Case("R2", "movement", movement),
    Case("R3", "lamp on the other side", direction),
    Case("R4", "lamp too high", elevation),
    Case("R7", "light from elsewhere", leak),
    Case("U1", "light past the filter, three colours", slip),
    Case("U5", "uneven lamps", lamp_evenness),
    Case("U6", "hot pixels", hot),
    Case("I2", "dead pixels", dead),
    Case("I3", "light slopes", infrared_field),
    Case("I4", "tone curve", curve),
    Case("I5", "step at a seam", seam),
    Case("X1", "polarity stated wrongly", polarity),
    Case("X2", "noise", plate_noise),
    Case("X5", "dead line", dead_line),
    Case("B1", "another outline", silhouette),
)
