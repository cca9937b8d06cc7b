"""Exposure, direction, filters and rays behave as the physics they stand for."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from imaging_requests.imaging.synthesis import (
    Condition,
    Direction,
    Face,
    Lamp,
    Painting,
    PaintingSpec,
    Rect,
    Role,
    Scene,
    Shot,
    Subject,
    Support,
    Technique,
    build_painting,
    capture,
    infrared_layout,
    picture_extent,
    strip_layout,
)
from imaging_requests.imaging.synthesis.colour import LUMINANCE, lab_to_rgb
from imaging_requests.imaging.synthesis.pigments import PALETTE, answers, tone
from imaging_requests.imaging.synthesis.structure import structure_planes
from imaging_requests.imaging.synthesis.targets import CHART_LAB, GREY_STEPS_L, REFERENCE_LEVEL

SPEC = PaintingSpec(
    seed=4,
    width_mm=420,
    height_mm=330,
    subject=Subject.SEASCAPE,
    depth_mm=24,
    warp_mm=4,
    hidden_subject=Subject.PORTRAIT_WOMAN,
)


@pytest.fixture(scope="module")
def painting() -> Painting:
    return build_painting(SPEC, px_per_mm=1.0)


@pytest.fixture(scope="module")
def scene(painting: Painting) -> Scene:
    return Scene(painting)


@pytest.fixture(scope="module")
def board() -> Scene:
    """A panel: behind a canvas the bars would throw their own long shadows."""
    spec = replace(SPEC, support=Support.PANEL, hidden_subject=None)
    return Scene(build_painting(spec, px_per_mm=1.0))


def shot_of(technique: Technique, **changes: object) -> Shot:
    values: dict[str, object] = {
        "technique": technique,
        "tile": picture_extent(SPEC, technique),
        "px_per_mm": 1.5,
        "noise": 0.0,
    }
    return Shot(**{**values, **changes})  # type: ignore[arg-type]


def light_of(pixels: NDArray[np.uint16]) -> NDArray[np.float64]:
    return (pixels.astype(float) / 65535) ** 2


def patch(light: NDArray[np.float64], shot: Shot, rect: Rect) -> NDArray[np.float64]:
    """Mean colour of the inner half of a rectangle."""
    d = shot.px_per_mm
    x0, x1 = (round((rect.x + rect.width * k - shot.tile.x) * d) for k in (0.25, 0.75))
    y0, y1 = (round((rect.y + rect.height * k - shot.tile.y) * d) for k in (0.25, 0.75))
    return np.asarray(light[y0:y1, x0:x1].reshape(-1, *light.shape[2:]).mean(0))


def test_equal_seeds_give_equal_frames_and_others_do_not() -> None:
    def frame(seed: int, noise_seed: int) -> NDArray[np.uint16]:
        spec = replace(SPEC, seed=seed, width_mm=150, height_mm=120)
        scene = Scene(build_painting(spec, px_per_mm=1.0))
        shot = Shot(
            technique=Technique.FLUORESCENCE,
            tile=picture_extent(spec, Technique.FLUORESCENCE),
            px_per_mm=1.0,
            noise_seed=noise_seed,
        )
        return capture(scene, shot).pixels

    first = frame(8, 1)
    np.testing.assert_array_equal(first, frame(8, 1))
    assert (first != frame(8, 2)).mean() > 0.3
    assert (first != frame(9, 1)).mean() > 0.3


@pytest.mark.parametrize("technique", [Technique.FLASH, Technique.RAKING, Technique.FLUORESCENCE])
@pytest.mark.parametrize("ev", [-2.0, -1.0, 1.0, 2.0])
def test_a_step_of_exposure_doubles_the_light(
    scene: Scene, technique: Technique, ev: float
) -> None:
    shot = shot_of(technique, direction=Direction.LEFT)
    base, moved = (light_of(capture(scene, replace(shot, ev=e)).pixels) for e in (0.0, ev))
    usable = (base > 0.01) & (moved > 0.01) & (base < 0.95) & (moved < 0.95)
    assert usable.mean() > 0.1
    steps = np.log2(moved[usable] / base[usable])
    assert abs(np.median(steps) - ev) < 1e-4
    assert np.abs(steps - ev).max() < 0.01


def test_chart_and_greys_have_their_colours(scene: Scene) -> None:
    shot = shot_of(Technique.FLASH)
    light = light_of(capture(scene, shot).pixels)
    layout = strip_layout(SPEC)
    for patches, wanted in (
        (layout.chart, CHART_LAB),
        (layout.greys, [(v, 0.0, 0.0) for v in GREY_STEPS_L]),
    ):
        for one, lab in zip(patches, wanted, strict=True):
            np.testing.assert_allclose(patch(light, shot, one.rect), lab_to_rgb(*lab), atol=1e-4)


def test_chart_colours_lie_inside_the_working_space() -> None:
    for lab in CHART_LAB:
        rgb = np.array(lab_to_rgb(*lab))
        assert (rgb > 0).all()
        assert (rgb < 1).all()


@pytest.mark.parametrize("face", [Face.FRONT, Face.BACK])
@pytest.mark.parametrize(
    ("direction", "axis", "brighter_first"),
    [
        (Direction.LEFT, 1, True),
        (Direction.RIGHT, 1, False),
        (Direction.TOP, 0, True),
        (Direction.BOTTOM, 0, False),
    ],
)
def test_raking_light_falls_away_from_its_lamp(
    board: Scene, face: Face, direction: Direction, axis: int, brighter_first: bool
) -> None:
    scene = board
    tile = Rect(x=70, y=70, width=SPEC.width_mm - 140, height=SPEC.height_mm - 140)
    lamp = Lamp(distance_mm=900)
    raking = shot_of(
        Technique.RAKING, face=face, direction=direction, tile=tile, lamp=lamp, has_target=False
    )
    plain = shot_of(Technique.FLASH, face=face, tile=tile, has_target=False)
    ratio = light_of(capture(scene, raking).pixels) / np.maximum(
        light_of(capture(scene, plain).pixels), 1e-4
    )
    profile = np.median(ratio, axis=(1 - axis, 2))
    third = len(profile) // 3
    assert (profile[:third].mean() > profile[-third:].mean()) == brighter_first


def test_left_and_right_light_model_the_relief_the_other_way_round(scene: Scene) -> None:
    tile = Rect(x=80, y=80, width=220, height=160)
    frames = [
        light_of(
            capture(
                scene,
                shot_of(
                    Technique.RAKING,
                    direction=side,
                    tile=tile,
                    has_target=False,
                    lamp=Lamp(elevation_deg=25),
                ),
            ).pixels
        ).mean(2)
        for side in (Direction.LEFT, Direction.RIGHT)
    ]
    plain = light_of(
        capture(scene, shot_of(Technique.FLASH, tile=tile, has_target=False)).pixels
    ).mean(2)
    left, right = (np.log(f / np.maximum(plain, 1e-3)) for f in frames)
    left -= np.median(left)
    right -= np.median(right)
    assert np.corrcoef(left.ravel(), right.ravel())[0, 1] < -0.3


def test_light_on_the_back_is_named_by_its_own_viewer(scene: Scene) -> None:
    shot = shot_of(Technique.RAKING, face=Face.BACK, direction=Direction.LEFT)
    truth = capture(scene, shot).truth
    assert truth.azimuth_deg == 270
    assert truth.azimuth_from_front_deg == 90


@pytest.mark.parametrize("elevation", [8.0, 10.0, 15.0])
@pytest.mark.parametrize("direction", list(Direction))
def test_the_gauge_pin_throws_a_shadow_of_its_angle(
    scene: Scene, elevation: float, direction: Direction
) -> None:
    shot = shot_of(
        Technique.RAKING, direction=direction, lamp=Lamp(elevation_deg=elevation), px_per_mm=2.0
    )
    light = light_of(capture(scene, shot).pixels)[..., 1]
    layout = strip_layout(SPEC)
    is_level = direction in (Direction.LEFT, Direction.RIGHT)
    x, y = layout.level_pin if is_level else layout.upright_pin
    column, row = round((x - shot.tile.x) * 2), round((y - shot.tile.y) * 2)
    line = light[row, :] if is_level else light[:, column]
    bed = layout.level_bed if is_level else layout.upright_bed
    low = round(((bed.x - shot.tile.x) if is_level else (bed.y - shot.tile.y)) * 2) + 4
    high = round(((bed.right - shot.tile.x) if is_level else (bed.bottom - shot.tile.y)) * 2) - 4
    part = line[low:high]
    dark = part < 0.25 * np.median(part)
    length = 10 / np.tan(np.deg2rad(elevation))
    assert abs(dark.sum() / 2 - length) <= 1.5
    middle = (np.flatnonzero(dark).mean() + low) - (column if is_level else row)
    assert (middle > 0) == (direction in (Direction.LEFT, Direction.TOP))
    assert np.median(part) / np.median(part[dark]) >= 20


def test_a_forgotten_barrier_filter_shows_on_the_white_patch(scene: Scene) -> None:
    layout = strip_layout(SPEC)
    ratios = {}
    for has_filter in (True, False):
        shot = shot_of(Technique.FLUORESCENCE, has_barrier_filter=has_filter)
        light = light_of(capture(scene, shot).pixels)
        white, reference = (
            patch(light, shot, layout.white),
            patch(light, shot, layout.references[0]),
        )
        ratios[has_filter] = float(white @ LUMINANCE) / float(reference @ LUMINANCE)
        if not has_filter:
            assert white[2] / white[1] >= 2.5
    assert ratios[True] <= 0.10
    assert ratios[False] > 0.20


def test_the_reference_patch_is_on_its_level(scene: Scene) -> None:
    shot = shot_of(Technique.FLUORESCENCE)
    light = light_of(capture(scene, shot).pixels)
    for rect in strip_layout(SPEC).references:
        level = float(patch(light, shot, rect) @ LUMINANCE)
        assert abs(np.log2(level / REFERENCE_LEVEL)) < 0.1


def test_room_light_makes_white_as_bright_as_asked_and_neutral(scene: Scene) -> None:
    shot = shot_of(Technique.FLUORESCENCE, role=Role.AMBIENT, room_light=0.3)
    white = patch(light_of(capture(scene, shot).pixels), shot, strip_layout(SPEC).white)
    assert white.max() / white.min() < 1.05
    assert abs(white.mean() / (0.3 * REFERENCE_LEVEL) - 0.95) < 0.02
    dark = shot_of(Technique.FLUORESCENCE, role=Role.AMBIENT)
    assert capture(scene, dark).pixels.max() == 0


def test_infrared_is_linear_and_tells_the_inks_apart(scene: Scene) -> None:
    shot = shot_of(Technique.INFRARED)
    exposure = capture(scene, shot)
    assert exposure.is_linear
    light = exposure.pixels.astype(float) / 65535
    layout = infrared_layout(SPEC)
    found = [float(patch(light, shot, one.rect)) for one in layout.greys]
    wanted = [float(np.mean(one.rgb)) for one in layout.greys]
    np.testing.assert_allclose(found, wanted, atol=1e-4)
    paper = 0.86
    carbon = paper - float(patch(light, shot, layout.carbon_line))
    iron = paper - float(patch(light, shot, layout.iron_gall_line))
    assert carbon > 0.5
    assert iron / carbon <= 0.05


def test_lead_white_is_the_heaviest_light_paint_and_carbon_swallows_infrared() -> None:
    names = [pigment.name for pigment in PALETTE]
    found = answers(np.array([tone(name) for name in names], np.float32))
    heavy = dict(zip(names, found[:, 1], strict=True))
    bright = dict(zip(names, found[:, 0], strict=True))
    assert heavy["lead white"] > 3 * heavy["yellow ochre"]
    assert heavy["vermilion"] > 3 * heavy["red lake"]
    assert min(bright, key=lambda name: bright[name]) == "bone black"


def test_lead_white_is_bright_in_the_x_ray(scene: Scene, painting: Painting) -> None:
    tile = Rect(x=70, y=70, width=280, height=190)
    film = light_of(
        capture(scene, shot_of(Technique.X_RAY, face=Face.THROUGH, tile=tile, px_per_mm=1.0)).pixels
    )
    lead = painting.front.x_ray[70:260, 70:350]
    order = np.argsort(lead.ravel())
    tenth = lead.size // 10
    assert film.ravel()[order[-tenth:]].mean() > 1.3 * film.ravel()[order[:tenth]].mean()


def test_an_earlier_picture_shows_only_in_x_ray_and_infrared() -> None:
    plain = build_painting(
        replace(SPEC, hidden_subject=None, seed=5, support=Support.COPPER), px_per_mm=1.0
    )
    assert plain.hidden is None
    spec = replace(SPEC, seed=5, support=Support.PANEL)
    hidden = build_painting(replace(spec, hidden_subject=Subject.STILL_LIFE), px_per_mm=1.0)
    other = build_painting(replace(spec, hidden_subject=Subject.PORTRAIT_MAN), px_per_mm=1.0)
    np.testing.assert_array_equal(hidden.front.paint, other.front.paint)
    assert np.abs(hidden.front.x_ray - other.front.x_ray).mean() > 0.02
    assert np.abs(hidden.front.infrared - other.front.infrared).mean() > 0.002


def test_detector_and_film_polarity_add_up_to_a_constant(scene: Scene) -> None:
    film = capture(scene, shot_of(Technique.X_RAY, face=Face.THROUGH)).pixels.astype(int)
    raw = capture(
        scene, shot_of(Technique.X_RAY, face=Face.THROUGH, is_detector_polarity=True)
    ).pixels.astype(int)
    assert np.abs(film + raw - 65535).max() <= 2


def test_the_lead_marker_is_the_brightest_thing_on_the_plate(scene: Scene) -> None:
    shot = shot_of(Technique.X_RAY, face=Face.THROUGH, plate=4)
    with_marker = capture(scene, shot).pixels
    without = capture(scene, replace(shot, plate=None)).pixels
    assert with_marker.max() > without.max()
    row, column = np.unravel_index(int(with_marker.argmax()), with_marker.shape)
    assert row < 20 * shot.px_per_mm
    assert column < 20 * shot.px_per_mm


def test_bars_behind_the_paint_are_thrown_outwards_by_the_tube(painting: Painting) -> None:
    condition = Condition.initial(SPEC)
    behind = {plane.behind_mm for plane in structure_planes(painting, condition)}
    assert 16.0 in behind
    scene = Scene(painting, condition)
    tile = Rect(x=-10, y=100, width=SPEC.width_mm + 20, height=80)
    shot = shot_of(Technique.X_RAY, face=Face.THROUGH, tile=tile, px_per_mm=4.0)
    film = light_of(capture(scene, shot).pixels)
    bar = 55.0
    off_axis = SPEC.width_mm / 2 - bar
    shift = off_axis * 16.0 / (1000.0 - 16.0)
    profile = np.convolve(film.mean(0), np.ones(9) / 9, "same")
    step = np.gradient(profile)
    at = (bar + 10) * 4
    inner = int(at - 20) + int(np.argmin(step[int(at - 20) : int(at + 20)]))
    assert abs((at - inner) / 4 - shift) < 0.8
