"""Raking light: where it comes from and how low it stands, read from the gauge on the strip.

A pin of known height stands on a light bed; its shadow points away from the lamp and is
height / tan(elevation) long. The bed along x serves lamps at the left and right, the one along y
those above and below. Light from elsewhere fills the shadow: bed over shadow is the contrast.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from imaging_requests.imaging.measure.sampling import TINY, as_light, luminance, rectified

STEP_MM = 0.25
DARK = 0.25
"""Below this share of the bed's light a place lies in shadow."""
LIT = 0.62
"""Above this share a place of the bed is lit."""
PIN = (0.27, 0.62)
"""Light of a lit pin as a share of the bed's."""
RIM = 2
LEAST_BED_MM = 40.0
LEAST_SHADOW_MM = 3.0


@dataclass(frozen=True, slots=True)
class Gauge:
    """What a gauge shows. ``azimuth_deg``: where the light comes from, clock angle of the viewer
    (0 top, 90 right). ``elevation_deg``: above the plane; None if the shadow leaves its bed.
    ``contrast``: light of the bed over that of the shadow.
    """

    azimuth_deg: float
    elevation_deg: float | None
    shadow_mm: float
    contrast: float

    @property
    def side(self) -> str:
        """L, R, T or B: the side nearest to the azimuth."""
        return ("T", "R", "B", "L")[round(self.azimuth_deg / 90) % 4]


def read_gauge(
    light: NDArray[Any],
    to_px: NDArray[np.float64],
    bed: tuple[float, float, float, float],
    *,
    is_level: bool,
    pin_mm: float,
) -> Gauge | None:
    """Read one gauge.

    Args:
        light: Linear light, (rows, columns) or (rows, columns, 3); not modified.
        to_px: 3 × 3, mm on the plane of the strip to px.
        bed: x, y, width, height of a part of that plane that holds the bed and may be longer, mm.
        is_level: True for the bed along x.
        pin_mm: Height of the pin.

    Returns:
        The gauge, or None if no shadow can be read in it.
    """
    field = as_light(light)
    if field is None or pin_mm <= 0:
        return None
    part, seen = rectified(luminance(field), to_px, bed, STEP_MM)
    if not is_level:
        part, seen = np.ascontiguousarray(part.T), np.ascontiguousarray(seen.T)
    found = _shadow(part, seen)
    if found is None:
        return None
    root, tip, contrast, is_complete = found
    away = tip - root
    length = float(np.hypot(*away)) * STEP_MM
    if length < LEAST_SHADOW_MM:
        return None
    if not is_level:
        away = away[::-1]
    azimuth = round(float(np.degrees(np.arctan2(-away[0], away[1]))), 2) % 360
    elevation = elevation_deg(pin_mm, length) if is_complete else None
    return Gauge(azimuth, elevation, length, contrast)


def elevation_deg(height_mm: float, shadow_mm: float) -> float:
    """Elevation of the light from a shadow: atan(height / shadow).

    >>> round(elevation_deg(10, 56.7), 1)
    10.0
    """
    return float(np.degrees(np.arctan2(height_mm, shadow_mm)))


def fall_off(
    light: NDArray[Any], partner: NDArray[Any], inside: NDArray[np.bool_] | None = None
) -> tuple[float, float] | None:
    """Slope of raking light over a face against an evenly lit picture of the same frame.

    The ratio of both pictures has no paint in it; a plane is fitted to its logarithm.

    Returns:
        EV across the picture to the right and downwards (positive: lighter there), or None if
        sizes differ or too little is lit in both.

    >>> even = np.full((64, 64), 0.5)
    >>> ramp = even * 2.0 ** np.linspace(0.5, -0.5, 64)
    >>> [round(value, 2) + 0.0 for value in fall_off(ramp, even)]
    [-0.99, 0.0]
    """
    one, other = as_light(light), as_light(partner)
    if one is None or other is None or one.shape[:2] != other.shape[:2]:
        return None
    size = (min(48, one.shape[1]), min(48, one.shape[0]))
    lit = cv2.resize(luminance(one), size, interpolation=cv2.INTER_AREA)
    even = cv2.resize(luminance(other), size, interpolation=cv2.INTER_AREA)
    usable = (lit > 0.002) & (even > 0.02) & (lit < 0.95) & (even < 0.95)
    if inside is not None:
        share = cv2.resize(inside.astype(np.float32), size, interpolation=cv2.INTER_AREA)
        usable &= share > 0.99
    if usable.sum() < 0.2 * usable.size or usable.sum() < 9:
        return None
    y, x = np.nonzero(usable)
    values = np.log2(lit[usable].astype(np.float64) / even[usable])
    design = np.column_stack([x / max(size[0] - 1, 1), y / max(size[1] - 1, 1), np.ones(len(x))])
    kept = np.ones(len(x), bool)
    plane = np.zeros(3)
    for _ in range(3):
        plane, *_ = np.linalg.lstsq(design[kept], values[kept], rcond=None)
        off = np.abs(values - design @ plane)
        kept = off <= max(2.5 * float(np.median(off)), 1e-6)
    return float(plane[0]), float(plane[1])


def _shadow(
    part: NDArray[Any], seen: NDArray[np.bool_]
) -> tuple[NDArray[np.float64], NDArray[np.float64], float, bool] | None:
    """Root and tip of the shadow (along, across), contrast, and whether it ends on the bed.

    All in samples. The part has the bed along its columns.
    """
    local = _bed_light(part, seen)
    if local is None:
        return None
    dark = ((part < DARK * local[None, :]) & seen).astype(np.uint8)
    dark[:RIM] = dark[-RIM:] = 0
    best = None
    count, labels, stats, _ = cv2.connectedComponentsWithStats(dark, connectivity=8)
    for label in range(1, count):
        if stats[label, cv2.CC_STAT_WIDTH] * STEP_MM < LEAST_SHADOW_MM:
            continue
        found = _read_shadow(part, labels == label, local)
        if found is not None:
            if best is not None:
                return None
            best = found
    return best


def _bed_light(part: NDArray[Any], seen: NDArray[np.bool_]) -> NDArray[np.float64] | None:
    """Light of the bed along it, from a line through its lit places (the lamp's fall-off)."""
    usable = seen.all(axis=0)
    if usable.sum() * STEP_MM < LEAST_BED_MM:
        return None
    profile = part.max(axis=0)
    level = float(np.percentile(profile[usable], 85))
    lit = usable & (profile > 0.5 * level)
    if level <= 0.01 or lit.sum() * STEP_MM < LEAST_BED_MM / 2:
        return None
    places = np.arange(len(profile))
    slope, offset = np.polyfit(places[lit], profile[lit], 1)
    return np.asarray(np.clip(slope * places + offset, 0.3 * level, None))


def _read_shadow(
    part: NDArray[Any], mask: NDArray[np.bool_], local: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64], float, bool] | None:
    """Root, tip, contrast and completeness of one dark area; None if it is no pin's shadow.

    A pin stands at one end, where the light is neither bed nor shadow; beyond the other end the
    bed is lit; and at the pin's end the bed is lit on both sides of the shadow.
    """
    y, x = np.nonzero(mask)
    middle = np.array([x.mean(), y.mean()])
    centred = np.column_stack([x, y]) - middle
    _, _, axes = np.linalg.svd(centred, full_matrices=False)
    axis = axes[0] if axes[0][0] > 0 else -axes[0]
    along = centred @ axis
    ends = middle + axis * along.min(), middle + axis * along.max()
    reach = round(2.4 / STEP_MM)
    outside = [
        _profile(part, local, end, sign * axis, reach)
        for end, sign in zip(ends, (-1.0, 1.0), strict=True)
    ]
    is_pin = [PIN[0] < float(np.median(line[2:6])) < PIN[1] for line in outside]
    is_bed = [float(np.median(line[2:6])) > LIT for line in outside]
    if is_pin[0] == is_pin[1]:
        return None
    root, tip = (0, 1) if is_pin[0] else (1, 0)
    if float(np.median(outside[root][-3:])) < LIT:
        return None
    inward = axis if root == 0 else -axis
    if not _is_flanked(part, local, ends[root], inward, float(np.ptp(along))):
        return None
    inner = part[mask & _eroded(mask)]
    if inner.size < 4:
        return None
    contrast = float(local[x].mean()) / max(float(np.median(inner)), TINY)
    return (
        _refined(part, local, ends[root], -inward),
        _refined(part, local, ends[tip], inward),
        contrast,
        is_bed[tip],
    )


def _profile(
    part: NDArray[Any],
    local: NDArray[np.float64],
    start: NDArray[np.float64],
    direction: NDArray[np.float64],
    count: int,
) -> NDArray[np.float64]:
    """Light from a point onwards as a share of the bed's; 0 outside."""
    at = start + direction * np.arange(count)[:, None]
    x, y = (at[:, i].astype(np.float32).reshape(1, -1) for i in (0, 1))
    light = cv2.remap(part, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT)[0]
    level = np.interp(at[:, 0], np.arange(len(local)), local)
    return np.asarray(light / np.maximum(level, TINY), np.float64)


def _refined(
    part: NDArray[Any],
    local: NDArray[np.float64],
    end: NDArray[np.float64],
    direction: NDArray[np.float64],
) -> NDArray[np.float64]:
    """Where the light leaves the shadow, between samples."""
    start = end - direction * 3
    line = _profile(part, local, start, direction, 8)
    above = np.flatnonzero(line >= DARK)
    if not len(above) or above[0] == 0:
        return end
    i = int(above[0])
    share = (DARK - line[i - 1]) / max(float(line[i] - line[i - 1]), TINY)
    return np.asarray(start + direction * (i - 1 + share))


def _is_flanked(
    part: NDArray[Any],
    local: NDArray[np.float64],
    root: NDArray[np.float64],
    inward: NDArray[np.float64],
    length: float,
) -> bool:
    """Whether the bed is lit on both sides of the first third of the shadow."""
    across = np.array([-inward[1], inward[0]])
    for sign in (-1.0, 1.0):
        lit = []
        for share in np.linspace(0.08, 0.33, 6):
            start = root + inward * length * share
            line = _profile(part, local, start, sign * across, round(4.0 / STEP_MM))
            lit.append(float(line.max()) > LIT)
        if np.mean(lit) < 0.8:
            return False
    return True


def _eroded(mask: NDArray[np.bool_]) -> NDArray[np.bool_]:
    return np.asarray(cv2.erode(mask.astype(np.uint8), np.ones((3, 3), np.uint8)) > 0)
