"""Read the patches of a found chart and hold them against its reference colours.

Means are taken in linear light over the inner half of each patch, so neither blur nor a frame
between patches gets in; noise is the standard deviation of L* after a plane has been taken away.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from imaging_requests.imaging.measure.chart_find import FoundChart
from imaging_requests.imaging.measure.delta_e import delta_e_2000, lightness, xyz_to_lab
from imaging_requests.imaging.measure.encoding import Encoding
from imaging_requests.imaging.measure.lattice import project

INNER = 0.25
"""Margin of a patch that is left out on each side, as a share of its side."""
LEAST_PX = 9
MID_GREY_L = 50.0


@dataclass(frozen=True, slots=True)
class PatchReadings:
    """What the patches of a chart show.

    ``lab``: mean colour (D50), shape (n, 3). ``noise_l``: standard deviation of L*, shape (n,).
    ``light``: mean linear light, shape (n, 3). ``clipped``: share of pixels at either end of the
    scale in any channel, shape (n,).
    """

    lab: NDArray[np.float64]
    noise_l: NDArray[np.float64]
    light: NDArray[np.float64]
    clipped: NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class ColourReport:
    """A chart against its reference; numbers of patches are counted from 1, as on the chart."""

    mean_de00: float
    max_de00: float
    worst_patch: int
    p90_de00: float
    grey_delta_l: float
    grey_patch: int
    neutrality: float
    neutral_patch: int
    noise_l: float
    noise_patch: int
    tone: tuple[tuple[float, float], ...]


def read_patches(
    share: NDArray[Any], chart: FoundChart, encoding: Encoding
) -> PatchReadings | None:
    """Read every patch of a chart.

    Args:
        share: Levels as a share of full scale, (rows, columns, 3), the picture or a part of it in
            whose px the chart is given.
        chart: Where the chart lies.
        encoding: How levels stand for light; its matrix must lead to XYZ.

    Returns:
        Readings, or None if a patch lies outside the picture or is smaller than 3 × 3 px.
    """
    if share.ndim != 3 or share.shape[2] != 3 or encoding.matrix is None:
        return None
    light, noise, clipped = [], [], []
    for patch in range(chart.edition.patches):
        pixels = _inner_pixels(share, chart, patch)
        if pixels is None:
            return None
        levels, at = pixels
        linear = encoding.to_light(levels)
        light.append(linear.mean(axis=0))
        noise.append(_noise(lightness(linear @ encoding.matrix[1]), at))
        clipped.append(float(((levels >= 0.999) | (levels <= 0.001)).any(axis=1).mean()))
    means = np.array(light)
    lab = xyz_to_lab(means @ encoding.matrix.T)
    return PatchReadings(lab, np.array(noise), means, np.array(clipped))


def compare_with_reference(readings: PatchReadings, chart: FoundChart) -> ColourReport:
    """Hold readings against the edition's reference.

    ΔE00 over all patches, mean, largest and 90th percentile (linear interpolation); on the greys
    the largest difference of L* and the largest distance in a*, b*; noise on the grey nearest
    L* 50; tone as pairs of reference and measured L* of the greys, dark to light.
    """
    reference = chart.edition.lab
    delta_e = delta_e_2000(readings.lab, reference)
    greys = np.array(chart.edition.greys)
    off = readings.lab[greys] - reference[greys]
    off_l, off_ab = np.abs(off[:, 0]), np.hypot(off[:, 1], off[:, 2])
    middle = int(greys[np.argmin(np.abs(reference[greys, 0] - MID_GREY_L))])
    order = greys[np.argsort(reference[greys, 0])]
    return ColourReport(
        mean_de00=float(delta_e.mean()),
        max_de00=float(delta_e.max()),
        worst_patch=int(delta_e.argmax()) + 1,
        p90_de00=float(np.percentile(delta_e, 90)),
        grey_delta_l=float(off_l.max()),
        grey_patch=int(greys[off_l.argmax()]) + 1,
        neutrality=float(off_ab.max()),
        neutral_patch=int(greys[off_ab.argmax()]) + 1,
        noise_l=float(readings.noise_l[middle]),
        noise_patch=middle + 1,
        tone=tuple((float(reference[i, 0]), float(readings.lab[i, 0])) for i in order),
    )


def gain_modulation(sample: tuple[float, float], reference: tuple[float, float]) -> float:
    """Gain between two grey steps: (L*s,i − L*s,i+1) / (L*ref,i − L*ref,i+1).

    Source: Metamorfoze Preservation Imaging Guidelines 1.0 (2012), 1.6, with its worked example.

    >>> round(gain_modulation((94.54, 88.95), (95.56, 84.95)), 4)
    0.5269
    """
    return (sample[0] - sample[1]) / (reference[0] - reference[1])


def patch_outline(chart: FoundChart, patch: int, margin: float = INNER) -> NDArray[np.float64]:
    """Corners in px of the inner part of a patch (number counted from 0)."""
    x, y = chart.edition.cell(patch)
    low, high = margin, 1 - margin
    square = np.array([[low, low], [high, low], [high, high], [low, high]]) + np.array([x, y])
    return project(chart.to_px, square)


def _inner_pixels(
    share: NDArray[Any], chart: FoundChart, patch: int
) -> tuple[NDArray[np.float64], NDArray[np.float64]] | None:
    """Levels and px positions inside a patch."""
    corners = patch_outline(chart, patch)
    left, top = np.floor(corners.min(axis=0)).astype(int)
    right, bottom = np.ceil(corners.max(axis=0)).astype(int) + 1
    rows, columns = share.shape[:2]
    if left < 0 or top < 0 or right > columns or bottom > rows:
        return None
    mask = np.zeros((bottom - top, right - left), np.uint8)
    cv2.fillConvexPoly(mask, np.round(corners - (left, top)).astype(np.int32), 1)
    inside = mask > 0
    if int(inside.sum()) < LEAST_PX:
        return None
    levels = np.asarray(share[top:bottom, left:right][inside], np.float64)
    y, x = np.nonzero(inside)
    return levels, np.stack([x, y], axis=1).astype(np.float64)


def _noise(values: NDArray[np.float64], at: NDArray[np.float64]) -> float:
    """Standard deviation after the plane that fits best has been taken away."""
    if len(values) < 16:
        return float(values.std())
    design = np.column_stack([at - at.mean(axis=0), np.ones(len(at))])
    plane, *_ = np.linalg.lstsq(design, values, rcond=None)
    rest = values - design @ plane
    return float(np.sqrt((rest**2).sum() / (len(values) - 3)))
