"""One small painting photographed before and after, as files, with what is known of both."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import UTC, datetime
from functools import lru_cache
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from imaging_requests.imaging.synthesis import (
    CameraNotes,
    Direction,
    Exposure,
    Lamp,
    PaintingSpec,
    Pose,
    Scene,
    Shot,
    Technique,
    build_painting,
    capture,
    picture_extent,
    write_tiff,
)

PX_PER_MM = 3.0
SPEC = PaintingSpec(seed=11, width_mm=160, height_mm=120)
SET_UP = {
    "tilt_deg": 0,
    "focus_mm": 2400,
    "light": "flash",
    "lamps": ["flash head A, serial 1", "flash head B, serial 2"],
    "azimuths_deg": [300, 60],
    "elevation_deg": 45,
    "polarisation": "crossed",
    "lamp_filter": "365-A",
    "barrier_filter": "420-B",
    "band_nm": [900, 1700],
    "sensor": "InGaAs",
    "voltage_kv": 30,
    "charge_mas": 10,
    "polarity": "negative",
    "is_framed": False,
}
SAME = {
    "before": SET_UP,
    "after": SET_UP,
    "pair": {"support": "none", "patch_percent": 1, "has_patch": True},
}


@dataclass(frozen=True)
class Shots:
    """Two exposures and the matrix from the later one's px to the earlier one's."""

    before: Exposure
    after: Exposure
    matrix: NDArray[np.float64]


@lru_cache(maxsize=1)
def scene() -> Scene:
    """The painting, made once for all tests of a process."""
    return Scene(build_painting(SPEC, px_per_mm=PX_PER_MM))


@lru_cache(maxsize=8)
def shots(technique: Technique = Technique.FLASH, lamp: float = 1.05) -> Shots:
    """Before and after with nothing changed but the lamp, the noise and the place."""
    shot = Shot(
        technique=technique,
        direction=Direction.LEFT if technique is Technique.RAKING else None,
        tile=picture_extent(SPEC, technique),
        px_per_mm=PX_PER_MM,
        noise_seed=1,
    )
    moved = replace(
        shot,
        noise_seed=2,
        lamp=Lamp(intensity=lamp),
        pose=Pose(shift_x_mm=0.7, shift_y_mm=-0.4, rotation_deg=0.15, scale=1.002),
    )
    before, after = capture(scene(), shot), capture(scene(), moved)
    one = np.array(before.truth.px_to_face_mm)
    other = np.array(after.truth.px_to_face_mm)
    return Shots(before, after, np.linalg.inv(one) @ other)


def write(path: Path, exposure: Exposure, pixels: NDArray[np.uint16] | None = None) -> Path:
    """Write a frame as the camera would."""
    write_tiff(
        path,
        exposure.pixels if pixels is None else pixels,
        px_per_mm=PX_PER_MM,
        is_linear=exposure.is_linear,
        notes=CameraNotes(taken_at=datetime(2026, 4, 15, tzinfo=UTC), exposure_s=0.1),
    )
    return path
