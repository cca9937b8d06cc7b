"""Full decode: every layout gives the right picture, and the master stays as it was."""

from __future__ import annotations

import hashlib
import itertools
import json
import os
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import pyvips
import tifffile
from PIL import Image, ImageOps

from imaging_requests.imaging.files import derive
from imaging_requests.imaging.files.derive import build_derivatives
from imaging_requests.imaging.files.derived import Derived
from imaging_requests.imaging.files.limits import Limits
from imaging_requests.imaging.files.mark import stretched_mark
from imaging_requests.imaging.files.recipe import Tone
from imaging_requests.imaging.files.refusals import Reason, Unreadable
from imaging_requests.imaging.synthesis.colour import RGB_TO_XYZ, TONE_EXPONENT
from imaging_requests.imaging.synthesis.profiles import grey_profile, wide_rgb_profile
from tests.pure.files_samples import limits, pixels, recipe, write_tiff
from tests.pure.test_files_structure import LAYOUTS

JPEG_TOLERANCE = 4.0
"""Mean difference that JPEG at quality 88 with half colour resolution leaves in noisy samples."""


@pytest.fixture(autouse=True)
def no_memory_of_names() -> None:
    """Tests write other content under the same name; the decoder must look each time."""
    pyvips.cache_set_max(0)


def build(path: Path, tone: Tone = Tone.AUTO, bounds: Limits | None = None) -> Derived | Unreadable:
    sha256 = hashlib.sha256(path.read_bytes()).hexdigest()
    return build_derivatives(
        path, path.parent / "out", recipe(tone), source_sha256=sha256, limits=bounds or limits()
    )


def built(path: Path, tone: Tone = Tone.AUTO) -> Derived:
    found = build(path, tone)
    assert isinstance(found, Derived), found
    return found


def refused(path: Path, bounds: Limits | None = None) -> Unreadable:
    found = build(path, bounds=bounds)
    assert isinstance(found, Unreadable), found
    return found


def picture(path: Path, found: Derived, kind: str = "pyramid") -> np.ndarray:
    """Return a derived picture, read by a library that did not write it."""
    item = next(item for item in found.files if item.kind == kind)
    with Image.open(path.parent / "out" / item.name) as opened:
        return np.asarray(opened)


def save(array: np.ndarray, path: Path, *, interpretation: str, **options: Any) -> Path:
    image = pyvips.Image.new_from_array(array).copy(interpretation=interpretation)
    image.tiffsave(str(path), **options)
    return path


@pytest.mark.parametrize("bits", [8, 16])
@pytest.mark.parametrize("bands", [1, 3])
@pytest.mark.parametrize("layout", LAYOUTS)
def test_every_layout_gives_its_pixels_and_keeps_its_bytes(
    tmp_path: Path, layout: str, bands: int, bits: int
) -> None:
    options = dict(LAYOUTS[layout])
    if bands == 1 and options.pop("planar", False):
        options.pop("tile", None)
    array = pixels(bands=bands, bits=bits)
    path = write_tiff(tmp_path / "a.tif", array, **options)
    path.chmod(0o444)
    before, stat = path.read_bytes(), path.stat()
    found = built(path, Tone.MANAGED)
    assert path.read_bytes() == before
    assert (path.stat().st_mtime_ns, path.stat().st_ino) == (stat.st_mtime_ns, stat.st_ino)
    shown = picture(path, found).astype(float)
    expected = array / 257 if bits == 16 else array
    assert shown.shape == expected.shape
    assert np.abs(shown - expected).mean() < JPEG_TOLERANCE
    if bits == 16:
        planes = array.reshape(-1, bands)
        for band, channel in enumerate(found.levels):
            levels = np.unique(planes[:, band])
            assert channel.distinct == levels.size
            assert (channel.lowest, channel.highest) == (levels[0], levels[-1])
        assert len(found.levels) == bands
    else:
        assert found.levels == ()
    assert found.colour_source == "assumed"


@pytest.mark.parametrize("compression", ["lzw", "deflate", "packbits", "none"])
@pytest.mark.parametrize("predictor", ["none", "horizontal"])
def test_files_of_a_second_writer_are_decoded(
    tmp_path: Path, compression: str, predictor: str
) -> None:
    array = pixels()
    path = save(
        array, tmp_path / "a.tif", interpretation="rgb16", compression=compression,
        predictor=predictor,
    )  # fmt: skip
    found = built(path)
    assert found.levels[0].distinct == np.unique(array[..., 0]).size
    assert np.abs(picture(path, found) - array / 257).mean() < JPEG_TOLERANCE


@pytest.mark.parametrize(
    ("compression", "bands"),
    [
        *itertools.product(["none", "lzw", "deflate", "packbits"], [1, 3, 4]),
        ("jpeg", 1),
        ("jpeg", 3),
    ],
)
def test_tiles_of_a_second_writer_are_decoded(tmp_path: Path, compression: str, bands: int) -> None:
    array = pixels(bands=bands, bits=8, width=300, height=200)
    path = save(
        array, tmp_path / "a.tif", interpretation="b-w" if bands == 1 else "srgb",
        compression=compression, tile=True, tile_width=64, tile_height=64, Q=95,
    )  # fmt: skip
    shown = picture(path, built(path))
    expected = array[..., :3] if bands == 4 else array
    assert np.abs(shown - expected.astype(float)).mean() < JPEG_TOLERANCE


@pytest.mark.parametrize("options", [{"tile": (64, 64)}, {"tile": (64, 64), "bigtiff": True}, {}])
def test_an_oddity_in_a_descriptive_tag_is_no_damage(
    tmp_path: Path, options: dict[str, Any]
) -> None:
    """PageNumber takes two numbers; scanners write one, and the decoder grumbles."""
    extra = [(297, "H", 1, 3, True)]
    path = write_tiff(tmp_path / "a.tif", pixels(), extratags=extra, **options)
    assert np.abs(picture(path, built(path)) - pixels() / 257).mean() < JPEG_TOLERANCE


def test_one_large_compressed_strip_is_no_obstacle(tmp_path: Path) -> None:
    """60 MB that do not shrink, in one strip: the decoder's own bound would be 50 MB."""
    array = np.random.default_rng(2).integers(0, 65_536, (5_500, 5_500), np.uint16)
    path = write_tiff(
        tmp_path / "a.tif", array, compression="zlib", compressionargs={"level": 0},
        rowsperstrip=5_500,
    )  # fmt: skip
    assert built(path).levels[0].distinct == 65_536


@pytest.mark.parametrize("suffix", ["png", "jpg"])
def test_png_and_jpeg_are_decoded(tmp_path: Path, suffix: str) -> None:
    array = pixels(bits=8)
    path = tmp_path / f"a.{suffix}"
    Image.fromarray(array).save(path, **({"quality": 95} if suffix == "jpg" else {}))
    assert np.abs(picture(path, built(path)) - array.astype(float)).mean() < 2 * JPEG_TOLERANCE


def test_a_sixteen_bit_png_keeps_its_sixteen_bits(tmp_path: Path) -> None:
    array = pixels()
    image = pyvips.Image.new_from_array(array).copy(interpretation="rgb16")
    image.pngsave(str(tmp_path / "a.png"))
    assert built(tmp_path / "a.png").levels[1].distinct == np.unique(array[..., 1]).size


def test_the_pyramid_has_the_layout_that_tiles_leave_without_decoding(tmp_path: Path) -> None:
    path = write_tiff(tmp_path / "a.tif", pixels(width=1500, height=900))
    found = built(path)
    sizes = [(item.kind, item.width_px, item.height_px) for item in found.files]
    assert sizes == [
        ("pyramid", 1500, 900), ("thumbnail", 1024, 614), ("thumbnail", 256, 154),
    ]  # fmt: skip
    for item in found.files:
        assert (tmp_path / "out" / item.name).stat().st_size == item.size_bytes
    with tifffile.TiffFile(tmp_path / "out" / found.files[0].name) as file:
        assert [page.shape[:2] for page in file.pages] == [(900, 1500), (450, 750), (225, 375)]
        for page in file.pages:
            assert (page.tilewidth, page.tilelength, page.dtype) == (512, 512, np.uint8)
            assert (page.compression.name, page.photometric.name) == ("JPEG", "YCBCR")
        assert 34675 in file.pages[0].tags


def test_a_small_picture_is_not_enlarged(tmp_path: Path) -> None:
    path = write_tiff(tmp_path / "a.tif", pixels(width=90, height=40))
    assert {(item.width_px, item.height_px) for item in built(path).files} == {(90, 40)}


# Colour ----------------------------------------------------------------------------------------

D50_TO_LINEAR_SRGB = np.linalg.inv(
    # IEC 61966-2-1 primaries adapted to D50 (Bradford), as in the ICC profile of sRGB.
    [[0.43607, 0.38515, 0.14307], [0.22249, 0.71687, 0.06061], [0.01392, 0.09708, 0.71410]]
)


def srgb_of(rgb: tuple[float, float, float]) -> np.ndarray:
    """Return the 8-bit sRGB of a colour in the working space, computed from the definitions."""
    linear = D50_TO_LINEAR_SRGB @ RGB_TO_XYZ @ (np.array(rgb) ** TONE_EXPONENT)
    assert linear.min() >= 0
    assert linear.max() <= 1
    low, high = 12.92 * linear, 1.055 * linear ** (1 / 2.4) - 0.055
    return np.where(linear <= 0.0031308, low, high) * 255


@pytest.mark.parametrize(
    "rgb", [(0.5, 0.5, 0.5), (0.6, 0.4, 0.3), (0.3, 0.4, 0.5), (0.9, 0.85, 0.7), (0.1, 0.1, 0.12)]
)
def test_colours_go_through_the_embedded_profile(
    tmp_path: Path, rgb: tuple[float, float, float]
) -> None:
    array = np.full((64, 64, 3), np.round(np.array(rgb) * 65_535), np.uint16)
    path = write_tiff(tmp_path / "a.tif", array, iccprofile=wide_rgb_profile())
    found = built(path)
    assert found.colour_source == "embedded"
    expected = srgb_of(rgb)
    for kind in ("pyramid", "thumbnail"):
        assert np.abs(picture(path, found, kind)[32, 32] - expected).max() <= 1.5
    assert np.abs(expected - np.array(rgb) * 255).max() > 1.5, "the profile must make a difference"


def test_grey_goes_through_the_embedded_curve(tmp_path: Path) -> None:
    array = np.full((32, 32), round(0.2140 * 65_535), np.uint16)
    array[:2] = 0
    array[2:4] = 65_535
    path = write_tiff(tmp_path / "a.tif", array, iccprofile=grey_profile(is_linear=True))
    found = built(path, Tone.MANAGED)
    assert found.colour_source == "embedded"
    # Linear 0.2140 is sRGB 0.5: IEC 61966-2-1, ((0.5 + 0.055) / 1.055) ^ 2.4.
    assert abs(int(picture(path, found)[20, 20]) - 127.5) <= 1.5


def with_bytes(profile: bytes, at: int, changed: bytes) -> bytes:
    return profile[:at] + changed + profile[at + len(changed) :]


BROKEN_PROFILES = {
    "garbage": lambda good: b"x" * 500,
    "cut": lambda good: good[:200],
    "unusable curve": lambda good: good.replace(b"curv\0\0\0\0", b"crvx\0\0\0\0"),
    "unknown version": lambda good: with_bytes(good, 8, b"\x09\x90"),
    "unknown class": lambda good: with_bytes(good, 12, b"xxxx"),
    "wrong connection space": lambda good: with_bytes(good, 20, b"Yxy "),
}


@pytest.mark.parametrize("bands", [1, 3])
@pytest.mark.parametrize("fault", BROKEN_PROFILES)
def test_a_profile_that_cannot_be_used_is_said_and_not_guessed(
    tmp_path: Path, fault: str, bands: int
) -> None:
    good = grey_profile() if bands == 1 else wide_rgb_profile()
    array = pixels(bands=bands)
    path = write_tiff(tmp_path / "a.tif", array, iccprofile=BROKEN_PROFILES[fault](good))
    found = built(path, Tone.MANAGED)
    assert found.colour_source == "assumed"
    assert np.abs(picture(path, found) - array / 257).mean() < JPEG_TOLERANCE


@pytest.mark.parametrize("bands", [1, 3])
def test_a_profile_of_another_kind_of_colour_is_not_used(tmp_path: Path, bands: int) -> None:
    wrong = wide_rgb_profile() if bands == 1 else grey_profile()
    path = write_tiff(tmp_path / "a.tif", pixels(bands=bands), iccprofile=wrong)
    assert built(path).colour_source == "assumed"


def test_white_stays_white_whatever_white_the_profile_names(tmp_path: Path) -> None:
    """Relative colorimetric: the white of the space is the white of the screen."""
    good = wide_rgb_profile()
    d50, d65 = (
        b"".join(round(value * 65_536).to_bytes(4, "big") for value in white)
        for white in ((0.9642, 1.0, 0.8249), (0.9505, 1.0, 1.0890))
    )
    at = good.index(b"XYZ " + bytes(4) + d50)
    path = write_tiff(
        tmp_path / "a.tif", np.full((40, 40, 3), 65_535, np.uint16),
        iccprofile=with_bytes(with_bytes(good, at + 8, d65), 12, b"scnr"),
    )  # fmt: skip
    found = built(path)
    assert found.colour_source == "embedded"
    assert picture(path, found).min() >= 254


def test_lab_and_cmyk_give_a_picture_or_a_sentence(tmp_path: Path) -> None:
    lab = np.full((40, 40, 3), (53.4, 0, 0), np.float32)
    image = pyvips.Image.new_from_array(lab).copy(interpretation="lab")
    path = tmp_path / "a.tif"
    image.colourspace("labs").tiffsave(str(path))
    # L* 53.4 without colour is 8-bit sRGB grey 127 (CIE 15 and IEC 61966-2-1).
    assert np.abs(picture(path, built(path)).astype(float) - 127).max() <= 2
    image.colourspace("labq").tiffsave(str(tmp_path / "c.tif"))
    assert refused(tmp_path / "c.tif").reason is Reason.UNSUPPORTED
    cmyk = np.full((40, 40, 4), 60, np.uint8)
    path = save(cmyk, tmp_path / "b.tif", interpretation="cmyk")
    assert picture(path, built(path)).shape == (40, 40, 3)


# Stretched tone --------------------------------------------------------------------------------


def test_a_dark_infrared_frame_is_stretched_and_says_so(tmp_path: Path) -> None:
    array = np.tile(np.linspace(400, 1900, 600).astype(np.uint16), (400, 1))
    path = write_tiff(tmp_path / "a.tif", array)
    found = built(path)
    low, high = np.percentile(array, [0.5, 99.5], method="inverted_cdf")
    assert found.is_tone_stretched
    assert found.window == (low, high)
    expected = np.clip((array - low) / (high - low), 0, 1) * 255
    shown = picture(path, found)
    assert np.abs(shown - expected).mean() < JPEG_TOLERANCE
    assert built(path, Tone.MANAGED).window is None
    assert picture(path, built(path, Tone.MANAGED)).max() < 20


def test_the_mark_is_in_the_thumbnails_and_not_in_the_pyramid(tmp_path: Path) -> None:
    array = np.tile(np.linspace(0, 65_535, 700).astype(np.uint16), (500, 1))
    path = write_tiff(tmp_path / "a.tif", array)
    found = built(path)
    thumbnails = [item for item in found.files if item.kind == "thumbnail"]
    assert len(thumbnails) == 2
    for item in thumbnails:
        with Image.open(tmp_path / "out" / item.name) as opened:
            shown = np.asarray(opened).astype(float)
        mark = stretched_mark(width_px=item.width_px, height_px=item.height_px)
        corner = shown[-mark.shape[0] :, : mark.shape[1]]
        assert np.corrcoef(corner.ravel(), mark.ravel())[0, 1] > 0.9, item.name
    corner = picture(path, found)[-20:, :150].astype(float)
    assert np.abs(np.diff(corner, axis=0)).max() < 12
    managed = built(path, Tone.MANAGED)
    shown = picture(path, managed, "thumbnail").astype(float)
    assert np.abs(np.diff(shown, axis=0)).max() < 12


@pytest.mark.parametrize("level", [0, 300, 65_535])
def test_an_even_frame_has_nothing_to_stretch(tmp_path: Path, level: int) -> None:
    path = write_tiff(tmp_path / "a.tif", np.full((40, 50), level, np.uint16))
    found = built(path)
    assert (found.is_tone_stretched, found.window) == (False, None)
    assert abs(int(picture(path, found)[20, 20]) - level / 257) <= 1


def test_a_picture_with_white_as_zero_is_shown_the_right_way_round(tmp_path: Path) -> None:
    array = pixels(bands=1)
    path = write_tiff(tmp_path / "a.tif", array, photometric="miniswhite")
    shown = picture(path, built(path, Tone.MANAGED))
    assert np.abs(shown - (65_535 - array.astype(float)) / 257).mean() < JPEG_TOLERANCE


# Orientation, transparency -----------------------------------------------------------------------

TURNS = {
    1: lambda a: a, 2: np.fliplr, 3: lambda a: np.rot90(a, 2), 4: np.flipud,
    5: lambda a: np.swapaxes(a, 0, 1), 6: lambda a: np.rot90(a, -1),
    7: lambda a: np.rot90(np.swapaxes(a, 0, 1), 2), 8: np.rot90,
}  # fmt: skip


@pytest.mark.parametrize("orientation", range(1, 9))
@pytest.mark.parametrize("bands", [1, 3])
def test_turned_masters_are_shown_upright(tmp_path: Path, orientation: int, bands: int) -> None:
    """TIFF 6.0, tag Orientation: where row 0 and column 0 lie; Pillow is a second opinion on RGB
    (it leaves turned grey pictures lying)."""
    array = pixels(bands=bands, bits=8)
    extra = [(274, "H", 1, orientation, True)]
    path = write_tiff(tmp_path / "a.tif", array, extratags=extra)
    found = built(path)
    expected = TURNS[orientation](array)
    with Image.open(path) as opened:
        second = np.asarray(ImageOps.exif_transpose(opened))
    if bands == 3:
        assert (second == expected).all()
    shown = picture(path, found)
    assert shown.shape == expected.shape
    assert np.abs(shown - expected.astype(float)).mean() < JPEG_TOLERANCE
    assert (found.turned_from, found.width_px) == (orientation, expected.shape[1])


@pytest.mark.parametrize(("alpha", "is_opaque"), [(65_535, True), (30_000, False)])
def test_transparency_is_left_out_and_told(tmp_path: Path, alpha: int, is_opaque: bool) -> None:
    array = pixels(bands=4)
    array[..., 3] = 65_535
    array[:10, :, 3] = alpha
    path = write_tiff(tmp_path / "a.tif", array, extrasamples=["UNASSALPHA"])
    found = built(path)
    assert found.alpha_is_opaque is is_opaque
    assert len(found.levels) == 3
    assert np.abs(picture(path, found) - array[..., :3] / 257).mean() < JPEG_TOLERANCE


# Names and repetition ----------------------------------------------------------------------------


def test_a_second_run_finds_the_results_and_a_gap_is_filled(tmp_path: Path) -> None:
    path = write_tiff(tmp_path / "a.tif", pixels())
    first = built(path)
    assert not first.was_there
    stamps = {item.name: (tmp_path / "out" / item.name).stat().st_mtime_ns for item in first.files}
    second = built(path)
    assert second.was_there
    for name, stamp in stamps.items():
        assert (tmp_path / "out" / name).stat().st_mtime_ns == stamp
    (tmp_path / "out" / first.files[1].name).write_bytes(b"half")
    third = built(path)
    assert not third.was_there
    assert picture(path, third, "thumbnail").size


def test_another_recipe_or_source_gets_other_names(tmp_path: Path) -> None:
    one = built(write_tiff(tmp_path / "a.tif", pixels(bands=1)))
    other = built(write_tiff(tmp_path / "b.tif", pixels(bands=1, seed=8)))
    managed = built(tmp_path / "a.tif", Tone.MANAGED)
    assert len({one.key, other.key, managed.key}) == 3
    assert len(list((tmp_path / "out").iterdir())) == 12


def test_a_result_survives_json(tmp_path: Path) -> None:
    found = built(write_tiff(tmp_path / "a.tif", pixels(bands=1)))
    assert Derived.from_data(json.loads(json.dumps(found.as_data()))) == found


# Bad input -------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "options", [{"rowsperstrip": 8}, {"tile": (64, 64)}, {"compression": "zlib"}, {"bigtiff": True}]
)
@pytest.mark.parametrize("share", [0.3, 0.6, 0.99])
def test_a_truncated_tiff_never_passes(
    tmp_path: Path, options: dict[str, Any], share: float
) -> None:
    path = write_tiff(tmp_path / "a.tif", pixels(width=400, height=300), **options)
    os.truncate(path, int(path.stat().st_size * share))
    found = refused(path)
    assert found.reason in (Reason.DAMAGED, Reason.TRUNCATED)
    assert "opy it again from the card" in found.sentence
    assert list((tmp_path / "out").glob("*")) == []


@pytest.mark.parametrize("suffix", ["jpg", "png"])
def test_a_truncated_jpeg_or_png_never_passes(tmp_path: Path, suffix: str) -> None:
    path = tmp_path / f"a.{suffix}"
    Image.fromarray(pixels(bits=8, width=600, height=400)).save(path)
    os.truncate(path, path.stat().st_size * 2 // 3)
    assert refused(path).reason is Reason.TRUNCATED


@pytest.mark.parametrize(
    "options", [{"rowsperstrip": 8}, {"tile": (32, 32)}, {"tile": (32, 32), "planar": True}]
)
@pytest.mark.parametrize("bits", [8, 16])
def test_one_damaged_strip_or_tile_in_the_middle_never_passes(
    tmp_path: Path, options: dict[str, Any], bits: int
) -> None:
    path = write_tiff(tmp_path / "a.tif", pixels(bits=bits), compression="zlib", **options)
    with tifffile.TiffFile(path) as file:
        page = file.pages[0]
        at, count = page.dataoffsets[6], page.databytecounts[6]
    with open(path, "r+b") as handle:
        handle.seek(at + 2)
        handle.write(os.urandom(count - 2))
    found = refused(path)
    assert found.reason is Reason.DAMAGED
    assert found.detail


def test_bombs_are_refused_by_their_header(tmp_path: Path) -> None:
    image = pyvips.Image.black(20_000, 20_000)
    image.tiffsave(str(tmp_path / "a.tif"), compression="deflate", tile=True)
    found = refused(tmp_path / "a.tif")
    assert found.reason is Reason.EXPANDS_TOO_FAR
    assert "400,000,000 bytes" in found.sentence
    image.pngsave(str(tmp_path / "a.png"), compression=9)
    assert refused(tmp_path / "a.png").reason is Reason.EXPANDS_TOO_FAR
    found = refused(write_tiff(tmp_path / "b.tif", pixels()), limits(max_pixels=10_000))
    assert found.reason is Reason.TOO_MANY_PIXELS
    assert "150 × 101 pixels" in found.sentence


def test_a_header_that_claims_four_gigapixels_is_refused_before_decoding(tmp_path: Path) -> None:
    path = write_tiff(tmp_path / "a.tif", pixels())
    with tifffile.TiffFile(path) as file:
        tags = file.pages[0].tags
        spots = [tags[256].valueoffset, tags[257].valueoffset]
        kinds = [int(tags[256].dtype), int(tags[257].dtype)]
    with open(path, "r+b") as handle:
        for spot, kind in zip(spots, kinds, strict=True):
            handle.seek(spot)
            handle.write((65_535).to_bytes(2 if kind == 3 else 4, "little"))
    assert refused(path).reason is Reason.TOO_MANY_PIXELS


@pytest.mark.parametrize(
    ("array", "words"),
    [
        (pixels(bands=1).astype(np.float32), "32-bit float"),
        (pixels(bands=1).astype(np.int16), "16-bit signed"),
        (pixels(bands=1).astype(np.uint32), "32-bit unsigned"),
    ],
)
def test_other_samples_are_refused_in_words(tmp_path: Path, array: np.ndarray, words: str) -> None:
    found = refused(write_tiff(tmp_path / "a.tif", array))
    assert found.reason is Reason.UNSUPPORTED
    assert words in found.sentence


def test_too_many_channels_are_refused(tmp_path: Path) -> None:
    path = tmp_path / "a.tif"
    tifffile.imwrite(
        path, np.zeros((8, 8, 9), np.uint8), photometric="minisblack", planarconfig="contig",
        metadata=None,
    )  # fmt: skip
    assert "9 channels" in refused(path).sentence


def test_a_compression_that_is_not_built_in_is_refused_in_words(tmp_path: Path) -> None:
    path = write_tiff(tmp_path / "a.tif", pixels(), compression="zlib")
    with tifffile.TiffFile(path) as file:
        at = file.pages[0].tags[259].valueoffset
    with open(path, "r+b") as handle:
        handle.seek(at)
        handle.write((50_000).to_bytes(2, "little"))
    found = refused(path)
    assert found.reason is Reason.UNSUPPORTED
    assert "LZW or deflate" in found.sentence


def test_a_full_disk_is_not_the_fault_of_the_file(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*_: object) -> None:
        raise pyvips.Error("unable to call tiffsave", "write error\nsystem error: No space left")

    path = write_tiff(tmp_path / "a.tif", pixels())
    monkeypatch.setattr(derive, "_write_pyramid", full)
    with pytest.raises(OSError, match="No space left"):
        build(path)
    assert list((tmp_path / "out").iterdir()) == []
