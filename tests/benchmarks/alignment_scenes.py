"""Synthetic paintings in five techniques, each taken from a slightly wrong place."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from imaging_requests.imaging.alignment.matrices import Matrix, inverse
from imaging_requests.imaging.synthesis import (
    Direction,
    PaintingSpec,
    Pose,
    Scene,
    Shot,
    Subject,
    Support,
    Technique,
    build_painting,
    capture,
    picture_extent,
)

TECHNIQUES = ("VF", "RK", "UV", "IR", "XR")
SUPPORTS = (Support.CANVAS, Support.PANEL, Support.COPPER)


@dataclass(frozen=True, eq=False)
class Taken:
    """A picture and its true map from px to face mm."""

    pixels: np.ndarray
    to_face_mm: Matrix

    def to(self, reference: Taken) -> Matrix:
        """Return the true map from px of this picture to px of another one."""
        return inverse(reference.to_face_mm) @ self.to_face_mm


def paintings(
    count: int, *, megapixels: float, first: int = 0
) -> Iterator[tuple[str, dict[str, Taken]]]:
    """Paint and photograph one after the other; sizes, subjects and poses follow from the seed."""
    subjects = list(Subject)
    for seed in range(first, first + count):
        rng = np.random.default_rng(seed)
        width, height = (int(side) for side in rng.integers(250, 1300, 2))
        spec = PaintingSpec(
            seed=seed,
            width_mm=width,
            height_mm=height,
            support=SUPPORTS[seed % 3],
            subject=subjects[seed % len(subjects)],
        )
        density = float(np.sqrt(megapixels * 1e6 / ((width + 40) * (height + 100))))
        scene = Scene(build_painting(spec, px_per_mm=density))
        yield (
            f"painting {seed}",
            {name: _take(scene, spec, Technique(name), density, rng, seed) for name in TECHNIQUES},
        )


def _take(
    scene: Scene,
    spec: PaintingSpec,
    technique: Technique,
    density: float,
    rng: np.random.Generator,
    seed: int,
) -> Taken:
    def within(reach: float) -> float:
        return float(rng.uniform(-reach, reach))

    is_film = technique is Technique.X_RAY
    pose = Pose(
        shift_x_mm=within(5),
        shift_y_mm=within(5),
        rotation_deg=within(1.5),
        scale=1.0 if is_film else 1 + within(0.02),
        keystone=0.0 if is_film else within(0.01),
    )
    share = 1.0 if technique is Technique.FLASH else float(rng.uniform(0.6, 1.0))
    exposure = capture(
        scene,
        Shot(
            technique=technique,
            direction=Direction.LEFT if technique is Technique.RAKING else None,
            tile=picture_extent(spec, technique),
            px_per_mm=density * share,
            pose=pose,
            noise_seed=seed,
        ),
    )
    return Taken(exposure.pixels, np.array(exposure.truth.px_to_face_mm))
