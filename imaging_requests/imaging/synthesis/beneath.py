"""What lies under the paint: the drawing in carbon, and an earlier composition painted over."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from .brushwork import Design, plain_tone
from .grid import Grid, generator, lightness, smooth_noise, smoothstep
from .pigments import answers
from .scenes.composition import compose_design
from .spec import PaintingSpec
from .vocabulary import Map, Subject, Support

# Shares of paintings with something underneath when the spec leaves it to the seed.
HIDDEN_SHARE = 0.55
REDUCTION = 0.42
USUAL_HIDDEN = (
    Subject.PORTRAIT_MAN,
    Subject.PORTRAIT_WOMAN,
    Subject.STILL_LIFE,
    Subject.SEASCAPE,
    Subject.SAINT,
)


@dataclass(frozen=True, kw_only=True)
class Hidden:
    """An earlier composition on the same support.

    Attributes:
        subject: What it shows.
        quarter_turns: How often the support was turned clockwise before it was used again.
        tone: Its colours, square roots of linear RGB, on the face's grid.
        x_ray: Its attenuation.
    """

    subject: Subject
    quarter_turns: int
    tone: Map
    x_ray: Map


def hidden_composition(spec: PaintingSpec, grid: Grid) -> Hidden | None:
    """The earlier composition, if the spec asks for one or the seed says so; never on copper."""
    rng = generator(spec.seed, "hidden")
    subject = spec.hidden_subject
    if subject is None:
        if spec.support is Support.COPPER or rng.random() > HIDDEN_SHARE:
            return None
        choice = [s for s in USUAL_HIDDEN if s is not spec.subject]
        subject = choice[int(rng.integers(len(choice)))]
    turns = _turns(subject, grid, rng)
    width, height = (
        (grid.width_mm, grid.height_mm) if turns % 2 == 0 else (grid.height_mm, grid.width_mm)
    )
    small = Grid(width, height, grid.px_per_mm * REDUCTION)
    tone = plain_tone(compose_design(subject, small, rng))
    shape = tone.shape[:2]
    heavy = answers(tone.reshape(-1, 3))[:, 1].reshape(shape)
    strokes = smooth_noise(rng, shape, (max(4.0, small.px(22)), max(2.0, small.px(4))), octaves=2)
    heavy = heavy * (1 + 0.14 * strokes)
    size = grid.shape[1::-1]
    full = [
        cv2.resize(np.rot90(part, -turns), size, interpolation=cv2.INTER_LINEAR)
        for part in (tone, heavy.astype(np.float32))
    ]
    return Hidden(subject=subject, quarter_turns=turns, tone=full[0], x_ray=full[1])


def _turns(subject: Subject, grid: Grid, rng: np.random.Generator) -> int:
    """Upright subjects want an upright support; else the support may stand on its head."""
    is_upright = subject not in (Subject.SEASCAPE, Subject.HARBOUR, Subject.REGATTA)
    if is_upright != (grid.height_mm >= grid.width_mm):
        return 1 if rng.random() < 0.5 else 3
    return 2 if rng.random() < 0.5 else 0


def underdrawing(design: Design, grid: Grid, rng: np.random.Generator) -> Map:
    """Lines of the first drawing, 0 to 1: contours a little astray, hatching in the shadows."""
    light = lightness(plain_tone(design))
    rows, columns = light.shape
    fine = max(0.9, grid.px(1.1))
    soft = cv2.GaussianBlur(light, (0, 0), fine)
    wide = cv2.GaussianBlur(soft, (0, 0), 2.1 * fine)
    contour = smoothstep(0.016, 0.060, wide - soft)
    dark = smoothstep(0.42, 0.22, cv2.GaussianBlur(light, (0, 0), max(1.0, grid.px(6))))
    wanted = smoothstep(0.38, 0.62, design.detail)
    x, y = grid.axes_mm()
    sway = 2.2 * smooth_noise(rng, (rows, columns), grid.px(60))
    phase = (x * np.float32(0.62) + y * np.float32(0.78) + sway) / np.float32(4.2)
    hatch = smoothstep(0.42, 0.5, np.abs(phase - np.floor(phase) - 0.5))
    pressure = smoothstep(-1.4, 0.6, smooth_noise(rng, (rows, columns), grid.px(30), octaves=2))
    lines = np.maximum(0.95 * contour, 0.55 * hatch * dark * wanted) * pressure
    astray = grid.px(2.4)
    dx = astray * smooth_noise(rng, (rows, columns), grid.px(120))
    dy = astray * smooth_noise(rng, (rows, columns), grid.px(120))
    base_x = np.arange(columns, dtype=np.float32)[None, :]
    base_y = np.arange(rows, dtype=np.float32)[:, None]
    return cv2.remap(
        lines.astype(np.float32),
        base_x + dx,
        base_y + dy,
        cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_REPLICATE,
    )


def infrared_with(infrared: Map, drawing: Map, hidden: Hidden | None) -> Map:
    """Infrared reflectance of the whole stack: paint lets the drawing through where it is light."""
    through = 0.25 + 0.75 * smoothstep(0.15, 0.75, infrared)
    stack = infrared * (1 - 0.68 * drawing * through)
    if hidden is not None:
        veil = smoothstep(0.45, 0.10, lightness(hidden.tone))
        stack = stack * (1 - 0.22 * veil * through)
    return stack.astype(np.float32)
