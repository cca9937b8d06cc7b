"""Files are what a camera would write: 16 bits, profile, Exif, true resolution."""

from __future__ import annotations

import io
from dataclasses import replace
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path

import cv2
import numpy as np
import pytest
import pyvips
import tifffile
from numpy.typing import NDArray
from PIL import Image, ImageCms

from imaging_requests.imaging.synthesis import CameraNotes, capture_slate, write_tiff
from imaging_requests.imaging.synthesis.colour import lab_to_rgb, to_screen
from imaging_requests.imaging.synthesis.profiles import grey_profile, wide_rgb_profile

TAKEN = datetime(2026, 4, 15, 9, 30, 12, 340000, tzinfo=timezone(timedelta(hours=2)))
NOTES = CameraNotes(taken_at=TAKEN, exposure_s=0.008, is_flash_fired=True)


@pytest.fixture
def colour_frame() -> NDArray[np.uint16]:
    return np.random.default_rng(1).integers(0, 65536, (211, 307, 3)).astype(np.uint16)


@pytest.fixture
def grey_frame() -> NDArray[np.uint16]:
    return np.random.default_rng(2).integers(0, 65536, (97, 131)).astype(np.uint16)


@pytest.mark.parametrize("compression", ["none", "deflate"])
def test_pixels_come_back_unchanged(
    tmp_path: Path,
    colour_frame: NDArray[np.uint16],
    grey_frame: NDArray[np.uint16],
    compression: str,
) -> None:
    for name, frame in (("colour", colour_frame), ("grey", grey_frame)):
        path = tmp_path / f"{name}.tif"
        size = write_tiff(path, frame, px_per_mm=1.5, notes=NOTES, compression=compression)  # type: ignore[arg-type]
        assert path.stat().st_size == size
        np.testing.assert_array_equal(tifffile.imread(path), frame)
        image = pyvips.Image.new_from_file(str(path), fail_on="error")
        np.testing.assert_array_equal(image.numpy(), frame)


def test_exif_says_who_when_and_how(tmp_path: Path, colour_frame: NDArray[np.uint16]) -> None:
    path = tmp_path / "FB1_0042.tif"
    write_tiff(path, colour_frame, px_per_mm=1.5, notes=NOTES)
    with Image.open(path) as image:
        main, exif = image.getexif(), image.getexif().get_ifd(0x8769)
    assert main[271] == "Fenwick Optical"
    assert main[272] == "Bay One"
    assert main[274] == 1
    assert exif[36867] == "2026:04:15 09:30:12"
    assert exif[36881] == "+02:00"
    assert exif[37521] == "34"
    assert exif[42033] == "FO-100413"
    assert exif[42037] == "FL-20877"
    assert float(exif[33434]) == pytest.approx(0.008)
    assert float(exif[33437]) == 8.0
    assert exif[34855] == 100
    assert float(exif[37386]) == 120.0
    assert exif[37385] == 1
    assert (exif[40962], exif[40963]) == (307, 211)


def test_every_exif_value_is_seen_by_a_second_reader(
    tmp_path: Path, colour_frame: NDArray[np.uint16]
) -> None:
    path = tmp_path / "a.tif"
    write_tiff(path, colour_frame, px_per_mm=1.5, notes=NOTES)
    with tifffile.TiffFile(path) as file:
        tags = file.pages[0].tags  # type: ignore[union-attr]
        assert tags["ExifTag"].value["BodySerialNumber"] == "FO-100413"
        assert tags["ExifTag"].value["OffsetTimeOriginal"] == "+02:00"
        assert tags["XResolution"].value == (15, 1)
        assert tags["ResolutionUnit"].value == 3


@pytest.mark.parametrize("px_per_mm", [0.375, 1.5, 11.83, 24.0])
def test_resolution_is_true(
    tmp_path: Path, colour_frame: NDArray[np.uint16], px_per_mm: float
) -> None:
    path = tmp_path / "a.tif"
    write_tiff(path, colour_frame, px_per_mm=px_per_mm, notes=NOTES)
    image = pyvips.Image.new_from_file(str(path))
    assert image.xres == pytest.approx(px_per_mm, rel=1e-6)
    assert image.yres == pytest.approx(px_per_mm, rel=1e-6)


def test_profiles_load_and_lead_to_the_right_colours() -> None:
    srgb = ImageCms.createProfile("sRGB")
    profile = ImageCms.ImageCmsProfile(io.BytesIO(wide_rgb_profile()))
    assert ImageCms.getProfileDescription(profile).strip() == "Ardenmoor wide RGB"
    assert len(wide_rgb_profile()) < 1024
    convert = ImageCms.buildTransform(profile, srgb, "RGB", "RGB", renderingIntent=1)
    for lab in ((50, 0, 0), (66, 18, 58), (40, -8, -30), (74, -22, 20)):
        value = np.sqrt(np.array(lab_to_rgb(*lab)))
        patch = Image.new("RGB", (1, 1), tuple(round(float(v) * 255) for v in value))
        shown = ImageCms.applyTransform(patch, convert)
        assert shown is not None
        ours = to_screen((value * 65535).astype(np.uint16).reshape(1, 1, 3))[0, 0]
        np.testing.assert_allclose(shown.getpixel((0, 0)), ours, atol=3)
    for is_linear, name in ((False, "Ardenmoor grey"), (True, "Ardenmoor grey linear")):
        grey = ImageCms.ImageCmsProfile(io.BytesIO(grey_profile(is_linear=is_linear)))
        assert ImageCms.getProfileDescription(grey).strip() == name
        ImageCms.buildTransform(grey, srgb, "L", "RGB")


@pytest.mark.parametrize(("is_linear", "value"), [(False, 0.4663), (True, 0.2175)])
def test_a_mid_grey_is_the_same_grey_in_both_grey_profiles(
    tmp_path: Path, is_linear: bool, value: float
) -> None:
    path = tmp_path / "grey.tif"
    frame = np.full((20, 20), round(value * 65535), np.uint16)
    write_tiff(path, frame, px_per_mm=1.0, notes=NOTES, is_linear=is_linear)
    image = pyvips.Image.new_from_file(str(path))
    shown = image.icc_transform("srgb", embedded=True, depth=8)
    assert shown.avg() == pytest.approx(128, abs=2)


def test_a_profile_can_be_left_out_or_be_another(
    tmp_path: Path, colour_frame: NDArray[np.uint16]
) -> None:
    write_tiff(tmp_path / "none.tif", colour_frame, px_per_mm=1.5, notes=NOTES, has_profile=False)
    with Image.open(tmp_path / "none.tif") as image:
        assert "icc_profile" not in image.info
    write_tiff(tmp_path / "other.tif", colour_frame, px_per_mm=1.5, notes=NOTES, profile=b"x" * 200)
    with Image.open(tmp_path / "other.tif") as image:
        assert image.info["icc_profile"] == b"x" * 200


def test_an_existing_file_is_not_touched(tmp_path: Path, grey_frame: NDArray[np.uint16]) -> None:
    path = tmp_path / "a.tif"
    path.write_bytes(b"master")
    with pytest.raises(FileExistsError):
        write_tiff(path, grey_frame, px_per_mm=1.0, notes=NOTES)
    assert path.read_bytes() == b"master"


def test_what_no_camera_writes_is_refused(tmp_path: Path, grey_frame: NDArray[np.uint16]) -> None:
    path = tmp_path / "a.tif"
    with pytest.raises(ValueError, match="16-bit"):
        write_tiff(path, grey_frame.astype(np.uint8), px_per_mm=1.0, notes=NOTES)  # type: ignore[arg-type]
    with pytest.raises(ValueError, match="three channels"):
        write_tiff(path, np.zeros((4, 4, 4), np.uint16), px_per_mm=1.0, notes=NOTES)
    naive = replace(NOTES, taken_at=datetime(2026, 4, 15, 9, 30))
    with pytest.raises(ValueError, match="offset"):
        write_tiff(path, grey_frame, px_per_mm=1.0, notes=naive)
    assert not path.exists()


def test_the_slate_can_be_read_by_machine() -> None:
    code = "AR 0038|BAY|2026-04-15T07:30:12Z"
    frame = capture_slate(("15 Apr 2026  09:30:12", "AR 0038", "BAY VF-F"), code=code)
    grey = to_screen(frame)
    text, _, _ = cv2.QRCodeDetector().detectAndDecode(grey)
    assert text == code


def test_times_keep_their_offset_when_it_is_utc(
    tmp_path: Path, grey_frame: NDArray[np.uint16]
) -> None:
    path = tmp_path / "a.tif"
    write_tiff(
        path, grey_frame, px_per_mm=1.0, notes=replace(NOTES, taken_at=TAKEN.astimezone(UTC))
    )
    with Image.open(path) as image:
        assert image.getexif().get_ifd(0x8769)[36881] == "+00:00"
