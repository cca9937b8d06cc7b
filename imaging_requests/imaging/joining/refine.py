"""Where a patch truly lies: correlation to whole pixels, then least squares to hundredths.

The search correlates fine structure over the whole window. The refinement minimises, over shift,
gain, offset and an even slope of light, the squared difference between the template and the window
resampled at the shift (Gauss–Newton; Lucas and Kanade, 1981, with linear change of level, from
memory). Both pictures are smoothed alike first and resampled linearly, which may soften but does
not move. (The cubic of the picture library moves a smooth slope by up to 0.047 px: its kernel,
a = −0.75, does not reproduce a straight line.) The information matrix of the shift, with the levels
eliminated, says how well each direction is known: along a straight edge it is known across and not
along.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from imaging_requests.imaging.joining.patches import Patch
from imaging_requests.imaging.joining.words import Grey, Matrix

SMOOTH_SIGMA, COARSE_SIGMA = 1.0, 6.0
SEARCH_SIGMA = 1.2
ROUNDS = 10
DONE_PX = 0.01
"""A step this small is taken without resampling once more."""
SEARCH_SAMPLES = 4 * np.pi * SEARCH_SIGMA**2
"""Pixels per independent sample of the smoothed structure."""
CORRELATED_SAMPLES = 12.0
"""Smoothing with σ 1 px leaves one independent sample in 4πσ² = 12.6."""
MOST_LEFT = 0.75
"""A residual above this share of the template's own variation explains too little."""
FLOOR_PX = 0.003
SPOILT_PX = 3
RIDGE = 1e-9
LEAST_GAIN = 0.1


@dataclass(frozen=True, slots=True)
class Found:
    """A point of the first tile and where it lies on the second, in px of each.

    ``information``: 2 × 2, per px², in px of the second tile. ``z``: height of the correlation peak
    over what independent structure of the same size scatters. ``left``: what remains unexplained,
    share of the variation.
    """

    meeting: int
    first: int
    second: int
    first_xy: tuple[float, float]
    second_xy: tuple[float, float]
    information: Matrix
    z: float
    left: float


def locate(
    patch: Patch, *, guess: Matrix | None = None, doubt_px: float | None = None, least_z: float
) -> Found | None:
    """Find the template in the window; None if no peak stands out or the fit explains too little.

    ``guess``, ``doubt_px``: a better matrix from the first tile to the second than the plan's, and
    by how much it may still be off.
    """
    plan = patch.plan
    matrix = plan.guess if guess is None else guess
    box, rim = plan.template, plan.window
    middle = np.array([(box.left + box.right) / 2, (box.top + box.bottom) / 2])
    # window px of a template px, both counted from their own top left
    local = matrix[:2].copy()
    local[:, 2] += matrix[:2, :2] @ (box.left, box.top) - (rim.left, rim.top)
    start, z = _search(patch, local, plan.doubt_px if doubt_px is None else doubt_px)
    if start is None or z < least_z:
        return None
    local[:, 2] += start
    solved = _solve(patch.template, patch.window, local)
    if solved is None:
        return None
    local, information, left = solved
    there = local @ (middle[0] - box.left, middle[1] - box.top, 1.0) + (rim.left, rim.top)
    return Found(
        plan.meeting,
        plan.first,
        plan.second,
        (float(middle[0]), float(middle[1])),
        (float(there[0]), float(there[1])),
        information,
        z,
        left,
    )


def _search(patch: Patch, local: Matrix, doubt_px: float) -> tuple[Matrix | None, float]:
    """Return the whole-pixel correction of the guess and the height of its peak."""
    rows, columns = patch.template.shape
    reach = int(np.ceil(doubt_px))
    # the window seen in the template's raster, wide enough for every correction
    moved = local.copy()
    moved[:, 2] -= local[:, :2] @ (reach, reach)
    size = (columns + 2 * reach, rows + 2 * reach)
    seen = _warp(_band(patch.window, SEARCH_SIGMA), moved, size)
    template = _band(patch.template, SEARCH_SIGMA)
    energy = float((template.astype(np.float64) ** 2).sum())
    if energy <= 0:
        return None, 0.0
    sums = cv2.matchTemplate(seen, template, cv2.TM_CCORR)
    squares = cv2.boxFilter(
        seen * seen, cv2.CV_32F, (columns, rows), anchor=(0, 0), normalize=False
    )[: sums.shape[0], : sums.shape[1]]
    surface = sums / np.sqrt(np.maximum(squares, 1e-3 * energy) * energy)
    at_peak = np.unravel_index(int(np.argmax(surface)), surface.shape)
    z = float(surface[at_peak]) * float(np.sqrt(rows * columns / SEARCH_SAMPLES))
    shift = np.array([at_peak[1] - reach, at_peak[0] - reach], np.float64)
    return local[:, :2] @ shift, z


def _solve(template: Grey, window: Grey, local: Matrix) -> tuple[Matrix, Matrix, float] | None:
    """Return the refined matrix, the information of its shift, and what remains unexplained."""
    rows, columns = template.shape
    smooth_template = _smooth(template, SMOOTH_SIGMA)
    smooth_window = _smooth(window, SMOOTH_SIGMA)
    whole = _eroded(window.shape)
    ramp_y, ramp_x = np.mgrid[-1 : 1 : rows * 1j, -1 : 1 : columns * 1j].astype(np.float32)
    shading = (np.ones_like(ramp_x), ramp_x, ramp_y)
    held = _eroded(template.shape) > 0
    matrix = local.copy()
    delta = np.zeros(2)
    for _ in range(ROUNDS):
        seen = _warp(smooth_window, matrix, (columns, rows))
        inside = _warp(whole, matrix, (columns, rows)) > 0.999
        inside &= held
        count = int(inside.sum())
        if count < 4 * CORRELATED_SAMPLES:
            return None
        fixed = smooth_template[inside].astype(np.float64)
        gain = _gain(fixed, seen[inside])
        if gain is None:
            return None
        # mean slope of both: that of one alone would be biased by its own noise
        both = (seen * gain + smooth_template) / 2
        slope_x, slope_y = _slopes(both)
        columns_of = np.stack(
            [part[inside] for part in (slope_x, slope_y, seen, *shading)], axis=1
        ).astype(np.float64)
        normal = columns_of.T @ columns_of
        normal[np.diag_indices(len(normal))] *= 1 + RIDGE
        answer = np.linalg.solve(normal, columns_of.T @ fixed)
        delta = matrix[:, :2] @ answer[:2]
        size = float(np.hypot(*answer[:2]))
        if size > 3:
            return None
        if size <= DONE_PX:
            break
        matrix[:, 2] += delta
    else:
        return None
    rest = fixed - columns_of @ answer
    variance = float(np.mean(rest**2))
    left = float(np.sqrt(variance / max(_varying(fixed, columns_of[:, 3:]), 1e-12)))
    if left > MOST_LEFT:
        return None
    matrix[:, 2] += delta
    nuisance = normal[2:, 2:]
    eliminated = normal[:2, :2] - normal[:2, 2:] @ np.linalg.solve(nuisance, normal[2:, :2])
    information = eliminated / max(variance * CORRELATED_SAMPLES, 1e-12)
    # nothing is known better than the floor
    spread = np.linalg.inv(information + 1e-9 * np.eye(2)) + FLOOR_PX**2 * np.eye(2)
    return matrix, np.linalg.inv(spread), left


def _eroded(shape: tuple[int, ...]) -> Grey:
    """Return ones where smoothing saw true neighbours on all sides."""
    mask = np.zeros(shape, np.float32)
    mask[SPOILT_PX:-SPOILT_PX, SPOILT_PX:-SPOILT_PX] = 1
    return mask


def _gain(template: NDArray[np.float64], seen: Grey) -> float | None:
    """Return the ratio of the levels' variations; None if it makes no sense."""
    spread, other = float(template.std()), float(seen.std())
    if other <= 0 or not LEAST_GAIN < spread / other < 1 / LEAST_GAIN:
        return None
    return spread / other


def _varying(levels: NDArray[np.float64], shading: NDArray[np.float64]) -> float:
    """Return the variance that is left when an even slope of light is taken out."""
    answer = np.linalg.solve(shading.T @ shading, shading.T @ levels)
    return float(np.mean((levels - shading @ answer) ** 2))


def _slopes(image: Grey) -> tuple[Grey, Grey]:
    slope_x, slope_y = np.zeros_like(image), np.zeros_like(image)
    slope_x[:, 1:-1] = (image[:, 2:] - image[:, :-2]) / 2
    slope_y[1:-1] = (image[2:] - image[:-2]) / 2
    return slope_x, slope_y


def _smooth(image: Grey, sigma: float) -> Grey:
    smooth: Grey = cv2.GaussianBlur(image, (0, 0), sigma, borderType=cv2.BORDER_REFLECT)
    return smooth


def _band(image: Grey, sigma: float) -> Grey:
    band: Grey = _smooth(image, sigma) - _smooth(image, COARSE_SIGMA)
    return band


def _warp(image: Grey, matrix: Matrix, size: tuple[int, int]) -> Grey:
    warped: Grey = cv2.warpAffine(
        image,
        matrix,
        size,
        flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
        borderMode=cv2.BORDER_CONSTANT,
    )
    return warped
