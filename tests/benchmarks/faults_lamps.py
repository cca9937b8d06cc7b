"""Faults of raking light, ultraviolet and infrared: one generator for each rule."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import cv2
import numpy as np

from imaging_requests.imaging.measure import bracket, evenness, raking, specks
from imaging_requests.imaging.measure.delta_e import lab_to_xyz
from imaging_requests.imaging.measure.fluorescence import find_glow
from imaging_requests.imaging.measure.infrared import find_grey_row, linearity, read_ink_lines
from imaging_requests.imaging.measure.plan import Plan
from imaging_requests.imaging.measure.sets import check_ambient, check_bracket, check_warm_up
from tests.benchmarks.fault_material import frame_of, is_faulty, noise_like, texture, value_of
from tests.benchmarks.faults_visible import even_board
from tests.pure.measure_samples import tools

RULES = tools().rules


def bracket_step(rng: np.random.Generator, strength: float) -> float | None:
    one = texture(rng, 120, 160) * 0.3
    other = one * 2.0 ** (1 + strength * rng.choice([-1, 1]))
    found = bracket.step_ev(one + noise_like(rng, one), np.clip(other + noise_like(rng, one), 0, 1))
    return None if found is None else found - 1


def movement(rng: np.random.Generator, strength: float) -> float | None:
    return _moved(rng, strength, lambda part: 0.4 * part, gain=2.0)


def _moved(
    rng: np.random.Generator, strength: float, tone: Callable[[Any], Any], gain: float
) -> float | None:
    """Two exposures of a texture, the lighter one moved by so many px in any direction."""
    big = texture(rng, 300, 300)
    turn = rng.uniform(0, 2 * np.pi)
    x, y = strength * np.cos(turn), strength * np.sin(turn)
    move = np.array([[1, 0, x], [0, 1, y]])
    moved = cv2.warpAffine(big, move, (300, 300), flags=cv2.INTER_CUBIC, borderMode=cv2.BORDER_WRAP)
    one, other = tone(big[40:-40, 40:-40]), np.clip(gain * tone(moved[40:-40, 40:-40]), 0, 1)
    found = bracket.shift_between(one + noise_like(rng, one), other + noise_like(rng, one))
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
    true = 90.0 if is_faulty(rng) else 270.0
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


def _strip(rng: np.random.Generator, white: Any, dim: float = 1.0, level: float = 0.0) -> Any:
    """Two glowing patches, a white and a black one, on a dark strip below a dim face."""
    light = np.full((170, 460, 3), 0.0012, np.float32)
    light[:80, 20:440] = (0.03 * texture(rng, 80, 420))[..., None]
    x, y, side = 60 + int(rng.integers(-20, 20)), 100, 20
    glow = np.array([0.46, 0.455, 0.42])
    glow *= level / glow.mean() if level else rng.uniform(0.8, 1.1)
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
    values = np.sqrt(texture(rng, 512, 512)).astype(np.float32)
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


def infrared_field(rng: np.random.Generator, strength: float) -> float | None:
    board = even_board(rng)
    x = np.linspace(-1, 1, board.shape[1]) * 9 / 8
    found = evenness.measure_field(board * (1 + strength / 100 * x))
    return None if found is None else 100 * found.residual


def curve(rng: np.random.Generator, _: float) -> float | None:
    """A fault is a tone curve with an exponent of 1 / 1.5 or 1.5."""
    known = np.array([0.64, 0.45, 0.30, 0.19, 0.11, 0.058, 0.025])
    exponent = rng.choice([1 / 1.5, 1.5]) if is_faulty(rng) else 1.0
    return linearity(known**exponent + rng.normal(0, 0.001, 7), known)


def room_light(rng: np.random.Generator, strength: float) -> float | None:
    """A frame with the lamps off holds so many percent of the light of one with them on."""
    lit = (0.02 + 0.3 * texture(rng, 60, 80))[..., None] * rng.uniform(0.6, 1.0, 3)
    percent = strength or float(rng.uniform(0.05, 0.9))
    found = check_ambient(
        frame_of(rng, lit.mean() * percent / 100 * np.ones_like(lit)), frame_of(rng, lit), tools()
    )
    return found.value


def dim_step(rng: np.random.Generator, strength: float) -> float | None:
    """A wrong step between two frames that are dark but for a few places, as under ultraviolet."""
    one = 0.16 * texture(rng, 120, 160) ** 2
    other = one * 2.0 ** (1 + strength * rng.choice([-1, 1]))
    found = bracket.step_ev(one + noise_like(rng, one), other + noise_like(rng, one))
    return None if found is None else found - 1


def dim_movement(rng: np.random.Generator, strength: float) -> float | None:
    return _moved(rng, strength, lambda part: 0.2 * part**2, gain=2.0)


def level(rng: np.random.Generator, strength: float) -> float | None:
    wanted = RULES.number("uv.target_level")
    off = (strength or float(rng.uniform(0, 0.12))) * rng.choice([-1, 1])
    found = _strip(rng, np.full(3, 0.008), level=wanted * 2.0**off)
    return None if found is None else float(np.log2(found.level / wanted))


def warm_up(rng: np.random.Generator, strength: float) -> float | None:
    change = 1 + (strength or float(rng.uniform(0, 3))) / 100 * rng.choice([-1, 1])
    first, last = (_strip(rng, np.full(3, 0.008), level=0.44 * factor) for factor in (1.0, change))
    if first is None or last is None:
        return None
    return check_warm_up(first.level, last.level, tools().rules).value


def _raked(rng: np.random.Generator) -> Any:
    """A face of 110 × 80 px on the easel, light from the left."""
    light = np.full((110, 150), 0.016, np.float32)
    paint = np.maximum(texture(rng, 80, 110), 0.12)
    light[15:95, 20:130] = paint * np.linspace(0.6, 0.3, 110)
    return light


def _ends_of_bracket(rng: np.random.Generator, dark: Any, bright: Any, rule: str) -> float | None:
    frames = [
        (float(ev), frame_of(rng, np.repeat(each[..., None], 3, axis=2)))
        for ev, each in ((-1, dark), (1, bright))
    ]
    return value_of(check_bracket(frames, Plan("RK", direction="L"), tools()), rule)


def lamp_side_clipped(rng: np.random.Generator, strength: float) -> float | None:
    """So many percent of the half of the face at the lamp are clipped in the darkest frame."""
    light = _raked(rng)
    dark = light.copy()
    near = dark[16:94, 21:74]
    at = rng.choice(near.size, round(strength / 100 * 55 * 80), replace=False)
    near[np.unravel_index(at, near.shape)] = 1.0
    return _ends_of_bracket(rng, dark, 4 * light, "R5")


def far_side_unreadable(rng: np.random.Generator, strength: float) -> float | None:
    """So many percent of the far 15 % of the face are too dark to be read in the lightest frame.

    The rule looks at means of 3 × 3 px, so the dark place is larger by a pixel all round.
    """
    light = _raked(rng)
    bright = np.clip(4 * light, 0, 0.95)
    if is_faulty(rng):
        count = (100 - strength) / 100 * 0.15 * 110 * 80
        wide = round(count**0.5)
        tall = round(count / wide)
        top, left = int(rng.integers(20, 80)), int(rng.integers(115, 128 - wide))
        bright[top : top + tall + 2, left : left + wide + 2] = 0.004
    return _ends_of_bracket(rng, light, bright, "R6")


def saturated(rng: np.random.Generator, strength: float) -> float | None:
    light = 0.05 + 0.6 * texture(rng, 300, 400)
    at = rng.choice(light.size, round(strength / 100 * light.size), replace=False)
    light.ravel()[at] = 1.0
    high = frame_of(rng, light, is_linear=True).high_map
    return None if high is None else 100 * float(high.mean())


def band(rng: np.random.Generator, strength: float) -> float | None:
    """Grey steps and both ink lines on a strip at 2 px/mm; iron-gall ink so much visible."""
    strip = tools().strip
    density, x, y = 2.0, 24, 14
    light = np.full((50, 300), 0.05, np.float32)
    greys = np.array(strip.infrared_greys_l, float)
    known = lab_to_xyz(np.column_stack([greys, 0 * greys, 0 * greys]))[:, 1]
    side = round(strip.infrared_step_mm * density)
    light[6:44, 10:290] = 0.86
    for number, value in enumerate(known):
        left = x + number * side
        light[y : y + side, left : left + side] = 0.9 * value
    carbon = 0.92
    percent = strength or float(rng.uniform(0, 3.5))
    for place, contrast in (
        (strip.carbon_mm, carbon),
        (strip.iron_gall_mm, carbon * percent / 100),
    ):
        middle = x + side / 2 - 0.5 + place * density
        left = round(middle - strip.line_mm * density / 2 + 0.5)
        light[y - 4 : y + side + 4, left : left + round(strip.line_mm * density)] *= 1 - contrast
    seen = (light + rng.normal(0, 0.0015, light.shape)).astype(np.float32)
    row = find_grey_row(seen, count=len(greys))
    if row is None:
        return None
    step = strip.infrared_step_mm
    lines = read_ink_lines(
        seen,
        row,
        carbon_steps=strip.carbon_mm / step,
        iron_gall_steps=strip.iron_gall_mm / step,
        width_steps=strip.line_mm / step,
    )
    return None if lines is None else 100 * lines.ratio
