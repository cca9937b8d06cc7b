"""Pictures on the face in mm: plan and measured placements against the generator's truth."""

from __future__ import annotations

import doctest
import math
from typing import Any

import numpy as np
import pytest

from imaging_requests.imaging import placing
from imaging_requests.imaging.placing import (
    Box,
    by_plan,
    for_edges,
    mirror_x,
    nearest_similarity,
    to_face,
    to_pixel,
)
from imaging_requests.imaging.synthesis import (
    Face,
    PaintingSpec,
    Rect,
    Scene,
    Shot,
    Technique,
    build_painting,
    capture,
    picture_extent,
    tile_rects,
)
from imaging_requests.imaging.synthesis.shot import Pose

SPEC = PaintingSpec(seed=5, width_mm=300, height_mm=220)
MARKS_MM = [(10.0, 12.0), (150.0, 110.0), (290.0, 14.0), (24.0, 205.0), (281.0, 199.0)]
#: Margins and strips of the generator's techniques, mm.
PLANS = {
    Technique.FLASH: (20.0, 60.0),
    Technique.INFRARED: (10.0, 30.0),
    Technique.X_RAY: (10.0, 0.0),
}
TOLERANCE_MM = 0.5


@pytest.fixture(scope="module")
def scene() -> Scene:
    return Scene(build_painting(SPEC, px_per_mm=1.0))


def shot_of(scene: Scene, technique: Technique, **more: Any) -> Any:
    face = more.pop("face", Face.FRONT)
    tile = more.pop("tile", picture_extent(SPEC, technique, face))
    return capture(scene, Shot(technique=technique, tile=tile, px_per_mm=2.0, face=face, **more))


def truth_of(exposure: Any) -> tuple[float, ...]:
    return tuple(np.asarray(exposure.truth.px_to_face_mm, float).ravel().tolist())


def distance_mm(one: tuple[float, float], two: tuple[float, float]) -> float:
    return math.hypot(one[0] - two[0], one[1] - two[1])


def test_the_examples_hold() -> None:
    assert doctest.testmod(placing).failed == 0


@pytest.mark.parametrize("technique", list(PLANS))
def test_a_picture_made_as_planned_is_placed_right(scene: Scene, technique: Technique) -> None:
    exposure = shot_of(scene, technique)
    rows, columns = exposure.pixels.shape[:2]
    margin, strip = PLANS[technique]
    plan = by_plan(
        face_mm=(300, 220),
        margin_mm=margin,
        strip_mm=strip,
        size_px=(columns, rows),
        px_per_mm=2.0,
    )
    for mark in MARKS_MM:
        pixel = to_pixel(truth_of(exposure), *mark)
        assert distance_mm(to_face(plan, *pixel), mark) <= TOLERANCE_MM


def test_tiles_are_placed_as_the_generator_cut_them(scene: Scene) -> None:
    extent = picture_extent(SPEC, Technique.FLASH)
    rects = tile_rects(extent, 3, 2, (140, 190))
    for index, rect in enumerate(rects):
        exposure = shot_of(scene, Technique.FLASH, tile=rect)
        rows, columns = exposure.pixels.shape[:2]
        plan = by_plan(
            face_mm=(300, 220),
            margin_mm=20,
            strip_mm=60,
            size_px=(columns, rows),
            px_per_mm=2.0,
            tile=(index % 3, index // 3),
            tiles=(3, 2),
        )
        pixel = (columns / 3, rows / 2)
        true = to_face(truth_of(exposure), *pixel)
        assert distance_mm(to_face(plan, *pixel), true) <= TOLERANCE_MM


def test_a_spot_of_the_front_is_found_in_the_picture_of_the_back(scene: Scene) -> None:
    back = shot_of(scene, Technique.FLASH, face=Face.BACK)
    for x_mm, y_mm in MARKS_MM:
        on_back = (mirror_x(x_mm, SPEC.width_mm), y_mm)
        pixel = to_pixel(truth_of(back), *on_back)
        seen = to_face(truth_of(back), *pixel)
        assert distance_mm((mirror_x(seen[0], SPEC.width_mm), seen[1]), (x_mm, y_mm)) <= 1e-6
    left_of_front = to_pixel(truth_of(back), mirror_x(10.0, SPEC.width_mm), 100.0)
    assert left_of_front[0] > back.pixels.shape[1] / 2


@pytest.mark.parametrize(
    "pose",
    [
        Pose(rotation_deg=0.8, scale=1.004),
        Pose(shift_x_mm=2.0, shift_y_mm=-1.5, keystone=0.004),
        Pose(rotation_deg=-0.4, keystone=-0.006),
    ],
)
def test_what_the_window_shows_of_a_measured_picture_is_right_to_half_a_millimetre(
    scene: Scene, pose: Pose
) -> None:
    exposure = shot_of(scene, Technique.INFRARED, pose=pose)
    truth = truth_of(exposure)
    for mark in MARKS_MM:
        x_px, y_px = to_pixel(truth, *mark)
        part = Box(x=x_px - 80, y=y_px - 60, width=160, height=120)
        fit = nearest_similarity(truth, part)
        assert distance_mm(fit.at(x_px, y_px), mark) <= TOLERANCE_MM
        assert fit.worst_mm <= TOLERANCE_MM


def test_the_whole_of_a_keystoned_picture_says_how_far_it_is_off(scene: Scene) -> None:
    exposure = shot_of(scene, Technique.INFRARED, pose=Pose(keystone=0.03))
    rows, columns = exposure.pixels.shape[:2]
    whole = nearest_similarity(truth_of(exposure), Box(x=0, y=0, width=columns, height=rows))
    assert whole.worst_mm > TOLERANCE_MM


def test_a_mirrored_picture_is_not_taken_for_a_turned_one() -> None:
    mirrored = (-0.5, 0.0, 300.0, 0.0, 0.5, 0.0, 0.0, 0.0, 1.0)
    assert nearest_similarity(mirrored, Box(x=0, y=0, width=600, height=400)).worst_mm > 50


def test_a_pixel_beyond_the_horizon_is_refused() -> None:
    with pytest.raises(ValueError, match="beyond the horizon"):
        to_face((1, 0, 0, 0, 1, 0, -1, 0, 1), 2, 0)


@pytest.mark.parametrize("wrong", [{"px_per_mm": 0.0}, {"face_mm": (0.0, 10.0)}])
def test_a_plan_without_sizes_is_refused(wrong: dict[str, Any]) -> None:
    values: dict[str, Any] = {
        "face_mm": (10.0, 10.0),
        "margin_mm": 1.0,
        "strip_mm": 0.0,
        "size_px": (20, 20),
        "px_per_mm": 2.0,
    }
    with pytest.raises(ValueError, match="above zero"):
        by_plan(**(values | wrong))


def test_corner_coordinates_begin_half_a_pixel_earlier() -> None:
    placement = (0.5, 0.01, 3.0, -0.01, 0.5, 4.0, 1e-6, 2e-6, 1.0)
    by_corner = to_face(for_edges(placement), 10.5, 20.5)
    assert distance_mm(by_corner, to_face(placement, 10, 20)) < 1e-9


def test_rectangles_of_the_generator_are_what_the_plan_covers() -> None:
    assert picture_extent(SPEC, Technique.FLASH) == Rect(x=-20, y=-20, width=340, height=320)
