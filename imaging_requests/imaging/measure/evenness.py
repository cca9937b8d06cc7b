"""Evenness: flat field and light fall-off, banding of continuous light, steps between tiles."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from imaging_requests.imaging.measure.delta_e import lightness
from imaging_requests.imaging.measure.sampling import as_light, luminance

GRID = (9, 7)
LEAST_ROWS = 64
TINY = 1e-9


@dataclass(frozen=True, slots=True)
class Field:
    """Light over a flat field.

    ``range_l``: largest difference of L* between any two of 9 × 7 places. ``fall_off_ev``: darkest
    corner against the middle, stops (negative if darker). ``residual``: half of the range of light
    as a share of its mean.
    """

    range_l: float
    fall_off_ev: float
    residual: float


def measure_field(light: NDArray[Any], *, reference: NDArray[Any] | None = None) -> Field | None:
    """Measure how even a flat field is.

    Args:
        light: Linear light of an even board, (rows, columns) or (rows, columns, 3); not modified.
        reference: The flat field that corrects it: what is left over is measured.

    Returns:
        The field; None for no picture, other size of reference, or no light.

    >>> x = np.linspace(-1, 1, 90, dtype=np.float32)
    >>> board = np.full((70, 90), 0.5, np.float32) * (1 - 0.1 * x**2)
    >>> measure_field(board).range_l > 2
    True
    """
    field = as_light(light)
    if field is None or min(field.shape[:2]) < max(GRID):
        return None
    grey = luminance(field)
    if reference is not None:
        flat = as_light(reference)
        if flat is None or flat.shape[:2] != grey.shape:
            return None
        even = luminance(flat)
        grey = grey / np.maximum(even, TINY) * np.float32(even.mean())
    if grey.mean() < 0.003:
        return None
    places = cv2.resize(grey, GRID, interpolation=cv2.INTER_AREA).astype(np.float64)
    level = lightness(places)
    corners = places[[0, 0, -1, -1], [0, -1, 0, -1]]
    middle = float(places[places.shape[0] // 2, places.shape[1] // 2])
    return Field(
        range_l=float(level.max() - level.min()),
        fall_off_ev=float(np.log2(max(float(corners.min()), TINY) / max(middle, TINY))),
        residual=float((places.max() - places.min()) / 2 / places.mean()),
    )


def banding(parts: Sequence[NDArray[Any]]) -> float | None:
    """Strength of a regular pattern from row to row, as a share of the light (mains flicker).

    Light that flickers while rows are read one after the other bands the whole width alike. So
    parts from several places of the width are compared: only what they have in common counts (the
    real part of their cross spectra), and only a line that stands out of the rest of the spectrum.

    Args:
        parts: Linear light of the same rows at different places, (rows, columns) each, best of even
            ground; at least two of 64 rows or more. Not modified.

    Returns:
        Half of the pattern's range as a share of the mean, 0 if no line stands out of the rest;
        None if the parts do not fit or hold no light.

    >>> rows = 1 + 0.02 * np.sin(np.arange(256) * 2 * np.pi / 16)
    >>> round(banding([np.outer(rows, np.full(64, 0.5)), np.outer(rows, np.full(64, 0.3))]), 3)
    0.018
    """
    spectra = []
    for part in parts:
        field = as_light(part)
        if field is None or field.shape[0] < LEAST_ROWS:
            return None
        grey = luminance(field)
        rows = np.median(grey, axis=1).astype(np.float64)
        if float(rows.mean()) < 0.003:
            return None
        reach = 2 * (len(rows) // 12) + 1
        smooth = cv2.blur(rows[:, None], (1, reach), borderType=cv2.BORDER_REFLECT)[:, 0]
        ratio = rows / np.maximum(smooth, 1e-4) - 1
        window = np.hanning(len(ratio))
        spectra.append(np.fft.rfft((ratio - ratio.mean()) * window) * 2 / window.sum())
    if len(spectra) < 2 or len({len(each) for each in spectra}) > 1:
        return None
    cross = [
        (one * other.conj()).real for i, one in enumerate(spectra) for other in spectra[i + 1 :]
    ]
    common = np.sqrt(np.maximum(np.median(cross, axis=0), 0))
    alone = np.median(np.abs(spectra), axis=0)
    first = max(4, len(common) // 80)
    strongest = float(common[first:].max())
    return strongest if strongest > 6 * float(np.median(alone[first:])) else 0.0


def exposure_step(one: NDArray[Any], other: NDArray[Any]) -> float | None:
    """Difference in light of two tiles where they overlap, stops.

    >>> round(exposure_step(np.full((8, 8), 0.2), np.full((8, 8), 0.25)), 3)
    0.322
    """
    first, second = as_light(one), as_light(other)
    if first is None or second is None or first.shape != second.shape:
        return None
    a, b = luminance(first), luminance(second)
    usable = (a > 0.002) & (b > 0.002) & (a < 0.97) & (b < 0.97)
    if usable.sum() < max(8, 0.02 * usable.size):
        return None
    return float(np.median(np.log2(b[usable].astype(np.float64) / a[usable])))


def sharpness_ratio(one: NDArray[Any], other: NDArray[Any]) -> float | None:
    """Fine detail of the second of two overlapping parts over that of the first.

    See ``sharpness_of_parts``; 1 for equal sharpness, below 1 if the second is softer.
    """
    return sharpness_of_parts([one], [other])


def sharpness_of_parts(
    ones: Sequence[NDArray[Any]], others: Sequence[NDArray[Any]]
) -> float | None:
    """Fine detail of the second of two overlapping pictures over that of the first.

    Ratio of the energies between a sixteenth and a quarter of a cycle per pixel, each part divided
    by its own mean so that exposure does not count, noise taken off by what lies above 0.4;
    square root, so it goes with the amplitude. Parts with much detail count as much more.

    Args:
        ones, others: Linear light of the same places in both pictures, at least 64 px each way; a
            few px beside each other does no harm. Not modified.

    Returns:
        1 for equal sharpness, below 1 if the second is softer; None if neither shows more detail
        than noise, or no parts go together.

    >>> part = np.random.default_rng(1).random((96, 96)).astype(np.float32)
    >>> part = cv2.GaussianBlur(part, (0, 0), 1.0)
    >>> sharpness_of_parts([part], [cv2.GaussianBlur(part, (0, 0), 2.0)]) < 0.5
    True
    """
    energies, noises = np.zeros(2), np.zeros(2)
    for one, other in zip(ones, others, strict=True):
        first, second = as_light(one), as_light(other)
        if first is None or second is None or first.shape != second.shape:
            continue
        if min(first.shape[:2]) < LEAST_ROWS:
            continue
        for number, field in enumerate((first, second)):
            energy, noise = _detail(luminance(field))
            energies[number] += energy
            noises[number] += noise
    sharper = int(np.argmax(energies))
    if energies[sharper] <= noises[sharper] or energies[0] <= 0:
        return None
    return float(np.sqrt(energies[1] / energies[0]))


def seam_step(joined: NDArray[Any], at: int, *, is_upright: bool) -> float | None:
    """Step of light across a seam as a share of the picture's range.

    Row by row the difference across the seam, less the mean of the differences on both sides of it,
    which the picture itself has; the median over all rows leaves the subject out.

    Args:
        joined: Levels or light, (rows, columns); not modified.
        at: Column (upright seam) or row of the first pixel beyond the seam.

    Returns:
        Median step over the seam's length / (99th − 1st percentile), with its sign; or None.

    >>> picture = np.tile(np.linspace(0, 1, 64), (64, 1)); picture[:, 32:] += 0.05
    >>> round(seam_step(picture, 32, is_upright=True), 2)
    0.05
    """
    field = as_light(joined)
    if field is None or field.ndim != 2:
        return None
    grey = field if is_upright else field.T
    if not 2 <= at <= grey.shape[1] - 2:
        return None
    low, high = np.percentile(grey, (1, 99))
    if high - low < 1e-6:
        return None
    steps = np.diff(grey[:, at - 2 : at + 2].astype(np.float64), axis=1)
    across = steps[:, 1] - (steps[:, 0] + steps[:, 2]) / 2
    return float(np.median(across) / (high - low))


def _detail(grey: NDArray[Any]) -> tuple[float, float]:
    """Energy of fine detail without noise, and that of the noise, both as shares of the mean."""
    toned = np.sqrt(np.maximum(grey, 0)).astype(np.float64)
    mean = float(toned.mean())
    if mean <= 0:
        return 0.0, 0.0
    toned = toned / mean - 1
    window = np.outer(np.hanning(toned.shape[0]), np.hanning(toned.shape[1]))
    power = np.abs(np.fft.rfft2(toned * window)) ** 2
    fy = np.fft.fftfreq(toned.shape[0])[:, None]
    fx = np.fft.rfftfreq(toned.shape[1])[None, :]
    radius = np.hypot(fx, fy)
    noise = float(np.median(power[radius > 0.4])) / float(np.log(2))
    band = power[(radius > 1 / 16) & (radius < 1 / 4)]
    return float(np.maximum(band.mean() - noise, 0)), noise
