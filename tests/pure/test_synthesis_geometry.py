"""Places in synthetic frames are where their truth says they are."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from imaging_requests.imaging.synthesis import (
    Direction,
    Face,
    Painting,
    PaintingSpec,
    Pose,
    Rect,
    Scene,
    Shot,
    Subject,
    Support,
    Technique,
    build_painting,
    capture,
    edge_extent,
    picture_extent,
    strip_layout,
    tile_rects,
)

TOLERANCE_PX = 0.3
SPEC = PaintingSpec(
    seed=11,
    width_mm=320,
    height_mm=250,
    subject=Subject.MARBLING,
    support=Support.PANEL,
    depth_mm=18,
    warp_mm=6,
)


@pytest.fixture(scope="module")
def painting() -> Painting:
    return build_painting(SPEC, px_per_mm=1.0)


@pytest.fixture(scope="module")
def scene(painting: Painting) -> Scene:
    return Scene(painting)


def to_px(matrix: object, x_mm: float, y_mm: float) -> tuple[float, float]:
    point = np.linalg.inv(np.array(matrix)) @ np.array([x_mm, y_mm, 1.0])
    return float(point[0] / point[2]), float(point[1] / point[2])


def dark_centre(
    light: NDArray[np.float64], x: float, y: float, reach: float
) -> tuple[float, float]:
    """Centroid of the darkness within a box around a place."""
    x0, y0 = round(x - reach), round(y - reach)
    part = light[y0 : y0 + int(2 * reach) + 1, x0 : x0 + int(2 * reach) + 1]
    weight = np.clip(part.max() - part, 0, None)
    rows, columns = np.mgrid[: part.shape[0], : part.shape[1]]
    total = weight.sum()
    return x0 + float((columns * weight).sum() / total), y0 + float((rows * weight).sum() / total)


def light_of(pixels: NDArray[np.uint16]) -> NDArray[np.float64]:
    value = (pixels.astype(float) / 65535) ** 2
    return value.mean(2) if value.ndim == 3 else value


@pytest.mark.parametrize("face", [Face.FRONT, Face.BACK])
@pytest.mark.parametrize("px_per_mm", [1.5, 2.37, 3.0])
@pytest.mark.parametrize(
    "pose",
    [
        Pose(),
        Pose(shift_x_mm=1.3, shift_y_mm=-0.8),
        Pose(rotation_deg=0.7, scale=1.01),
        Pose(keystone=0.012, rotation_deg=-0.4),
    ],
    ids=["true", "shifted", "turned", "leaning"],
)
def test_marks_lie_where_the_matrix_says(
    scene: Scene, face: Face, px_per_mm: float, pose: Pose
) -> None:
    tile = picture_extent(SPEC, Technique.FLASH)
    shot = Shot(
        technique=Technique.FLASH, face=face, tile=tile, px_per_mm=px_per_mm, pose=pose, noise=0.0
    )
    exposure = capture(scene, shot)
    light = light_of(exposure.pixels)
    for x_mm, y_mm in strip_layout(SPEC).dots:
        expected = to_px(exposure.truth.px_to_face_mm, x_mm, y_mm)
        found = dark_centre(light, *expected, reach=2.5 * px_per_mm)
        assert np.hypot(found[0] - expected[0], found[1] - expected[1]) <= TOLERANCE_PX


def test_a_wrong_matrix_would_be_noticed(scene: Scene) -> None:
    tile = picture_extent(SPEC, Technique.FLASH)
    exposure = capture(scene, Shot(technique=Technique.FLASH, tile=tile, px_per_mm=2.0, noise=0.0))
    x_mm, y_mm = strip_layout(SPEC).dots[0]
    expected = to_px(exposure.truth.px_to_face_mm, x_mm + 0.5, y_mm)
    found = dark_centre(light_of(exposure.pixels), *expected, reach=5.6)
    assert np.hypot(found[0] - expected[0], found[1] - expected[1]) > TOLERANCE_PX


def test_neighbouring_tiles_show_the_same_places(scene: Scene) -> None:
    extent = picture_extent(SPEC, Technique.INFRARED)
    tiles = tile_rects(extent, 2, 2, (190.0, 170.0))
    shots = [
        Shot(technique=Technique.INFRARED, tile=tile, px_per_mm=2.0, noise=0.0) for tile in tiles
    ]
    left, right = (capture(scene, shot).pixels.astype(float) for shot in shots[:2])
    shift = round((tiles[1].x - tiles[0].x) * 2.0)
    overlap = left.shape[1] - shift
    assert overlap > 20
    np.testing.assert_allclose(left[:, shift:], right[:, :overlap], atol=2)


def test_the_outline_of_the_back_is_the_fronts_in_a_mirror() -> None:
    spec = replace(SPEC, is_fragment=True)
    scene = Scene(build_painting(spec, px_per_mm=1.0))
    masks = []
    for face in (Face.FRONT, Face.BACK):
        shot = Shot(
            technique=Technique.INFRARED,
            face=face,
            px_per_mm=2.0,
            noise=0.0,
            has_target=False,
            tile=Rect(x=0, y=0, width=spec.width_mm, height=spec.height_mm),
        )
        masks.append(capture(scene, shot).pixels > 65535 * 0.12)
    same = (masks[0] == masks[1]).mean()
    mirrored = (masks[0] == masks[1][:, ::-1]).mean()
    assert mirrored > 0.99
    assert mirrored > same


def test_tiles_that_leave_a_gap_are_refused() -> None:
    with pytest.raises(ValueError, match="uncovered"):
        tile_rects(Rect(x=0, y=0, width=100, height=50), 2, 1, (45, 50))


def test_edges_have_the_thickness_of_the_object(scene: Scene) -> None:
    for edge in Direction:
        tile = edge_extent(SPEC, edge)
        shot = Shot(
            technique=Technique.FLASH,
            face=Face.EDGES,
            direction=edge,
            tile=tile,
            px_per_mm=2.0,
            noise=0.0,
        )
        light = light_of(capture(scene, shot).pixels)
        bright = light[:, light.shape[1] // 2] > 0.03
        assert abs(int(bright.sum()) - 2.0 * SPEC.depth_mm) <= 2


@pytest.mark.parametrize("side", [40.0, 7000.0])
def test_sizes_no_painting_has_are_refused(side: float) -> None:
    with pytest.raises(ValueError, match="between 60 and 6000 mm"):
        PaintingSpec(seed=1, width_mm=side, height_mm=300)


def test_a_density_beyond_memory_is_refused() -> None:
    spec = PaintingSpec(seed=1, width_mm=4000, height_mm=3000)
    with pytest.raises(ValueError, match="60 million"):
        build_painting(spec, px_per_mm=3.0)
