"""How honest the change map is: no-change pairs under a changed lamp, and patches of known ΔE00.

``python -m tests.benchmarks.change_accuracy [CASES]`` prints, over synthetic paintings, the area
marked although nothing changed and how well a patch of 20 × 20 mm with ΔE00 6 is found.
"""

from __future__ import annotations

import json
import sys
from collections import defaultdict
from dataclasses import dataclass, replace
from itertools import product
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from imaging_requests.imaging.comparison.change import ChangeMap, change_map, patch_gain
from imaging_requests.imaging.comparison.laying import lay_over, polygon_mask
from imaging_requests.imaging.comparison.limits import MapLimits
from imaging_requests.imaging.measure.delta_e import delta_e_2000, lab_to_xyz, xyz_to_lab
from imaging_requests.imaging.synthesis import (
    Lamp,
    PaintingSpec,
    Pose,
    Rect,
    Scene,
    Shot,
    Subject,
    Technique,
    build_painting,
    capture,
    picture_extent,
    strip_layout,
)
from imaging_requests.imaging.synthesis.colour import RGB_TO_XYZ

LIMITS = MapLimits.from_settings(
    json.loads(Path("fixtures/checks/comparability-1.json").read_text("utf-8"))
)
PX_PER_MM = 2.0
PATCH_MM = 20.0
PATCH_DELTA_E = 6.0
ERRORS_PX = (0.1, 0.3, 0.6)
Light = NDArray[np.float32]


@dataclass(frozen=True)
class Case:
    """A painting, two exposures of it and what is known about how they lie."""

    spec: PaintingSpec
    before: Light
    after: Light
    matrix: NDArray[np.float64]
    to_face_mm: NDArray[np.float64]


def light_of(scene: Scene, shot: Shot) -> Light:
    """Linear light of a frame: XYZ for colour, light for grey."""
    exposure = capture(scene, shot)
    share = exposure.pixels.astype(np.float32) / 65535
    if exposure.is_linear:
        return share
    light = share * share
    return light if light.ndim == 2 else (light @ RGB_TO_XYZ.T).astype(np.float32)


def make_case(seed: int, *, lamp: float, sides_mm: tuple[int, int] = (220, 420)) -> Case:
    """A painting shot twice: other noise, another place, the lamp brighter, nothing changed."""
    technique = Technique.FLASH
    rng = np.random.default_rng(seed)
    subjects = list(Subject)
    spec = PaintingSpec(
        seed=seed,
        width_mm=float(rng.integers(*sides_mm)),
        height_mm=float(rng.integers(*sides_mm)),
        subject=subjects[seed % len(subjects)],
    )
    scene = Scene(build_painting(spec, px_per_mm=PX_PER_MM))
    tile = picture_extent(spec, technique)
    shot = Shot(technique=technique, tile=tile, px_per_mm=PX_PER_MM, noise_seed=seed)
    moved = replace(
        shot,
        noise_seed=seed + 1000,
        lamp=Lamp(intensity=lamp),
        pose=Pose(
            shift_x_mm=float(rng.uniform(-2, 2)),
            shift_y_mm=float(rng.uniform(-2, 2)),
            rotation_deg=float(rng.uniform(-0.3, 0.3)),
            scale=float(rng.uniform(0.998, 1.002)),
        ),
    )
    first, second = capture(scene, shot).truth, capture(scene, moved).truth
    one, other = np.array(first.px_to_face_mm), np.array(second.px_to_face_mm)
    return Case(
        spec=spec,
        before=light_of(scene, shot),
        after=light_of(scene, moved),
        matrix=np.linalg.inv(one) @ other,
        to_face_mm=one,
    )


def face_mask(case: Case) -> NDArray[np.bool_]:
    """The face without its rim, on the earlier picture's raster."""
    w, h = case.spec.width_mm, case.spec.height_mm
    corners = np.array([[0, 0, 1], [w, 0, 1], [w, h, 1], [0, h, 1]], float)
    at = corners @ np.linalg.inv(case.to_face_mm).T
    margin = LIMITS.outline_margin_mm * PX_PER_MM
    return polygon_mask(at[:, :2] / at[:, 2:], case.before.shape[:2], margin_px=margin)


def greys(case: Case, light: Light) -> list[Any]:
    """Means of the strip's grey patches on the earlier picture's raster."""
    found = []
    for patch in strip_layout(case.spec).greys:
        box = patch.rect
        inner = Rect(x=box.x + 2, y=box.y + 2, width=box.width - 4, height=box.height - 4)
        low = np.linalg.inv(case.to_face_mm) @ [inner.x, inner.y, 1]
        high = np.linalg.inv(case.to_face_mm) @ [inner.right, inner.bottom, 1]
        part = light[int(low[1]) + 1 : int(high[1]), int(low[0]) + 1 : int(high[0])]
        found.append(part.mean(axis=(0, 1)))
    return found


def compare(
    case: Case, after: Light, *, error_px: float, seed: int, by_chart: bool, floor: float
) -> ChangeMap:
    """Lay over with an alignment that is off by ``error_px``, normalise, and compare."""
    angle = np.random.default_rng(seed).uniform(0, 2 * np.pi)
    off = np.eye(3)
    off[:2, 2] = error_px * np.cos(angle), error_px * np.sin(angle)
    laid, known = lay_over(after, off @ case.matrix, case.before.shape[:2])
    if by_chart:
        laid = (laid * patch_gain(greys(case, case.before), greys(case, laid))).astype(np.float32)
    return change_map(
        case.before,
        laid,
        inside=face_mask(case) & known,
        residual_px=max(error_px, 0.05),
        px_per_mm=PX_PER_MM,
        floor=floor,
        limits=LIMITS,
    )


def with_patch(case: Case, seed: int) -> tuple[Light, NDArray[np.bool_]]:
    """The later picture with a patch of known ΔE00, and where it lies on the earlier raster."""
    rng = np.random.default_rng([seed, 2])
    w, h = case.spec.width_mm, case.spec.height_mm
    x, y = rng.uniform(10, w - PATCH_MM - 10), rng.uniform(10, h - PATCH_MM - 10)
    true = _box_mask(case, np.linalg.inv(case.to_face_mm), case.before.shape[:2], x, y)
    to_later = np.linalg.inv(case.matrix) @ np.linalg.inv(case.to_face_mm)
    place = _box_mask(case, to_later, case.after.shape[:2], x, y)
    lab = xyz_to_lab(case.after[place])
    way = rng.normal(size=3)
    way /= np.linalg.norm(way)
    # towards the middle of lightness, so that the patch stays a colour
    way[0] = abs(way[0]) * (1 if lab[:, 0].mean() < 50 else -1)
    low, high = 0.0, 60.0
    for _ in range(40):
        middle = (low + high) / 2
        reached = delta_e_2000(lab.mean(axis=0), lab.mean(axis=0) + middle * way)
        low, high = (middle, high) if reached < PATCH_DELTA_E else (low, middle)
    changed = case.after.copy()
    changed[place] = np.maximum(lab_to_xyz(lab + low * way), 0).astype(np.float32)
    return changed, true


def _box_mask(
    case: Case, from_mm: NDArray[Any], shape: tuple[int, int], x: float, y: float
) -> NDArray[np.bool_]:
    corners = np.array(
        [[x, y, 1], [x + PATCH_MM, y, 1], [x + PATCH_MM, y + PATCH_MM, 1], [x, y + PATCH_MM, 1]]
    )
    at = corners @ from_mm.T
    return polygon_mask(at[:, :2] / at[:, 2:], shape, margin_px=0)


def overlap(found: NDArray[np.bool_], true: NDArray[np.bool_]) -> float:
    """Area in common over area of both together, of the marked areas that touch the patch."""
    _, labels = cv2.connectedComponents(found.astype(np.uint8))
    touching = np.isin(labels, np.unique(labels[true & found])) & found
    return float((touching & true).sum() / max(1, (touching | true).sum()))


def main(cases: int) -> None:
    """Print the figures that stand in docs/comparison.md."""
    floor = LIMITS.least_floor_delta_e
    rows: dict[tuple[bool, float], list[tuple[float, float, float]]] = defaultdict(list)
    for seed in range(cases):
        case = make_case(seed, lamp=1.05 if seed % 2 else 0.95)
        changed, true = with_patch(case, seed)
        for by_chart, error in product((True, False), ERRORS_PX):
            told = {"error_px": error, "seed": seed, "by_chart": by_chart, "floor": floor}
            still = compare(case, case.after, **told)
            found = compare(case, changed, **told)
            score = overlap(found.marked, true)
            rows[by_chart, error].append((still.marked_share, still.hatched_share, score))
    for (by_chart, error), row in rows.items():
        marked, hatched, scores = np.array(row).T
        sys.stdout.write(
            f"{'normalised by greys' if by_chart else 'not normalised'}, off by {error} px: "
            f"marked without change mean {marked.mean():.4%}, worst {marked.max():.3%}; "
            f"hatched mean {hatched.mean():.1%}, worst {hatched.max():.1%}; patch found "
            f"≥ 0.7 in {np.mean(scores >= 0.7):.1%}, median overlap {np.median(scores):.2f}, "
            f"worst {scores.min():.2f}\n"
        )


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 40)
