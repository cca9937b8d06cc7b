"""Charts are found in perspective and every turn, or said not to be there; patches read true."""

import cv2
import numpy as np
import pytest

from imaging_requests.imaging.measure.chart_find import ChartNotFound, FoundChart, find_chart
from imaging_requests.imaging.measure.chart_read import compare_with_reference, read_patches
from imaging_requests.imaging.measure.encoding import power_encoding
from imaging_requests.imaging.measure.lattice import project
from imaging_requests.imaging.synthesis import Technique, strip_layout
from imaging_requests.imaging.synthesis.colour import RGB_TO_XYZ
from tests.pure.measure_samples import (
    draw_chart,
    editions,
    encoding_of,
    light_of,
    scene,
    shoot,
    tools,
)

CHARTS = ("24-after-2014-11", "140-after-2014-11")


def drawn(name, **options):
    edition = editions()[name]
    light, to_px = draw_chart(edition, RGB_TO_XYZ, **options)
    return edition, np.maximum(light, 0).astype(np.float32), to_px


@pytest.mark.parametrize("name", CHARTS)
@pytest.mark.parametrize("turn", range(4))
def test_found_in_every_turn_with_noise(name, turn):
    edition, light, _ = drawn(name)
    noisy = light + np.random.default_rng(turn).normal(0, 0.002, light.shape).astype(np.float32)
    found = find_chart(np.ascontiguousarray(np.rot90(noisy, -turn)), RGB_TO_XYZ, {name: edition})
    assert isinstance(found, FoundChart)
    assert (found.turn, found.is_mirrored) == (turn, False)


@pytest.mark.parametrize("name", CHARTS)
def test_found_in_perspective_and_read_true(name):
    edition, light, to_px = drawn(name)
    rows, columns = light.shape[:2]
    corners = np.float32([[0, 0], [columns, 0], [columns, rows], [0, rows]])
    bent = np.float32(
        [[30, 25], [columns * 0.93, 5], [columns * 0.99, rows * 0.9], [8, rows * 1.02]]
    )
    matrix = cv2.getPerspectiveTransform(corners, bent)
    size = (columns + 40, rows + 40)
    seen = cv2.warpPerspective(light, matrix, size, borderValue=(0.05, 0.05, 0.05))
    found = find_chart(cv2.GaussianBlur(seen, (0, 0), 0.8), RGB_TO_XYZ, {name: edition})
    assert isinstance(found, FoundChart)
    square = np.array([[0, 0], [edition.columns, 0], [edition.columns, edition.rows]], float)
    off = np.hypot(*(found.corners_px()[:3] - project(matrix @ to_px, square)).T)
    assert off.max() < 0.08 * found.step_px()
    encoding = power_encoding(2.0, matrix=RGB_TO_XYZ)
    readings = read_patches(np.sqrt(np.clip(seen, 0, 1)), found, encoding)
    report = compare_with_reference(readings, found)
    in_gamut = (np.linalg.inv(RGB_TO_XYZ) @ np.array([1, 1, 1])).min() > 0
    assert in_gamut
    assert report.mean_de00 < 0.15


def test_a_mirrored_chart_is_told():
    edition, light, _ = drawn(CHARTS[0])
    found = find_chart(np.ascontiguousarray(light[:, ::-1]), RGB_TO_XYZ, {"it": edition})
    assert isinstance(found, FoundChart)
    assert found.is_mirrored


def test_a_wrong_white_and_a_dim_light_do_not_hide_it():
    edition, light, _ = drawn(CHARTS[0])
    tinted = light * np.float32([0.35, 0.5, 0.3])
    assert isinstance(find_chart(tinted, RGB_TO_XYZ, {"it": edition}), FoundChart)


def test_a_hidden_corner_is_bridged():
    edition, light, _ = drawn(CHARTS[0])
    light[60:100, 60:110] = np.random.default_rng(0).uniform(0, 0.5, (40, 50, 3))
    found = find_chart(light, RGB_TO_XYZ, {"it": edition})
    assert isinstance(found, FoundChart)
    assert 0.8 < found.seen < 1


def test_not_found_in_a_painting():
    exposure = shoot(Technique.FLASH, has_target=False)
    found = find_chart(light_of(exposure), RGB_TO_XYZ, tools().editions)
    assert isinstance(found, ChartNotFound)
    assert found.because


def test_patches_in_order_but_of_other_colours_are_no_chart():
    edition, light, _ = drawn(CHARTS[0])
    rng = np.random.default_rng(3)
    step = 28
    for patch in range(edition.patches):
        column, row = edition.cell(patch)
        y, x = 64 + row * step, 64 + column * step
        light[y : y + 24, x : x + 24] = rng.uniform(0.05, 0.8, 3)
    found = find_chart(light, RGB_TO_XYZ, {"it": edition})
    assert isinstance(found, ChartNotFound)
    assert "colours are not those" in found.because


@pytest.mark.parametrize(
    "picture",
    [
        np.zeros((1, 1, 3), np.float32),
        np.full((50, 50, 3), 0.5, np.float32),
        np.full((50, 50, 3), np.nan, np.float32),
        np.zeros((50, 50), np.float32),
        np.zeros((50, 50, 4), np.float32),
    ],
)
def test_bad_pictures_hold_no_chart(picture):
    assert isinstance(find_chart(picture, RGB_TO_XYZ, tools().editions), ChartNotFound)


def test_the_studios_strip_is_found_where_it_lies():
    exposure = shoot(Technique.FLASH)
    found = find_chart(light_of(exposure), RGB_TO_XYZ, tools().editions)
    assert isinstance(found, FoundChart)
    first = strip_layout(scene().painting.spec).chart[0].rect
    mm = np.linalg.inv(np.array(exposure.truth.px_to_face_mm))
    expected = project(mm, np.array([[first.x, first.y]]))[0]
    assert np.hypot(*(found.corners_px()[0] - expected)) < 0.6
    encoding = encoding_of(exposure)
    report = compare_with_reference(read_patches(exposure.pixels / 65535, found, encoding), found)
    assert report.mean_de00 < 0.1
    assert report.grey_delta_l < 0.1


def test_noise_is_that_of_the_light_not_of_the_gradient():
    edition, light, to_px = drawn(CHARTS[0], patch_px=60, gap_px=8)
    ramp = np.linspace(0.97, 1.03, light.shape[1], dtype=np.float32)[None, :, None]
    rng = np.random.default_rng(5)
    share = np.sqrt(np.clip(light * ramp, 0, 1)) + rng.normal(0, 0.003, light.shape)
    found = FoundChart(edition, to_px, 0, False, 1.0, 0.0)
    readings = read_patches(share, found, power_encoding(2.0, matrix=RGB_TO_XYZ))
    grey = edition.greys[3]
    # L* = 116 (v²)^(1/3) − 16, so dL = 77.3 v^(−1/3) dv; the three channels average in Y.
    weights = RGB_TO_XYZ[1]
    value = float(np.sqrt(readings.light[grey].mean()))
    expected = 116 * 2 / 3 * value ** (-1 / 3) * 0.003 * float(np.hypot.reduce(weights))
    assert readings.noise_l[grey] == pytest.approx(expected, rel=0.1)
