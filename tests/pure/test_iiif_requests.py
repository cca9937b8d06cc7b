"""Requests to the picture service made exact, and tiles that leave as they lie in the pyramid.

Examples of region and size: IIIF Image API 3.0, sections 4.1 to 4.3 and 4.7, source 300 × 200 px.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest
import pyvips
import tifffile

from imaging_requests.imaging.iiif import info, render
from imaging_requests.imaging.iiif.asked import Asked, Limits, WrongRequestError, read_request
from imaging_requests.imaging.iiif.edges import edge_requests, keep_cut_tiles
from imaging_requests.imaging.iiif.pyramid import Pyramid, PyramidError, read_pyramid, read_tile

LIMITS = Limits(max_area_px=1_000_000, max_side_px=2_000)
MOST_OFF = 8.0
"""Mean difference of 255 on the steep slopes of the smallest level, half a pixel apart."""
TILE_PX = 64


def asked(*parts: str, size_px: tuple[int, int] = (300, 200), limits: Limits = LIMITS) -> Asked:
    region, size, rotation, ending = (*parts, *("full", "max", "0", "default.jpg")[len(parts) :])
    quality, _, suffix = ending.partition(".")
    return read_request((region, size, rotation, quality, suffix), size_px=size_px, limits=limits)


@pytest.mark.parametrize(
    "parts",
    [
        ("full", "\u0663,"),
        ("\u0660,0,10,10",),
        ("pct:0,0,\uff11\uff10,10",),
        ("full", "max", "\u0669"),
    ],
)
def test_digits_of_other_scripts_are_no_numbers(parts: tuple[str, ...]) -> None:
    with pytest.raises(WrongRequestError):
        asked(*parts)


@pytest.mark.parametrize(
    ("region", "expected"),
    [
        ("full", (0, 0, 300, 200)),
        ("square", (50, 0, 200, 200)),
        ("125,15,120,140", (125, 15, 120, 140)),
        ("125,15,200,200", (125, 15, 175, 185)),
        ("pct:41.6,7.5,40,70", (125, 15, 120, 140)),
        ("pct:41.6,7.5,66.6,100", (125, 15, 175, 185)),
    ],
)
def test_regions_of_the_specification(region: str, expected: tuple[int, ...]) -> None:
    found = asked(region)
    assert (found.x_px, found.y_px, found.width_px, found.height_px) == expected


@pytest.mark.parametrize(
    ("size", "expected"),
    [
        ("max", (300, 200)),
        ("150,", (150, 100)),
        (",150", (225, 150)),
        ("pct:50", (150, 100)),
        ("225,100", (225, 100)),
        ("!225,100", (150, 100)),
        ("^360,", (360, 240)),
        ("^,240", (360, 240)),
        ("^pct:120", (360, 240)),
        ("^360,360", (360, 360)),
        ("^!360,360", (360, 240)),
        ("^max", (1224, 816)),
    ],
)
def test_sizes_of_the_specification(size: str, expected: tuple[int, int]) -> None:
    found = asked("full", size)
    assert (found.out_width_px, found.out_height_px) == expected


@pytest.mark.parametrize(
    ("parts", "words"),
    [
        (("0,0,0,10",), "no width"),
        (("300,0,10,10",), "outside the picture, which is 300 × 200"),
        (("0,0,10",), "region must be"),
        (("-1,0,10,10",), "region must be"),
        (("pct:0,0,10",), "4 number"),
        (("pct:nan,0,1,1",), "4 number"),
        (("full", "full"), "size must be"),
        (("full", ","), "size must be"),
        (("full", "\u0663,"), "size must be"),
        (("full", "!10,"), "size must be"),
        (("full", "0,"), "no width"),
        (("full", "301,"), r"Write \^"),
        (("full", "pct:101"), r"Write \^"),
        (("full", "!400,400"), r"Write \^"),
        (("full", "^2001,1"), "the most is"),
        (("full", "^1900,1900"), "the most is"),
        (("full", "max", "361"), "0 to 360"),
        (("full", "max", "-1"), "0 to 360"),
        (("full", "max", "0", "grey.jpg"), "quality must be"),
        (("full", "max", "0", "default.tif"), "jpg or png"),
        (("full", "max", "0", "default"), "jpg or png"),
        (("full", "9" * 40 + ","), "size must be"),
    ],
)
def test_a_wrong_request_is_told_why(parts: tuple[str, ...], words: str) -> None:
    with pytest.raises(WrongRequestError, match=words):
        asked(*parts)


@pytest.mark.parametrize(
    ("parts", "expected"),
    [
        (("0,0,300,200", "300,200", "0", "color.jpg"), "full/max/0/default.jpg"),
        (("pct:41.6,7.5,40,70", "pct:50"), "125,15,120,140/60,70/0/default.jpg"),
        (("full", "^360,", "!22.50", "gray.png"), "full/^360,240/!22.5/gray.png"),
        (("full", "^max"), "full/^max/0/default.jpg"),
        (("full", "max", "0.0"), "full/max/0/default.jpg"),
    ],
)
def test_each_request_has_one_spelling(parts: tuple[str, ...], expected: str) -> None:
    assert asked(*parts).canonical(default_quality="color") == expected


def test_one_spelling_is_read_as_itself() -> None:
    first = asked("10,20,100,100", "!50,40", "90", "gray.png").canonical(default_quality="color")
    again = asked(*first.split("/")).canonical(default_quality="color")
    assert again == first


def picture(width: int = 300, height: int = 200, bands: int = 3) -> pyvips.Image:
    """A smooth picture without repeats, so that a shift shows."""
    rows, columns = np.mgrid[0:height, 0:width]
    planes = [
        127 + 120 * np.sin(columns / (17 + 3 * band)) * np.cos(rows / (13 + 2 * band))
        for band in range(bands)
    ]
    image = pyvips.Image.new_from_array(np.stack(planes, -1).astype(np.uint8))
    return image.copy(interpretation="srgb" if bands == 3 else "b-w")


@pytest.fixture(params=[("rgb", False), ("rgb", True), ("grey", False)], ids=str)
def pyramid_path(tmp_path: Path, request: Any) -> Path:
    colour, is_big = request.param
    path = tmp_path / "pyramid.tif"
    picture(bands=3 if colour == "rgb" else 1).tiffsave(
        str(path), pyramid=True, tile=True, tile_width=TILE_PX, tile_height=TILE_PX,
        compression="jpeg", Q=88, bigtiff=is_big,
    )  # fmt: skip
    return path


def decoded(data: bytes) -> Any:
    image = pyvips.Image.new_from_buffer(data, "", fail_on="warning")
    return image.numpy().reshape(image.height, image.width, image.bands)


def test_the_table_of_contents_agrees_with_another_reader(pyramid_path: Path) -> None:
    found = read_pyramid(pyramid_path)
    with tifffile.TiffFile(pyramid_path) as other:
        assert len(found.levels) == len(other.pages) == 4
        for level, page in zip(found.levels, other.pages, strict=True):
            assert (level.height_px, level.width_px) == page.shape[:2]
            assert level.offsets == tuple(page.dataoffsets)
            assert level.lengths == tuple(page.databytecounts)


def test_every_whole_tile_leaves_as_its_bytes_and_has_its_pixels(pyramid_path: Path) -> None:
    pyramid = read_pyramid(pyramid_path)
    limits = Limits(10**6, 10**4)
    seen = 0
    for number, level in enumerate(pyramid.levels):
        page = pyvips.Image.tiffload(str(pyramid_path), page=number)
        pixels = page.numpy().reshape(page.height, page.width, page.bands)
        step = TILE_PX * 2**number
        for row in range(level.height_px // TILE_PX):
            for column in range(level.width_px // TILE_PX):
                wanted = asked(
                    f"{column * step},{row * step},{step},{step}", f"{TILE_PX},{TILE_PX}",
                    size_px=(pyramid.width_px, pyramid.height_px), limits=limits,
                )  # fmt: skip
                place = render.grid_tile(pyramid, wanted)
                assert place == render.GridTile(number, column, row)
                body = render.answer(pyramid_path, pyramid, wanted, quality=88)
                assert body == read_tile(pyramid_path, level, column, row)
                expected = pixels[
                    row * TILE_PX : (row + 1) * TILE_PX, column * TILE_PX : (column + 1) * TILE_PX
                ]
                assert np.array_equal(decoded(body), expected)
                seen += 1
    assert seen == 12 + 2


@pytest.mark.parametrize(
    "parts",
    [
        ("1,0,64,64",),
        ("0,0,64,64", "63,"),
        ("0,0,64,64", "max", "90"),
        ("0,0,64,64", "max", "!0"),
        ("0,0,64,64", "max", "0", "bitonal.jpg"),
        ("0,0,64,64", "max", "0", "default.png"),
        ("256,0,64,64",),
        ("0,192,64,8",),
    ],
)
def test_anything_else_is_rendered(pyramid_path: Path, parts: tuple[str, ...]) -> None:
    pyramid = read_pyramid(pyramid_path)
    wanted = asked(*parts)
    assert render.grid_tile(pyramid, wanted) is None
    body = render.answer(pyramid_path, pyramid, wanted, quality=88)
    shape = decoded(body).shape
    turned = (wanted.out_width_px, wanted.out_height_px)
    assert shape[:2] == (turned if wanted.rotation_deg == 90 else turned[::-1])


def test_tiles_that_the_edge_cuts_leave_without_decoding_and_look_as_rendered(
    pyramid_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    plain = read_pyramid(pyramid_path)
    rendered = {
        (number, column, row): render.answer(pyramid_path, plain, wanted, quality=88)
        for number in range(len(plain.levels))
        for column, row, wanted in edge_requests(plain, number)
    }
    assert len(rendered) == (5 + 3) + (3 + 2 - 1) + 2 + 1
    assert keep_cut_tiles(pyramid_path, quality=88) == len(rendered)
    with tifffile.TiffFile(pyramid_path) as other:
        assert other.pages.first.shape[:2] == (200, 300)
    monkeypatch.setattr(render, "render", lambda *_: pytest.fail("a kept tile was decoded"))
    pyramid = read_pyramid(pyramid_path)
    for number in range(len(pyramid.levels)):
        for column, row, wanted in edge_requests(pyramid, number):
            body = render.answer(pyramid_path, pyramid, wanted, quality=88)
            shown, before = (
                decoded(each).astype(float) for each in (body, rendered[number, column, row])
            )
            assert shown.shape[:2] == (wanted.out_height_px, wanted.out_width_px)
            assert abs(shown - before).mean() < MOST_OFF, (number, column, row)


def test_a_pyramid_without_kept_tiles_or_with_a_torn_end_is_still_a_pyramid(
    pyramid_path: Path,
) -> None:
    assert read_pyramid(pyramid_path).cut == {}
    keep_cut_tiles(pyramid_path, quality=88)
    whole = pyramid_path.read_bytes()
    for end in (-1, -12, -13):
        pyramid_path.write_bytes(whole[:end])
        torn = read_pyramid(pyramid_path)
        assert (torn.cut, torn.width_px) == ({}, 300)
    pyramid_path.write_bytes(whole[:-12] + (2**31).to_bytes(4, "little") + b"CUTTILES")
    assert read_pyramid(pyramid_path).cut == {}


@pytest.mark.parametrize("scale", [1.0, 0.71, 0.5, 0.33, 0.25])
@pytest.mark.parametrize("region", [(0, 0, 300, 200), (37, 21, 150, 99), (201, 101, 99, 99)])
def test_a_region_lies_where_it_was_asked(
    pyramid_path: Path, region: tuple[int, int, int, int], scale: float
) -> None:
    """The shift against the picture itself, by least squares over its slopes, is half a pixel."""
    pyramid = read_pyramid(pyramid_path)
    x, y, wide, high = region
    out = (round(wide * scale), round(high * scale))
    wanted = asked(f"{x},{y},{wide},{high}", f"{out[0]},{out[1]}", "0", "default.png")
    found = decoded(render.answer(pyramid_path, pyramid, wanted, quality=88)).astype(float)
    bands = pyramid.levels[0].bands
    fitted = picture(bands=bands).crop(x, y, wide, high).resize(out[0] / wide, vscale=out[1] / high)
    expected = fitted.numpy().reshape(found.shape)
    down, right = np.gradient(expected, axis=(0, 1))
    slopes = np.stack([right.ravel(), down.ravel()], -1)
    shift_px = np.linalg.lstsq(slopes, (expected - found).ravel(), rcond=None)[0]
    assert np.abs(shift_px).max() <= 0.51


def test_work_grows_with_the_answer(pyramid_path: Path) -> None:
    pyramid = read_pyramid(pyramid_path)
    levels = [render.level_for(pyramid, asked("full", f"{wide},")) for wide in (300, 151, 150, 38)]
    assert levels == [0, 0, 1, 2]


def test_a_free_rotation_shows_the_ground_and_keeps_the_middle(pyramid_path: Path) -> None:
    pyramid = read_pyramid(pyramid_path)
    wanted = asked("100,50,100,100", "max", "45", "default.png")
    found = decoded(render.answer(pyramid_path, pyramid, wanted, quality=88))
    assert found.shape[0] == found.shape[1]
    assert abs(found.shape[0] - 141) <= 2
    assert found[0, 0, -1] == 0
    assert found[70, 70, -1] == 255


def test_the_description_offers_what_lies_there(pyramid_path: Path) -> None:
    pyramid = read_pyramid(pyramid_path)
    found = info.describe(pyramid, address="https://studio.example/p", limits=LIMITS)
    assert (found["width"], found["height"]) == (300, 200)
    assert found["tiles"] == [{"width": 64, "height": 64, "scaleFactors": [1, 2, 4, 8]}]
    assert found["sizes"][0] == {"width": 38, "height": 25}
    assert found["maxArea"] == LIMITS.max_area_px


@pytest.mark.parametrize("content", [b"", b"II*\0", b"no picture at all, only words " * 9])
def test_another_file_is_no_pyramid(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "other.tif"
    path.write_bytes(content)
    with pytest.raises(PyramidError):
        read_pyramid(path)


def test_a_tile_that_was_cut_off_is_noticed(pyramid_path: Path) -> None:
    pyramid: Pyramid = read_pyramid(pyramid_path)
    level = pyramid.levels[0]
    pyramid_path.write_bytes(pyramid_path.read_bytes()[: level.offsets[3] + 5])
    with pytest.raises(PyramidError, match="cut short"):
        read_tile(pyramid_path, level, 3, 0)
