"""The studio's target strips as data: where ruler, gauge, patches and ink lines lie on them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from imaging_requests.imaging.files.data_values import (
    DataError,
    take,
    take_list,
    take_number,
    take_version,
)
from imaging_requests.imaging.measure.chart_find import FoundChart

Pair = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Strip:
    """Places in mm from the upper left corner of the chart; see the data for each."""

    version: int
    patch_mm: Mapping[str, float]
    ruler_mm: Pair
    ruler_block_mm: float
    pin_mm: float
    level_bed_mm: Pair
    upright_bed_mm: Pair
    reference_mm: float
    infrared_greys_l: tuple[float, ...]
    infrared_step_mm: float
    carbon_mm: float
    iron_gall_mm: float
    line_mm: float

    @classmethod
    def from_settings(cls, data: Mapping[str, Any]) -> Strip:
        """Read versioned data; raises ``DataError`` if a value is missing."""
        patch_mm = take(data, "chart.patch_mm")
        if not isinstance(patch_mm, Mapping):
            raise DataError("The value of chart.patch_mm must name editions.")
        return cls(
            version=take_version(data),
            patch_mm={str(name): float(value) for name, value in patch_mm.items()},
            ruler_mm=_pair(data, "ruler.line_mm"),
            ruler_block_mm=take_number(data, "ruler.block_mm"),
            pin_mm=take_number(data, "gauge.pin_mm"),
            level_bed_mm=_pair(data, "gauge.level_bed_mm"),
            upright_bed_mm=_pair(data, "gauge.upright_bed_mm"),
            reference_mm=take_number(data, "uv.reference_mm"),
            infrared_greys_l=tuple(float(v) for v in take_list(data, "infrared.greys_l", int)),
            infrared_step_mm=take_number(data, "infrared.step_mm"),
            carbon_mm=take_number(data, "infrared.carbon_mm"),
            iron_gall_mm=take_number(data, "infrared.iron_gall_mm"),
            line_mm=take_number(data, "infrared.line_mm"),
        )

    def editions(self) -> tuple[str, ...]:
        """Editions of the chart that are on strips of this design."""
        return tuple(self.patch_mm)

    def mm_to_px(self, chart: FoundChart) -> NDArray[np.float64] | None:
        """3 × 3, mm from the chart's upper left corner to px; None for a chart of no strip."""
        patch_mm = self.patch_mm.get(chart.edition.id)
        if patch_mm is None:
            return None
        return np.asarray(chart.to_px @ np.diag([1 / patch_mm, 1 / patch_mm, 1.0]))


def _pair(data: Mapping[str, Any], name: str) -> Pair:
    values = take(data, name)
    if not isinstance(values, list) or len(values) != 2:
        raise DataError(f"The value of {name} must be two numbers.")
    return float(values[0]), float(values[1])
