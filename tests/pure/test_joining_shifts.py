"""Known shifts are found again: whole ones exactly, fractions to hundredths of a pixel."""

import json
from pathlib import Path

import cv2
import numpy as np
import pytest
import pyvips

from imaging_requests.imaging.files.limits import Limits
from imaging_requests.imaging.joining.lanes import Lanes
from imaging_requests.imaging.joining.register import register
from imaging_requests.imaging.joining.settings import JoinSettings
from imaging_requests.imaging.joining.tiles import open_tiles
from imaging_requests.imaging.joining.words import Place, Trouble, Unjoined
from tests.joining_scene import Cut, cut_tiles, scene_size, texture, true_error_px, write_tiles

CHECKS = Path(__file__).parents[2] / "fixtures" / "checks"
SETTINGS = JoinSettings.from_settings(json.loads((CHECKS / "joining-1.json").read_text()))
LIMITS = Limits.from_settings(json.loads((CHECKS / "reading-limits-1.json").read_text()))


@pytest.fixture(scope="module")
def scene():
    rng = np.random.default_rng(7)
    scene = np.zeros((760, 900), np.float32)
    for size, strength in ((1.5, 0.2), (4, 0.4), (15, 0.8), (60, 1.5)):
        grain = rng.standard_normal((int(760 / size) + 4, int(900 / size) + 4)).astype(np.float32)
        scene += strength * cv2.resize(grain, (900, 760), interpolation=cv2.INTER_CUBIC)
    scene -= scene.min()
    return (scene / scene.max() * 50_000 + 6_000).astype(np.uint16)


def _write(folder, pictures):
    paths = []
    for number, pixels in enumerate(pictures, 1):
        paths.append(folder / f"plate-{number}.tif")
        pyvips.Image.new_from_array(pixels).copy(interpretation="grey16").tiffsave(str(paths[-1]))
    return paths


def test_whole_shifts_are_found_exactly(scene, tmp_path):
    corners = [(0, 0), (420, 3), (2, 350), (417, 346)]
    paths = _write(tmp_path, [scene[y : y + 400, x : x + 470] for x, y in corners])
    tiles = open_tiles(paths, limits=LIMITS, scratch=tmp_path)
    planned = {Place(n % 2, n // 2): n for n in range(4)}
    with Lanes(2) as lanes:
        found = register(tiles, settings=SETTINGS, grid=(2, 2), planned=planned, lanes=lanes)
    assert not isinstance(found, Unjoined)
    for index, (x, y) in enumerate(corners):
        assert np.allclose(found.matrices[index][:2, 2], (x, y), atol=0.002)
    assert all(meet.is_proven for meet in found.meets)


@pytest.mark.parametrize("seed", [102, 103])
def test_no_overlap_is_given_up_because_the_rough_start_was_a_pixel_off(seed, tmp_path):
    """Overlaps that agree exactly once made weights so sharp that a pixel looked like an error."""
    cut = Cut(columns=3, rows=2, tile_px=(800, 1000), overlap=0.1, is_whole=True)
    tiles, truth = cut_tiles(texture(*scene_size(cut), seed=seed - 100), cut, seed=seed)
    paths = write_tiles(tmp_path, tiles)
    opened = open_tiles(paths, limits=LIMITS, scratch=tmp_path)
    planned = {Place(n % 3, n // 3): n for n in range(6)}
    with Lanes(2) as lanes:
        found = register(opened, settings=SETTINGS, grid=(3, 2), planned=planned, lanes=lanes)
    rms_px, _ = true_error_px(found.matrices, dict(enumerate(truth)), cut.tile_px)
    assert rms_px < 0.002


def test_unrelated_tiles_are_not_joined(scene, tmp_path):
    paths = _write(tmp_path, [scene[:300, :400], scene[440:740, 480:880]])
    tiles = open_tiles(paths, limits=LIMITS, scratch=tmp_path)
    planned = {Place(0, 0): 0, Place(1, 0): 1}
    with Lanes(2) as lanes:
        found = register(tiles, settings=SETTINGS, grid=(2, 1), planned=planned, lanes=lanes)
    assert isinstance(found, Unjoined)
    assert found.reason is Trouble.NOTHING_FITS
    assert "overlap by 3 %" in found.sentence
