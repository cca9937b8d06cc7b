"""The charts of both shoots: how far they agree, and the gain that makes up for the lamps."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from imaging_requests.imaging.measure.chart_find import ChartNotFound, FoundChart, find_chart
from imaging_requests.imaging.measure.chart_read import patch_outline
from imaging_requests.imaging.measure.charts import Edition
from imaging_requests.imaging.measure.delta_e import delta_e_2000, xyz_to_lab

from .change import patch_gain
from .reading import Light

LEAST_PX = 4


@dataclass(frozen=True, slots=True, kw_only=True)
class ChartPair:
    """Both charts.

    Attributes:
        has_both: Whether the same chart was found in both pictures.
        mean_delta_e: Mean ΔE00 between their patches as they are.
        gain: Factor on X, Y, Z of the later picture from the greys; None without charts.
        after_gain: Mean ΔE00 that remains after it.
        reason: Why they could not be compared; empty if they were.
    """

    has_both: bool | None
    mean_delta_e: float | None = None
    gain: tuple[float, float, float] | None = None
    after_gain: float | None = None
    reason: str = ""


def compare_charts(before: Light, after: Light, editions: Mapping[str, Edition]) -> ChartPair:
    """Find the chart in both pictures and hold patch against patch.

    Nothing is said against a picture in which no chart was found at this size: it may be too small
    to be seen, so the answer is "not known", and only a person can say that there is none.

    >>> black = np.zeros((9, 9, 3), np.float32)
    >>> nothing = Light(black, step=1, width_px=9, height_px=9, profile="")
    >>> compare_charts(nothing, nothing, {}).reason
    'Before: The picture shows no even patches that could be a chart.'
    """
    readings = []
    kinds = []
    for which, light in (("Before", before), ("After", after)):
        if light.is_grey:
            return ChartPair(has_both=None, reason="Grey pictures have no colour chart.")
        found = find_chart(light.values, np.eye(3), editions)
        if isinstance(found, ChartNotFound):
            return ChartPair(has_both=None, reason=f"{which}: {found.because}")
        read = _patches(light.values, found)
        if read is None:
            words = "the chart is too small to be read at this size."
            return ChartPair(has_both=None, reason=f"{which}: {words}")
        readings.append(read)
        kinds.append(found.edition)
    if kinds[0].id != kinds[1].id:
        return ChartPair(has_both=None, reason="The two pictures hold charts of other editions.")
    return pair_readings(readings[0], readings[1], kinds[0].greys)


def pair_readings(
    before: NDArray[np.float64], after: NDArray[np.float64], greys: tuple[int, ...]
) -> ChartPair:
    """Compare patch with patch; both (patches, 3) in XYZ."""
    gain = patch_gain(before[list(greys)], after[list(greys)])
    one = xyz_to_lab(before)
    return ChartPair(
        has_both=True,
        mean_delta_e=float(delta_e_2000(one, xyz_to_lab(after)).mean()),
        gain=(float(gain[0]), float(gain[1]), float(gain[2])),
        after_gain=float(delta_e_2000(one, xyz_to_lab(after * gain)).mean()),
    )


def _patches(values: NDArray[Any], chart: FoundChart) -> NDArray[np.float64] | None:
    """Mean XYZ over the inner part of every patch; None if one is too small or outside."""
    rows, columns = values.shape[:2]
    means = []
    for patch in range(chart.edition.patches):
        corners = patch_outline(chart, patch)
        left, top = np.floor(corners.min(axis=0)).astype(int)
        right, bottom = np.ceil(corners.max(axis=0)).astype(int) + 1
        if left < 0 or top < 0 or right > columns or bottom > rows:
            return None
        mask: NDArray[Any] = np.zeros((bottom - top, right - left), np.uint8)
        cv2.fillConvexPoly(mask, np.round(corners - (left, top)).astype(np.int32), 1)
        if int(mask.sum()) < LEAST_PX:
            return None
        means.append(values[top:bottom, left:right][mask > 0].mean(axis=0))
    return np.array(means, np.float64)
