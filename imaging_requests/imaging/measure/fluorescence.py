"""Ultraviolet fluorescence: did only the glow reach the camera, evenly and at the right level?

The target strip carries two fluorescent reference patches U (one far to the right), a white one W
that does not fluoresce (PTFE) below the first U, and a black one K below W. Light on W is light
that should have been blocked: W / U says how much, its colour says where it came from.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Any

import numpy as np
from numpy.typing import NDArray

from imaging_requests.imaging.measure.regions import Patches, find_patches
from imaging_requests.imaging.measure.sampling import TINY, as_light, luminance, patch_mean

STEP = 0.05
SQUARE = 1.25
ALIKE = 1.2
SAME_LIGHT = 2.5
GLOWING = 0.1
"""Least light of a reference patch as a share of the brightest square."""
INNER = 0.5
SLOPE_OFF = 0.3


class Source(StrEnum):
    """What unwanted light on the white patch looks like."""

    NONE = "none"
    VIOLET = "violet"
    NEUTRAL = "neutral"
    RED = "red"


@dataclass(frozen=True, slots=True)
class Glow:
    """The reference patches of a fluorescence frame; light is linear, R, G, B.

    ``first``, ``last``: light of both U; ``last`` is None if it is not in the frame. ``white``,
    ``black``: light of W and K. ``centre_px``, ``side_px``: first U.
    """

    first: NDArray[np.float64]
    last: NDArray[np.float64] | None
    white: NDArray[np.float64]
    black: NDArray[np.float64] | None
    centre_px: tuple[float, float]
    side_px: float
    last_px: tuple[float, float] | None

    @property
    def slip(self) -> float:
        """Light of W as a share of that of U (K, the dark of the set-up, taken off both)."""
        dark = 0.0 if self.black is None else float(self.black.mean())
        unwanted = max(0.0, float(self.white.mean()) - dark)
        return unwanted / max(float(self.first.mean()) - dark, TINY)

    @property
    def level(self) -> float:
        """Light of the first U, mean of the channels."""
        return float(self.first.mean())

    @property
    def unevenness(self) -> float | None:
        """Difference of both U as a share of their mean."""
        if self.last is None:
            return None
        one, other = float(self.first.mean()), float(self.last.mean())
        return abs(one - other) / max((one + other) / 2, TINY)

    @property
    def is_saturated(self) -> bool:
        """Whether U reaches the end of the scale, so that its level cannot be read."""
        return bool(self.first.max() >= 0.985)

    def source(self, *, violet_ratio: float, red_ratio: float) -> Source:
        """What the light on W is: violet-blue, red, or neutral as room light."""
        red, green, blue = (max(float(value), TINY) for value in self.white)
        if blue / green >= violet_ratio:
            return Source.VIOLET
        if red / green >= red_ratio:
            return Source.RED
        return Source.NEUTRAL


def find_glow(light: NDArray[Any], *, side_px: float | None = None) -> Glow | None:
    """Find the reference patches in a fluorescence frame that stands upright.

    Args:
        light: Linear light 0 to 1, (rows, columns, 3); not modified.
        side_px: Side of a reference patch if the density is known; without it two are needed that
            fit each other.

    Returns:
        What they show, or None if they are not there or not beyond doubt.
    """
    field = as_light(light)
    if field is None or field.ndim != 3 or field.shape[2] != 3:
        return None
    patches = find_patches(field, step=STEP)
    squares = _squares(patches, side_px)
    if not len(squares):
        return None
    pair = _pair(patches, squares)
    if pair is not None:
        return _read(field, patches, *pair)
    if side_px is None:
        return None
    alone = [index for index in squares if _is_first(field, patches, int(index))]
    return _read(field, patches, int(alone[0]), None) if len(alone) == 1 else None


def stray_light_corrected(
    glow: NDArray[Any], visible: NDArray[Any], *, glow_standard: float, visible_standard: float
) -> NDArray[Any]:
    """Fluorescence without the room light that the object reflected.

    corrected = UVL − (NL / NL_std99) · UVL_std99, with a 99 % standard that does not luminesce in
    both frames. Source: CHARISMA user manual for multispectral imaging 1.0 (2013), page 27.

    >>> float(stray_light_corrected(np.float64(60), np.float64(100), glow_standard=20,
    ...     visible_standard=200))
    50.0
    """
    return glow - visible / visible_standard * glow_standard


def _squares(patches: Patches, side_px: float | None) -> NDArray[np.int64]:
    """Numbers of bright squares, the brightest first."""
    if not len(patches):
        return np.zeros(0, np.int64)
    small, large = patches.sides.min(axis=1), patches.sides.max(axis=1)
    light = patches.colours.mean(axis=1)
    fits = large <= SQUARE * np.maximum(small, 1) + 1
    if side_px is not None:
        mean = patches.sides.mean(axis=1)
        fits &= (mean > side_px / ALIKE - 1) & (mean < side_px * ALIKE + 1)
    if not fits.any():
        return np.zeros(0, np.int64)
    fits &= light >= GLOWING * light[fits].max()
    chosen = np.flatnonzero(fits)
    return np.asarray(chosen[np.argsort(-light[chosen])][:60])


def _pair(patches: Patches, squares: NDArray[np.int64]) -> tuple[int, int] | None:
    """First and last U: alike in size and light, the last one a side lower and far to the right."""
    best: tuple[float, int, int] | None = None
    for first in squares:
        for last in squares:
            side = float(patches.sides[first].mean())
            across, down = patches.centres[last] - patches.centres[first]
            if across < 3 * side or abs(down - side) > SLOPE_OFF * side + 0.03 * across:
                continue
            ratio = float(patches.sides[last].mean()) / side
            one, other = patches.colours[first].mean(), patches.colours[last].mean()
            if not 1 / ALIKE < ratio < ALIKE or max(one, other) > SAME_LIGHT * min(one, other):
                continue
            score = float(min(one, other)) - 0.2 * abs(float(down) / side - 1)
            if best is None or score > best[0]:
                best = (score, int(first), int(last))
    return None if best is None else best[1:]


def _is_first(field: NDArray[Any], patches: Patches, index: int) -> bool:
    """Whether even squares of W and K lie below a patch, K darker than both."""
    centre, side = patches.centres[index], float(patches.sides[index].mean())
    below = [_at(field, centre, side, patches.angles[index], steps) for steps in (1, 2)]
    if below[0] is None or below[1] is None:
        return False
    white, black = float(below[0].mean()), float(below[1].mean())
    return black < 0.5 * float(patches.colours[index].mean()) and black <= white


def _at(
    field: NDArray[Any], centre: NDArray[np.float64], side: float, angle: float, steps: int
) -> NDArray[np.float64] | None:
    x = float(centre[0] - np.sin(angle) * side * steps)
    y = float(centre[1] + np.cos(angle) * side * steps)
    return patch_mean(field, (x, y), INNER * side, angle)


def _read(field: NDArray[Any], patches: Patches, first: int, last: int | None) -> Glow | None:
    centre, side = patches.centres[first], float(patches.sides[first].mean())
    angle = float(patches.angles[first])
    if last is not None:
        run = patches.centres[last] - centre
        angle = float(np.arctan2(run[1], run[0]) - np.arctan2(side, run[0]))
    white = _at(field, centre, side, angle, 1)
    if white is None:
        return None
    last_px = None
    if last is not None:
        last_px = (float(patches.centres[last][0]), float(patches.centres[last][1]))
    return Glow(
        first=patches.colours[first],
        last=None if last is None else patches.colours[last],
        white=white,
        black=_at(field, centre, side, angle, 2),
        centre_px=(float(centre[0]), float(centre[1])),
        side_px=side,
        last_px=last_px,
    )


def mean_light(light: NDArray[Any]) -> float | None:
    """Mean light of a frame, for ambient against lamp-on frames; None if it is no picture.

    >>> mean_light(np.full((4, 4, 3), 0.25))
    0.25
    """
    field = as_light(light)
    return None if field is None else float(luminance(field).mean(dtype=np.float64))
