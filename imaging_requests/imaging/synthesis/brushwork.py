"""From a design to paint: layers of brush strokes, broad to fine, each with hairs and a ridge.

Every stroke of a layer is drawn as its number into one index map; its colour, angle and thickness
are then looked up for all pixels at once, and the hairs follow from the place within the stroke.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from .grid import Grid, blur, lightness, smooth_noise, smoothstep
from .maps import Picture
from .pigments import answers
from .vocabulary import Map


@dataclass(frozen=True, kw_only=True)
class Accent:
    """A line of the finishing brush: path in px, (n, 2) as x, y; one tone."""

    path: Map
    width_px: float
    tone: Map
    alpha: float
    body_mm: float


@dataclass(frozen=True, kw_only=True)
class Design:
    """What the painter has in mind.

    Attributes:
        tone: (rows, columns, 3), square roots of linear working RGB, 0 to 1.
        angle: Direction of the brush, radians from the x axis towards y.
        detail: 0 where broad strokes do, 1 where only the finest will.
        gloss: Gilding, 0 to 1.
        accents: Lines drawn over the strokes, in order.
        order: How many of the accents lie behind what is seen at each pixel; None for none.
    """

    tone: Map
    angle: Map
    detail: Map
    gloss: Map
    accents: tuple[Accent, ...] = ()
    order: NDArray[np.int32] | None = None


@dataclass(frozen=True, kw_only=True)
class Layer:
    """One pass over the canvas.

    Attributes:
        width, length: Size of a stroke as a share of the square root of the face's area.
        cover: Strokes per area of one stroke.
        wander: Standard deviation of the angle, radians.
        colour_jitter: Standard deviation of the lightness between strokes.
        detail: Strokes fall only where the design's detail exceeds this.
        body_mm: Thickness of the paint.
        dryness: 0 a loaded brush, 1 a nearly dry one.
        restraint: How strictly a stroke stops where the design has another colour.
    """

    width: float
    length: float
    cover: float
    wander: float
    colour_jitter: float
    detail: float
    body_mm: float
    dryness: float
    restraint: float


MANNER = (
    Layer(
        width=0.040,
        length=0.150,
        cover=2.2,
        wander=0.30,
        colour_jitter=0.022,
        detail=-1,
        body_mm=0.05,
        dryness=0.35,
        restraint=36,
    ),
    Layer(
        width=0.016,
        length=0.070,
        cover=2.2,
        wander=0.22,
        colour_jitter=0.020,
        detail=0.12,
        body_mm=0.07,
        dryness=0.45,
        restraint=90,
    ),
    Layer(
        width=0.0075,
        length=0.034,
        cover=2.0,
        wander=0.18,
        colour_jitter=0.016,
        detail=0.34,
        body_mm=0.09,
        dryness=0.40,
        restraint=120,
    ),
    Layer(
        width=0.0036,
        length=0.016,
        cover=1.8,
        wander=0.14,
        colour_jitter=0.012,
        detail=0.60,
        body_mm=0.08,
        dryness=0.30,
        restraint=150,
    ),
)
STEPS = 4


def lay_paint(
    design: Design, grid: Grid, rng: np.random.Generator, *, manner: tuple[Layer, ...] = MANNER
) -> Picture:
    """Paint the design.

    Returns:
        The paint layer on the design's grid, with properties by pigment.
    """
    size = float(np.sqrt(design.tone.shape[0] * design.tone.shape[1]))
    painted = design.tone.copy()
    impasto = np.zeros(design.tone.shape[:2], np.float32)
    hairs = _hair_texture(rng)
    wanted = _wanted_detail(design)
    for layer in manner:
        width = max(1.6, layer.width * size)
        length = max(4.0, layer.length * size)
        _lay(painted, impasto, design, wanted, layer, width, length, hairs, rng)
    finish = (0.72 * smoothstep(0.45, 0.95, wanted))[..., None]
    painted += (design.tone - painted) * finish
    draw_accents(painted, impasto, design)
    tone = np.clip(painted, 0, 1)
    answer = _answer_map(tone)
    return Picture(
        paint=tone * tone,
        impasto_mm=impasto,
        infrared=answer[..., 0].copy(),
        fluorescence=answer[..., 2:5].copy(),
        x_ray=answer[..., 1] * (0.75 + 3.0 * impasto),
        gloss=design.gloss,
    )


def plain_tone(design: Design) -> Map:
    """The design's colours with its fine lines, without strokes."""
    tone = design.tone.copy()
    draw_accents(tone, np.zeros(tone.shape[:2], np.float32), design)
    return np.clip(tone, 0, 1)


def _wanted_detail(design: Design) -> Map:
    """Detail asked for, and more wherever the design has an edge."""
    light = lightness(design.tone)
    sigma = max(0.8, 0.0016 * float(np.sqrt(light.size)))
    soft = cv2.GaussianBlur(light, (0, 0), sigma)
    slope = cv2.magnitude(
        cv2.Sobel(soft, cv2.CV_32F, 1, 0, ksize=3), cv2.Sobel(soft, cv2.CV_32F, 0, 1, ksize=3)
    )
    edge = cv2.dilate(slope * np.float32(sigma), np.ones((3, 3), np.uint8))
    return np.maximum(design.detail, 0.85 * smoothstep(0.02, 0.30, edge)).astype(np.float32)


def draw_accents(painted: Map, impasto: Map, design: Design) -> None:
    """Lines of the finishing brush onto tones and impasto, in place, in order."""
    rows, columns = impasto.shape
    accents = design.accents
    if not accents:
        return
    for number, accent in enumerate(accents):
        width = max(1, round(accent.width_px))
        low = np.floor(accent.path.min(0)).astype(int) - width - 2
        high = np.ceil(accent.path.max(0)).astype(int) + width + 3
        x0, y0 = max(0, int(low[0])), max(0, int(low[1]))
        x1, y1 = min(columns, int(high[0])), min(rows, int(high[1]))
        if x0 >= x1 or y0 >= y1:
            continue
        mask = np.zeros((y1 - y0, x1 - x0), np.uint8)
        path = np.round((accent.path - (x0, y0)) * 16).astype(np.int32)
        cv2.polylines(mask, [path], False, 255, width, cv2.LINE_AA, 4)
        alpha = mask.astype(np.float32) * np.float32(
            accent.alpha * min(1.0, max(accent.width_px, 0.3)) / 255
        )
        if design.order is not None:
            alpha *= design.order[y0:y1, x0:x1] <= number
        part = painted[y0:y1, x0:x1]
        part += (accent.tone - part) * alpha[..., None]
        impasto[y0:y1, x0:x1] += np.float32(accent.body_mm) * alpha


def _answer_map(tone: Map) -> Map:
    """Pigment answers of every pixel, computed on a copy of half the size."""
    rows, columns = tone.shape[:2]
    small = cv2.resize(
        tone, (max(2, columns // 2), max(2, rows // 2)), interpolation=cv2.INTER_AREA
    )
    flat = answers(small.reshape(-1, 3)).reshape(*small.shape[:2], 5)
    return cv2.resize(flat, (columns, rows), interpolation=cv2.INTER_LINEAR)


def _hair_texture(rng: np.random.Generator) -> Map:
    """Streaks as hairs leave them: rows are places across the brush, columns places along it."""
    return smooth_noise(rng, (512, 512), (90.0, 2.2), octaves=2) * np.float32(0.5)


def _lay(
    painted: Map,
    impasto: Map,
    design: Design,
    wanted: Map,
    layer: Layer,
    width: float,
    length: float,
    hairs: Map,
    rng: np.random.Generator,
) -> None:
    """One layer of strokes onto tones and impasto, in place."""
    rows, columns = impasto.shape
    place = _places(wanted, layer, width * length / layer.cover, rng)
    if len(place) == 0:
        return
    path, angle = _paths(place, design.angle, length, layer.wander, rng)
    index = np.zeros((rows, columns), np.float32)
    thickness = max(1, round(width))
    for one, line in enumerate(np.round(path * 8).astype(np.int32)):
        cv2.polylines(index, [line], False, float(one + 1), thickness, cv2.LINE_8, 3)
    covered = np.flatnonzero(index.ravel())
    number = index.ravel().take(covered).astype(np.int32) - 1
    y, x = np.divmod(covered.astype(np.int32), np.int32(columns))
    along, across = _inside(x, y, place, angle, number)
    along *= np.float32(1 / length)
    across *= np.float32(1 / width)
    load = _hairs(hairs, along * length, across, number, rng)
    away = np.abs(across)
    flat = painted.reshape(-1, 3)
    laid = _colours(design.tone, place, layer, rng).take(number, axis=0)
    stray = laid - design.tone.reshape(-1, 3).take(covered, axis=0)
    alpha = smoothstep(0.5, 0.5 - min(0.45, 0.9 / width), away)
    alpha *= 1 - np.float32(layer.dryness) * smoothstep(0.05, 0.55, along + 0.12 * load)
    alpha *= np.minimum(0.92 + 0.22 * load, 1)
    alpha *= np.exp(-np.float32(layer.restraint) * np.einsum("ij,ij->i", stray, stray))
    light = lightness(laid)
    laid *= (1 + np.float32(0.055) * load)[:, None]
    before = flat.take(covered, axis=0)
    laid -= before
    laid *= alpha[:, None]
    laid += before
    flat[covered] = laid
    ridge = 0.65 + 0.5 * load + 0.5 * smoothstep(0.22, 0.46, away)
    body = np.float32(layer.body_mm) * ridge * (0.35 + 1.1 * light)
    thick = impasto.reshape(-1)
    there = thick.take(covered)
    thick[covered] = there + (body - 0.5 * there) * alpha


def _places(
    detail: Map, layer: Layer, area: float, rng: np.random.Generator
) -> NDArray[np.float32]:
    """Middles of the strokes, jittered on a grid and shuffled, (n, 2) as x, y."""
    rows, columns = detail.shape
    step = max(1.5, float(np.sqrt(area)))
    x, y = np.meshgrid(np.arange(step / 2, columns, step), np.arange(step / 2, rows, step))
    place = np.stack([x.ravel(), y.ravel()], 1) + rng.uniform(-0.6, 0.6, (x.size, 2)) * step
    place[:, 0] = np.clip(place[:, 0], 0, columns - 1)
    place[:, 1] = np.clip(place[:, 1], 0, rows - 1)
    wanted = detail[place[:, 1].astype(int), place[:, 0].astype(int)] > layer.detail
    return rng.permutation(place[wanted]).astype(np.float32)


def _paths(
    place: NDArray[np.float32],
    field: Map,
    length: float,
    wander: float,
    rng: np.random.Generator,
) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Curved centre lines that follow the field, (n, points, 2), and the angle at the middle."""
    rows, columns = field.shape
    turn = rng.normal(0, wander, len(place)).astype(np.float32)
    size = (length * rng.uniform(0.6, 1.25, len(place)) / (2 * STEPS)).astype(np.float32)

    def angle_at(point: NDArray[np.float32]) -> NDArray[np.float32]:
        x = np.clip(point[:, 0], 0, columns - 1).astype(int)
        y = np.clip(point[:, 1], 0, rows - 1).astype(int)
        return np.asarray(field[y, x] + turn, np.float32)

    middle = angle_at(place)
    points = [place]
    for sign in (-1, 1):
        point, previous = place, middle
        for _ in range(STEPS):
            angle = angle_at(point)
            angle = previous + np.clip(
                np.arctan2(np.sin(angle - previous), np.cos(angle - previous)), -0.35, 0.35
            )
            step = np.stack([np.cos(angle), np.sin(angle)], 1) * size[:, None] * sign
            point, previous = (point + step).astype(np.float32), angle
            points = [point, *points] if sign < 0 else [*points, point]
    return np.stack(points, 1), middle


def _colours(
    tone: Map, place: NDArray[np.float32], layer: Layer, rng: np.random.Generator
) -> NDArray[np.float32]:
    """Colour loaded on the brush for each stroke: the design's, a little lighter, warmer or not."""
    x, y = place[:, 0].astype(int), place[:, 1].astype(int)
    colour = tone[y, x]
    lighter = rng.normal(0, layer.colour_jitter, (len(place), 1))
    warmer = rng.normal(0, layer.colour_jitter * 0.45, (len(place), 1)) * [[1.0, 0.1, -1.0]]
    loaded = colour * (1 + 1.5 * lighter) + 0.35 * lighter + warmer
    return np.asarray(np.clip(loaded, 0.01, 1), np.float32)


def _inside(
    x: NDArray[np.int32],
    y: NDArray[np.int32],
    place: NDArray[np.float32],
    angle: NDArray[np.float32],
    number: NDArray[np.int32],
) -> tuple[Map, Map]:
    """Place of each pixel within its stroke: along and across, px from its middle."""
    dx = x.astype(np.float32) - place[:, 0].take(number)
    dy = y.astype(np.float32) - place[:, 1].take(number)
    cos, sin = np.cos(angle).take(number), np.sin(angle).take(number)
    return dx * cos + dy * sin, dy * cos - dx * sin


def _hairs(
    hairs: Map, along: Map, across: Map, number: NDArray[np.int32], rng: np.random.Generator
) -> Map:
    """Load of paint left by the hairs at each pixel, mean 0."""
    offset = rng.integers(0, 512, (int(number.max()) + 1, 2)).astype(np.float32)
    row = (across * 40 + offset[:, 0].take(number)).astype(np.int32) & 511
    column = (along * 60 + offset[:, 1].take(number)).astype(np.int32) & 511
    return np.asarray(hairs.ravel().take(row * 512 + column))


__all__ = ["MANNER", "Design", "Layer", "blur", "lay_paint"]
