"""The limits of comparisons, read from versioned data."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from imaging_requests.imaging.files.data_values import (
    DataError,
    take,
    take_number,
    take_version,
    take_whole,
)

from .recall import Tolerances


@dataclass(frozen=True, slots=True, kw_only=True)
class GradeLimits:
    """Limits of the table, each pair for A and for B; units as in the names."""

    version: int
    density_percent: tuple[float, float]
    density_least_share: float
    tilt_deg: tuple[float, float]
    focus_mm: tuple[float, float]
    aperture_stops: tuple[float, float]
    lamps_deg: tuple[float, float]
    chart_delta_e: tuple[float, float, float]
    rake_azimuth_deg: tuple[float, float]
    rake_elevation_deg: tuple[float, float]
    rake_other_direction_deg: float
    patch_percent: tuple[float, float]
    band_nm: tuple[float, float]
    ink_points: tuple[float, float]
    voltage_kv: tuple[float, float]
    charge_percent: tuple[float, float]
    least_inliers: float

    @classmethod
    def from_settings(cls, data: Mapping[str, Any]) -> GradeLimits:
        """Read the limits from versioned data; raises ``DataError`` if a value is missing."""
        chart = _rising(data, "chart.delta_e", 3)
        return cls(
            version=take_version(data),
            density_percent=_two(data, "density.percent"),
            density_least_share=take_number(data, "density.least_share"),
            tilt_deg=_two(data, "tilt.degrees"),
            focus_mm=_two(data, "focus.distance_mm"),
            aperture_stops=_two(data, "focus.stops"),
            lamps_deg=_two(data, "lamps.degrees"),
            chart_delta_e=(chart[0], chart[1], chart[2]),
            rake_azimuth_deg=_two(data, "rake.azimuth_deg"),
            rake_elevation_deg=_two(data, "rake.elevation_deg"),
            rake_other_direction_deg=take_number(data, "rake.other_direction_deg"),
            patch_percent=_two(data, "patch.percent"),
            band_nm=_two(data, "band.nm"),
            ink_points=_two(data, "band.ink_points"),
            voltage_kv=_two(data, "x_ray.voltage_kv"),
            charge_percent=_two(data, "x_ray.charge_percent"),
            least_inliers=take_number(data, "files.least_inliers"),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class MapLimits:
    """Numbers of the change map; the floor in ΔE00 for visible light, else in % of the light."""

    version: int
    least_floor_delta_e: float
    least_floor_percent: float
    floor_percentile: float
    least_blur_px: float
    window_mm: float
    least_window_px: int
    strong_factor: float
    strong_px: int
    dark_level: float
    saturated_level: float
    most_pixels: int
    outline_margin_mm: float
    outline_off_percent: float

    @classmethod
    def from_settings(cls, data: Mapping[str, Any]) -> MapLimits:
        """Read the numbers from versioned data; raises ``DataError`` if a value is missing."""
        return cls(
            version=take_version(data),
            least_floor_delta_e=take_number(data, "map.least_floor_delta_e"),
            least_floor_percent=take_number(data, "map.least_floor_percent"),
            floor_percentile=take_number(data, "map.floor_percentile"),
            least_blur_px=take_number(data, "map.least_blur_px"),
            window_mm=take_number(data, "map.window_mm"),
            least_window_px=take_whole(data, "map.least_window_px"),
            strong_factor=take_number(data, "map.strong_factor"),
            strong_px=take_whole(data, "map.strong_px"),
            saturated_level=take_number(data, "map.saturated_level"),
            dark_level=take_number(data, "map.dark_level"),
            most_pixels=round(take_number(data, "map.most_megapixels") * 1e6),
            outline_margin_mm=take_number(data, "map.outline_margin_mm"),
            outline_off_percent=take_number(data, "map.outline_off_percent"),
        )


def recall_tolerances(data: Mapping[str, Any]) -> Tolerances:
    """Read how near is near enough when a set-up is rebuilt; raises ``DataError``."""
    return Tolerances(
        distance_mm=take_number(data, "recall.distance_mm"),
        tilt_deg=take_number(data, "recall.tilt_deg"),
        exposure_ev=take_number(data, "recall.exposure_ev"),
        elevation_deg=take_number(data, "recall.elevation_deg"),
    )


def _rising(data: Mapping[str, Any], name: str, count: int) -> tuple[float, ...]:
    """Some numbers from 0 up, each at least the one before."""
    value = take(data, name)
    is_list = isinstance(value, list) and len(value) == count
    if not is_list or not all(
        isinstance(item, int | float) and not isinstance(item, bool) for item in value
    ):
        raise DataError(f"The value of {name} must be a list of {count} numbers.")
    if value[0] < 0 or value != sorted(value):
        raise DataError(f"The value of {name} must rise from 0 or above.")
    return tuple(float(item) for item in value)


def _two(data: Mapping[str, Any], name: str) -> tuple[float, float]:
    first, second = _rising(data, name, 2)
    return first, second
