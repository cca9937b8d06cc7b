"""Find even patches with straight sides: what charts, grey steps and reference patches are made of.

The picture is looked at after a tone curve (square root of light), so that a step between two dark
patches counts as much as one between two light ones. A pixel is even if nothing in its 3 × 3
neighbourhood differs by more than a threshold; a patch is a connected area of even pixels that
fills the smallest rectangle around it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from imaging_requests.imaging.measure.sampling import largest

Picture = NDArray[Any]

LEAST_AREA_PX = 12
LEAST_FILL = 0.72
MOST_ASPECT = 3.0
MOST_SHARE = 0.3
MOST_PATCHES = 4000
BORDER_PX = 2.0
"""What evenness costs at each end of a side: the neighbourhood and the blur of the edge."""


@dataclass(frozen=True, slots=True)
class Patches:
    """Even patches of a picture.

    ``centres``: x, y in px, shape (n, 2). ``sides``: the two side lengths in px, shape (n, 2), the
    first along ``angles`` (radians, from the x axis towards y, in [-pi/4, pi/4)). ``colours``: mean
    light, shape (n, channels).
    """

    centres: NDArray[np.float64]
    sides: NDArray[np.float64]
    angles: NDArray[np.float64]
    colours: NDArray[np.float64]

    def __len__(self) -> int:
        return len(self.centres)


def find_patches(light: Picture, *, step: float) -> Patches:
    """Find even patches.

    Args:
        light: float32 linear light 0 to 1, (rows, columns) or (rows, columns, 3).
        step: Largest difference inside a patch, in square root of light.

    Returns:
        Patches, none for a picture without any; the input is not modified.

    >>> picture = np.zeros((40, 60), np.float32)
    >>> picture[10:26, 20:36] = 0.5
    >>> find_patches(picture, step=0.03).centres.round(1).tolist()
    [[27.5, 17.5]]
    """
    channels = light[..., None] if light.ndim == 2 else light
    even = even_pixels(light, step)
    _, labels, stats, centres = cv2.connectedComponentsWithStats(even, connectivity=4)
    rows, columns = even.shape
    area = stats[:, cv2.CC_STAT_AREA]
    wide, tall = stats[:, cv2.CC_STAT_WIDTH], stats[:, cv2.CC_STAT_HEIGHT]
    likely = (area >= LEAST_AREA_PX) & (area >= 0.35 * wide * tall)
    likely &= (wide < MOST_SHARE * max(rows, columns)) & (tall < MOST_SHARE * max(rows, columns))
    likely[0] = False
    chosen = np.flatnonzero(likely)
    if len(chosen) > MOST_PATCHES:
        chosen = np.sort(chosen[np.argsort(-area[chosen])[:MOST_PATCHES]])
    found = []
    for label in chosen:
        x, y, w, h = stats[label, :4]
        window = labels[y : y + h, x : x + w] == label
        shape = _rectangle(window)
        if shape is None:
            continue
        sides, angle = shape
        colour = channels[y : y + h, x : x + w][window].mean(axis=0)
        found.append((centres[label], sides, angle, colour))
    if not found:
        empty = np.zeros((0, 2))
        return Patches(empty, empty, np.zeros(0), np.zeros((0, channels.shape[2])))
    return Patches(
        centres=np.array([each[0] for each in found], np.float64),
        sides=np.array([each[1] for each in found], np.float64),
        angles=np.array([each[2] for each in found], np.float64),
        colours=np.array([each[3] for each in found], np.float64),
    )


def even_pixels(light: Picture, step: float) -> NDArray[np.uint8]:
    """1 where nothing in the 3 × 3 neighbourhood differs by more than ``step``, else 0."""
    toned = cv2.sqrt(np.maximum(light, 0).astype(np.float32))
    if min(toned.shape[:2]) >= 3:
        toned = cv2.medianBlur(toned, 3)
    spread = cv2.morphologyEx(toned, cv2.MORPH_GRADIENT, np.ones((3, 3), np.uint8))
    even: NDArray[np.uint8] = (largest(spread) < step).astype(np.uint8)
    return even


def _rectangle(window: NDArray[np.bool_]) -> tuple[tuple[float, float], float] | None:
    """Sides and angle of the rectangle that a patch fills, or None if it fills none."""
    outlines, _ = cv2.findContours(
        window.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_SIMPLE
    )
    outline = max(outlines, key=len)
    _, (width, height), degrees = cv2.minAreaRect(outline)
    width, height = width + 1, height + 1
    filled = int(np.count_nonzero(window))
    if filled < LEAST_FILL * width * height or max(width, height) > MOST_ASPECT * min(
        width, height
    ):
        return None
    angle = np.deg2rad(degrees)
    if angle >= np.pi / 4:
        angle, width, height = angle - np.pi / 2, height, width
    elif angle < -np.pi / 4:
        angle, width, height = angle + np.pi / 2, height, width
    return (width + BORDER_PX, height + BORDER_PX), float(angle)
