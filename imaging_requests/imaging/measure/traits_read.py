"""Read the traits of a frame: what can be held against another picture later."""

from __future__ import annotations

from typing import Any

from imaging_requests.imaging.measure.chart_find import ChartNotFound
from imaging_requests.imaging.measure.outline import Outline
from imaging_requests.imaging.measure.plan import Sight
from imaging_requests.imaging.measure.rules_every import read_strip_ruler
from imaging_requests.imaging.measure.rules_light import find_gauge
from imaging_requests.imaging.measure.rules_rays import ink_ratio
from imaging_requests.imaging.measure.rules_visible import chart_readings
from imaging_requests.imaging.measure.traits import Rows, Traits

VISIBLE = ("VF", "VC")


def traits_of(sight: Sight) -> Traits:
    """Read the traits of a frame that shows a view; empty for a frame of another role."""
    if sight.plan.role != "view":
        return Traits()
    technique = sight.plan.technique
    if technique == "UV":
        glow = sight.glow
        is_told = glow is not None and not glow.is_saturated
        return Traits(glow_level=_short(glow.level) if glow is not None and is_told else None)
    if technique == "IR":
        ratio = ink_ratio(sight)
        return Traits(ink_percent=None if ratio is None else _short(100 * ratio))
    if technique == "RK":
        gauge = find_gauge(sight)
        return Traits(
            px_per_mm=_ruler(sight),
            azimuth_deg=None if gauge is None else _short(gauge.azimuth_deg),
            elevation_deg=None
            if gauge is None or gauge.elevation_deg is None
            else _short(gauge.elevation_deg),
        )
    return _visible(sight) if technique in VISIBLE else Traits()


def _visible(sight: Sight) -> Traits:
    density = _ruler(sight)
    outline_mm, keystone = None, None
    if sight.plan.face_mm is not None and isinstance(sight.outline, Outline):
        keystone = _short(sight.outline.keystone_percent())
        if density is not None:
            outline_mm = _rows(sight.outline.corners * sight.frame.factor / density)
    edition, lab = "", None
    chart = sight.chart
    if not isinstance(chart, ChartNotFound) and not chart.is_mirrored:
        readings = chart_readings(sight, chart)
        if readings is not None:
            edition, lab = chart.edition.id, _rows(readings.lab)
    return Traits(
        outline_mm=outline_mm,
        keystone_percent=keystone,
        px_per_mm=density,
        chart=edition,
        chart_lab=lab,
    )


def _ruler(sight: Sight) -> float | None:
    ruler = read_strip_ruler(sight)
    return None if ruler is None else _short(ruler.px_per_mm * sight.frame.factor)


def _rows(values: Any) -> Rows:
    return tuple(tuple(_short(value) for value in row) for row in values)


def _short(value: float) -> float:
    return float(f"{value:.6g}")
