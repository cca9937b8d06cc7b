"""A frame is the same however its file is laid out, whoever decodes it and in how many threads."""

from dataclasses import replace

import numpy as np
import pytest
import pyvips
import tifffile

from imaging_requests.imaging.files.limits import Limits
from imaging_requests.imaging.files.structure import read_structure
from imaging_requests.imaging.measure.frame import Frame, end_maps, frame_from_array
from imaging_requests.imaging.measure.plain import plain_pixels
from imaging_requests.imaging.measure.read import read_frame
from tests.pure.files_samples import settings

CLIP = (0.004, 0.996)
LIMITS = Limits.from_settings(settings("reading-limits"))
PIXELS = np.random.default_rng(3).integers(0, 65_536, (230, 1700, 3)).astype(np.uint16)
PIXELS[40:44] = PIXELS[39]


def save(path, pixels=PIXELS, **options):
    image = pyvips.Image.new_from_array(pixels)
    image = image.copy(interpretation="rgb16" if pixels.ndim == 3 else "grey16")
    image.tiffsave(str(path), **options)


def read(path, tmp_path, limits=LIMITS):
    frame = read_frame(path, clip=CLIP, limits=limits, scratch=tmp_path)
    assert isinstance(frame, Frame), frame
    return frame


def same(one, other):
    for name in ("share", "low_map", "high_map"):
        assert np.array_equal(getattr(one, name), getattr(other, name)), name
    assert (one.transfer, one.distinct_levels) == (other.transfer, other.distinct_levels)
    assert np.array_equal(one.crop(3, 5, 40, 30), other.crop(3, 5, 40, 30))
    assert np.array_equal(one.crop(100, 60, 1500, 9), other.crop(100, 60, 1500, 9))


WAYS = {
    "one run": ({}, True),
    "big": ({"bigtiff": True}, True),
    "deflate": ({"compression": "deflate"}, False),
    "tiles": ({"tile": True, "tile_width": 64, "tile_height": 64}, False),
}


@pytest.mark.parametrize("way", WAYS)
def test_every_layout_gives_the_frame_of_the_array(way, tmp_path):
    options, is_plain = WAYS[way]
    path = tmp_path / "frame.tif"
    save(path, **options)
    structure = read_structure(path)
    assert (plain_pixels(path, structure) is not None) is is_plain
    expected = frame_from_array(PIXELS, None, clip=CLIP)
    assert expected.transfer.repeated_rows == 4
    same(read(path, tmp_path), expected)
    same(read(path, tmp_path, replace(LIMITS, threads=1)), expected)


@pytest.mark.parametrize(
    "options",
    [{"byteorder": ">"}, {"photometric": "miniswhite"}, {"planarconfig": "separate"}],
)
def test_what_counts_otherwise_is_decoded(options, tmp_path):
    path = tmp_path / "frame.tif"
    grey = np.ascontiguousarray(PIXELS[..., 0])
    pixels = grey if "photometric" in options else PIXELS
    if "planarconfig" in options:
        pixels = np.ascontiguousarray(pixels.transpose(2, 0, 1))
    extra = {"photometric": "rgb"} if pixels.ndim == 3 else {}
    tifffile.imwrite(path, pixels, **(extra | options))
    assert plain_pixels(path, read_structure(path)) is None
    frame = read(path, tmp_path)
    top = np.uint16(65_535)
    seen = top - grey if "photometric" in options else PIXELS
    same(frame, frame_from_array(seen, None, clip=CLIP))


def test_a_file_cut_short_is_refused(tmp_path):
    path = tmp_path / "frame.tif"
    save(path)
    path.write_bytes(path.read_bytes()[:-50_000])
    frame = read_frame(path, clip=CLIP, limits=LIMITS, scratch=tmp_path)
    assert not isinstance(frame, Frame)
    assert frame.sentence


@pytest.mark.parametrize("kind", [np.uint8, np.uint16])
@pytest.mark.parametrize("shape", [(24, 36), (24, 36, 3)])
def test_ends_are_counted_pixel_by_pixel(kind, shape):
    top = int(np.iinfo(kind).max)
    rng = np.random.default_rng(7)
    pixels = rng.choice([0, top // 250, top // 2, top - top // 300, top], shape).astype(kind)
    low, high = 0.004 * top, 0.996 * top
    found_low, found_high = end_maps(pixels, low, high, (6, 4))
    flat = pixels if pixels.ndim == 3 else pixels[..., None]
    is_high = (flat >= high).any(axis=2)
    is_low = (flat <= low).any(axis=2) & ~is_high
    for found, truth in ((found_low, is_low), (found_high, is_high)):
        expected = truth.reshape(4, 6, 6, 6).mean(axis=(1, 3))
        assert found == pytest.approx(expected, abs=1e-6)


@pytest.mark.parametrize("shape", [(1, 5000), (5000, 1), (2, 4000, 3)])
def test_a_picture_of_a_few_rows_or_columns_has_a_frame(shape):
    frame = frame_from_array(np.full(shape, 7, np.uint16), None, clip=CLIP)
    assert frame.share.size >= 1600
