"""Plates, JPEG 2000, raw camera files and 12 bits: read as they say, or refused in words.

Outside truths: pydicom 3 and the radiographs of pydicom-data 1.0.0 (``RG1_UNCR.dcm``, MONOCHROME1,
15 bits, a file that is a TIFF as well; ``RG1_J2KR.dcm`` holds the same plate compressed), OpenJPEG
as built into Pillow 13 (writes JPEG 2000), tifffile (lays out the raw file).
"""

from __future__ import annotations

import io
import os
import struct
import zlib
from pathlib import Path
from typing import Any

import numpy as np
import pydicom
import pytest
import tifffile
from PIL import Image
from pydicom.dataset import Dataset, FileMetaDataset
from pydicom.uid import (
    DeflatedExplicitVRLittleEndian,
    ExplicitVRBigEndian,
    ExplicitVRLittleEndian,
    ImplicitVRLittleEndian,
    JPEG2000Lossless,
    generate_uid,
)

from imaging_requests.imaging.files import unfold
from imaging_requests.imaging.files.decode import open_pixels
from imaging_requests.imaging.files.derive import build_derivatives
from imaging_requests.imaging.files.derived import Derived
from imaging_requests.imaging.files.facts import Structure
from imaging_requests.imaging.files.limits import refuse_by_header
from imaging_requests.imaging.files.refusals import Reason, Unreadable
from imaging_requests.imaging.files.structure import read_structure
from imaging_requests.imaging.files.verdicts import Outcome, check_structure
from imaging_requests.imaging.synthesis.profiles import wide_rgb_profile
from tests.pure.files_samples import checks, limits, pixels, recipe

RADIOGRAPHS = Path(pydicom.__file__).parents[1] / "data_store" / "data"


def structure_of(path: Path) -> Structure:
    found = read_structure(path)
    assert isinstance(found, Structure), found
    return Structure.from_data(found.as_data())


def refused(path: Path) -> Unreadable:
    found = read_structure(path)
    if isinstance(found, Structure):
        found = refuse_by_header(found, limits())  # type: ignore[assignment]
    assert isinstance(found, Unreadable), found
    return found


def levels_of(path: Path, tmp_path: Path) -> Any:
    scratch = tmp_path / "scratch"
    scratch.mkdir(exist_ok=True)
    return open_pixels(path, structure_of(path), scratch).numpy()


def derived(path: Path, tmp_path: Path) -> Derived:
    found = build_derivatives(
        path, tmp_path / "out", recipe(), source_sha256="a" * 64, limits=limits()
    )
    assert isinstance(found, Derived), found
    return found


def verdict(path: Path, rule: str, decoded: Derived | None = None) -> Any:
    found = check_structure(structure_of(path), checks=checks(), decoded=decoded)
    return next(each for each in found if each.rule_id == rule)


# Plates


def plate(
    path: Path,
    levels: np.ndarray,
    *,
    polarity: str = "MONOCHROME2",
    syntax: Any = ExplicitVRLittleEndian,
    stored: int = 0,
    high: int | None = None,
    **more: Any,
) -> Path:
    meta = FileMetaDataset()
    meta.MediaStorageSOPClassUID = "1.2.840.10008.5.1.4.1.1.7"
    meta.MediaStorageSOPInstanceUID = generate_uid()
    meta.TransferSyntaxUID = syntax
    data = Dataset()
    data.file_meta, data.preamble = meta, bytes(128)
    data.Rows, data.Columns = levels.shape
    data.SamplesPerPixel = 1
    data.PhotometricInterpretation = polarity
    data.BitsAllocated = levels.dtype.itemsize * 8
    data.BitsStored = stored or data.BitsAllocated
    data.HighBit = data.BitsStored - 1 if high is None else high
    data.PixelRepresentation = int(levels.dtype.kind == "i")
    data.Manufacturer, data.AcquisitionDate, data.AcquisitionTime = "Lumen Yard", "20260304", "1020"
    data.ContentDate, data.ContentTime = "20260304", "102030.250"
    data.ImagerPixelSpacing = [0.2, 0.1]
    for name, value in more.items():
        setattr(data, name, value)
    is_big = syntax == ExplicitVRBigEndian
    data.PixelData = levels.astype(levels.dtype.newbyteorder(">" if is_big else "<")).tobytes()
    data["PixelData"].VR = "OW"
    pydicom.dcmwrite(path, data, enforce_file_format=True)
    return path


RAMP = np.linspace(0, 4095, 40 * 30).astype(np.uint16).reshape(30, 40)


@pytest.mark.parametrize(
    "syntax", [ExplicitVRLittleEndian, ImplicitVRLittleEndian, ExplicitVRBigEndian]
)
@pytest.mark.parametrize("polarity", ["MONOCHROME1", "MONOCHROME2"])
def test_levels_come_in_the_order_that_the_polarity_states(
    tmp_path: Path, syntax: Any, polarity: str
) -> None:
    path = plate(tmp_path / "a.dcm", RAMP, polarity=polarity, syntax=syntax, stored=12)
    expected = 4095 - RAMP if polarity == "MONOCHROME1" else RAMP
    assert np.array_equal(levels_of(path, tmp_path), expected)


def test_signed_shifted_and_eight_bit_levels(tmp_path: Path) -> None:
    signed = (RAMP.astype(np.int32) - 2048).astype(np.int16)
    path = plate(tmp_path / "signed.dcm", signed, stored=12)
    assert np.array_equal(levels_of(path, tmp_path), RAMP)
    high = plate(tmp_path / "high.dcm", RAMP << 4, stored=12, high=15)
    assert np.array_equal(levels_of(high, tmp_path), RAMP)
    dirty = plate(tmp_path / "dirty.dcm", RAMP | np.uint16(0xF000), stored=12)
    assert np.array_equal(levels_of(dirty, tmp_path), RAMP), "bits beyond the level mean nothing"
    small = (RAMP >> 4).astype(np.uint8)
    eight = plate(tmp_path / "eight.dcm", small, polarity="MONOCHROME1")
    assert np.array_equal(levels_of(eight, tmp_path), 255 - small)


def test_a_falling_scale_turns_the_polarity_over(tmp_path: Path) -> None:
    path = plate(
        tmp_path / "a.dcm", RAMP, polarity="MONOCHROME1", stored=12, RescaleSlope=-2,
        RescaleIntercept=100,
    )  # fmt: skip
    assert np.array_equal(levels_of(path, tmp_path), RAMP)
    said = verdict(path, "G4").sentence
    assert "MONOCHROME1, low levels are dark, 12 of 16 bits used" in said
    assert "maker's value = -2 × level +100" in said


def test_the_plate_says_when_and_how_dense_it_was_taken(tmp_path: Path) -> None:
    found = structure_of(plate(tmp_path / "a.dcm", RAMP))
    assert found.resolution_px_per_mm == pytest.approx((10, 5))
    assert found.exif is not None
    assert (found.exif.make, found.exif.captured_text) == ("Lumen Yard", "2026:03:04 10:20:00")


def test_a_published_radiograph_is_shown_with_its_polarity_respected(tmp_path: Path) -> None:
    path = RADIOGRAPHS / "RG1_UNCR.dcm"
    before = path.read_bytes()
    found = structure_of(path)
    assert (found.width_px, found.height_px, found.bits_per_sample) == (1841, 1955, 16)
    assert found.radiograph is not None
    assert (found.radiograph.polarity, found.radiograph.stored_bits) == ("MONOCHROME1", 15)
    truth = pydicom.dcmread(path).pixel_array
    assert np.array_equal(levels_of(path, tmp_path), 2**15 - 1 - truth)
    made = derived(path, tmp_path)
    assert made.is_tone_stretched
    with Image.open(tmp_path / "out" / made.files[2].name) as small:
        shown = np.asarray(small.convert("L"), np.float64)
    reduced = np.asarray(
        Image.fromarray((truth / 2**7).astype(np.uint8)).resize(small.size), np.float64
    )
    assert np.corrcoef(shown.ravel(), reduced.ravel())[0, 1] < -0.8, "shown turned over"
    assert verdict(path, "G4", made).outcome is Outcome.PASS
    assert verdict(path, "G3", made).outcome is Outcome.PASS
    assert path.read_bytes() == before


def test_the_same_radiograph_compressed_is_refused_by_name(tmp_path: Path) -> None:
    found = refused(RADIOGRAPHS / "RG1_J2KR.dcm")
    assert found.reason is Reason.UNSUPPORTED
    assert "compressed (JPEG 2000 Image Compression (Lossless Only))" in found.sentence
    assert "Explicit VR Little Endian" in found.sentence


def test_other_dicom_files_are_refused_in_words(tmp_path: Path) -> None:
    path = plate(tmp_path / "a.dcm", RAMP)
    data = pydicom.dcmread(path)
    for name, change, words in (
        ("colour", {"PhotometricInterpretation": "PALETTE COLOR"}, "PALETTE COLOR"),
        ("bits", {"BitsStored": 17}, "17 of 16 bits"),
        ("empty", {"Rows": 0}, "no width or no height"),
    ):
        for key, value in change.items():
            setattr(data, key, value)
        data.save_as(tmp_path / f"{name}.dcm")
        assert words in refused(tmp_path / f"{name}.dcm").sentence, name
        data = pydicom.dcmread(path)
    del data.Rows, data.PixelData
    data.save_as(tmp_path / "report.dcm")
    assert "holds no picture" in refused(tmp_path / "report.dcm").sentence
    data = pydicom.dcmread(path)
    data.file_meta.TransferSyntaxUID = DeflatedExplicitVRLittleEndian
    data.save_as(tmp_path / "deflated.dcm")
    assert "deflated" in refused(tmp_path / "deflated.dcm").sentence
    data = pydicom.dcmread(path)
    data.file_meta.TransferSyntaxUID = JPEG2000Lossless
    data.PixelData = pydicom.encaps.encapsulate([b"\xff\x4f"])
    data.save_as(tmp_path / "packed.dcm")
    assert refused(tmp_path / "packed.dcm").reason is Reason.UNSUPPORTED


def test_a_plate_that_lost_its_tail_or_its_head_is_known(tmp_path: Path) -> None:
    path = plate(tmp_path / "a.dcm", RAMP)
    whole = path.read_bytes()
    path.write_bytes(whole[:-10])
    assert refused(path).reason is Reason.TRUNCATED
    for keep in range(128, 500, 7):
        path.write_bytes(whole[:keep])
        found = read_structure(path)
        assert isinstance(found, Unreadable) or not found.length.is_complete, keep


def test_noise_in_a_dicom_header_is_read_or_refused_but_never_breaks(tmp_path: Path) -> None:
    whole = plate(tmp_path / "a.dcm", RAMP).read_bytes()
    rng = np.random.default_rng(9)
    for turn in range(150):
        spoilt = bytearray(whole)
        for at in rng.integers(132, 900, 6):
            spoilt[at] = rng.integers(0, 256)
        path = tmp_path / f"{turn}.dcm"
        path.write_bytes(bytes(spoilt))
        found = read_structure(path)
        assert isinstance(found, Structure | Unreadable)


# JPEG 2000


@pytest.mark.parametrize("ending", ["jp2", "j2k"])
@pytest.mark.parametrize("bands", [1, 3])
def test_jpeg_2000_gives_the_same_pixels_as_its_writer(
    tmp_path: Path, ending: str, bands: int
) -> None:
    truth = pixels(bands=bands, bits=8)
    path = tmp_path / f"a.{ending}"
    Image.fromarray(truth).save(path, irreversible=False, tile_size=(64, 64))
    found = structure_of(path)
    assert (found.width_px, found.height_px, found.bands) == (150, 101, bands)
    assert found.is_lossy is False
    assert np.array_equal(levels_of(path, tmp_path).squeeze(), truth)


def test_sixteen_bits_survive_in_jpeg_2000(tmp_path: Path) -> None:
    truth = pixels(bands=1)
    path = tmp_path / "a.jp2"
    Image.fromarray(truth).save(path, irreversible=False)
    assert structure_of(path).bits_per_sample == 16
    assert np.array_equal(levels_of(path, tmp_path).squeeze(), truth)
    assert derived(path, tmp_path).is_tone_stretched


def test_lossy_jpeg_2000_fails_as_a_master_and_its_profile_is_read(tmp_path: Path) -> None:
    path = tmp_path / "a.jp2"
    Image.fromarray(pixels(bits=8)).save(
        path, irreversible=True, quality_layers=[20], icc_profile=wide_rgb_profile()
    )
    found = structure_of(path)
    assert found.is_lossy
    assert verdict(path, "G7").outcome is Outcome.FAIL
    if found.profile is not None:
        assert found.profile.is_sound


@pytest.mark.parametrize("ending", ["jp2", "j2k"])
def test_a_jpeg_2000_that_was_cut_short_is_known_before_it_is_decoded(
    tmp_path: Path, ending: str
) -> None:
    path = tmp_path / f"a.{ending}"
    Image.fromarray(pixels(bits=8)).save(path, tile_size=(64, 64))
    size = path.stat().st_size
    for lost in (1, 100, size // 2, size - 30):
        path.write_bytes(path.read_bytes()[: size - lost])
        found = refused(path)
        assert found.reason in (Reason.TRUNCATED, Reason.DAMAGED), (lost, found)
        Image.fromarray(pixels(bits=8)).save(path, tile_size=(64, 64))


# Raw camera files


def jpeg(width: int, height: int, **options: Any) -> bytes:
    out = io.BytesIO()
    Image.fromarray(pixels(bits=8, width=width, height=height)).save(out, "JPEG", **options)
    return out.getvalue()


def raw_file(path: Path, *, previews: bool = True) -> Path:
    """A raw file as DNG lays it out: thumbnail first, sensor data and preview below it."""
    sensor = np.random.default_rng(5).integers(0, 16_000, (400, 600), np.uint16)
    small, large = jpeg(64, 48), jpeg(480, 320, quality=90)
    with tifffile.TiffWriter(path) as file:
        file.write(
            pixels(bits=8, width=32, height=24), photometric="rgb", subfiletype=1, subifds=1,
            metadata=None,
            extratags=[
                (50706, "B", 4, b"\1\4\0\0", True), (271, "s", 0, "Fenwick Optical", True),
                (272, "s", 0, "Bay One", True),
            ],
        )  # fmt: skip
        file.write(sensor, photometric="cfa", subfiletype=0, metadata=None)
    if previews:
        data = path.read_bytes()
        at = len(data)
        path.write_bytes(data + small + large)
        with tifffile.TiffFile(path) as opened:
            tags = opened.pages[0].tags
            entries = (tags[305].offset, tags[272].offset)
        _name_preview(path, entries, at + len(small), len(large))
    return path


def _name_preview(path: Path, entries: tuple[int, int], at: int, length: int) -> None:
    """Turn two entries of the first table, program and model, into place and length of a JPEG."""
    with open(path, "r+b") as file:
        for entry, tag, value in zip(entries, (513, 514), (at, length), strict=True):
            file.seek(entry)
            file.write(struct.pack("<HHII", tag, 4, 1, value))


def test_a_raw_file_is_kept_with_its_largest_preview(tmp_path: Path) -> None:
    path = raw_file(tmp_path / "a.dng")
    found = structure_of(path)
    assert found.format == "raw"
    assert (found.width_px, found.height_px) == (480, 320)
    assert found.exif is not None
    assert found.exif.make == "Fenwick Optical"
    made = derived(path, tmp_path)
    assert (made.width_px, made.height_px) == (480, 320)
    said = verdict(path, "G7", made)
    assert said.outcome is Outcome.FAIL
    assert "raw file from a camera. It is kept as it is; what is shown is only the preview" in (
        said.sentence
    )
    for rule in ("G1", "G3", "G4"):
        assert verdict(path, rule, made).outcome is Outcome.CANNOT_TELL, rule


def test_a_raw_file_without_a_picture_inside_is_refused(tmp_path: Path) -> None:
    found = refused(raw_file(tmp_path / "a.dng", previews=False))
    assert found.reason is Reason.CAMERA_RAW
    assert "Develop it to a 16-bit TIFF" in found.sentence


def test_a_raw_file_that_was_cut_short_is_known(tmp_path: Path) -> None:
    path = raw_file(tmp_path / "a.dng")
    with tifffile.TiffFile(path) as opened:
        end = opened.pages[0].pages[0].dataoffsets[0] + 1000
    os.truncate(path, end)
    assert isinstance(read_structure(path), Unreadable)


# Twelve bits


def packed(levels: np.ndarray) -> bytes:
    """Pack rows of 12-bit levels, high bits first, each row from a whole byte (TIFF 6.0)."""
    rows = levels.reshape(len(levels), -1)
    bits = (rows[..., None] >> np.arange(11, -1, -1)) & 1
    return np.packbits(bits.reshape(len(rows), -1).astype(np.uint8), axis=1).tobytes()


@pytest.mark.parametrize("bands", [1, 3])
@pytest.mark.parametrize("width", [40, 41])
@pytest.mark.parametrize("is_deflated", [False, True])
def test_twelve_bits_are_unpacked_and_judged(
    tmp_path: Path, bands: int, width: int, is_deflated: bool
) -> None:
    shape = (30, width, bands) if bands > 1 else (30, width)
    truth = np.random.default_rng(2).integers(0, 4096, shape, np.uint16)
    data = packed(truth)
    row = len(data) // 30
    strips = [data[at : at + 8 * row] for at in range(0, len(data), 8 * row)]
    if is_deflated:
        strips = [zlib.compress(strip) for strip in strips]
    at, offsets = 8, []
    for strip in strips:
        offsets.append(at)
        at += len(strip)
    table_at = at + at % 2
    entries: list[tuple[int, int, list[int]]] = [
        (256, 4, [width]), (257, 4, [30]), (258, 3, [12] * bands),
        (259, 3, [8 if is_deflated else 1]), (262, 3, [2 if bands == 3 else 1]),
        (273, 4, offsets), (277, 3, [bands]), (278, 4, [8]),
        (279, 4, [len(strip) for strip in strips]), (284, 3, [1]),
    ]  # fmt: skip
    values_at = table_at + 2 + 12 * len(entries) + 4
    table, values = struct.pack("<H", len(entries)), b""
    for tag, kind, numbers in entries:
        body = struct.pack(f"<{len(numbers)}{'HI'[kind == 4]}", *numbers)
        table += struct.pack("<HHI", tag, kind, len(numbers))
        if len(body) <= 4:
            table += body.ljust(4, b"\0")
        else:
            table += struct.pack("<I", values_at + len(values))
            values += body + bytes(len(body) % 2)
    path = tmp_path / "a.tif"
    path.write_bytes(
        b"II*\0" + struct.pack("<I", table_at) + b"".join(strips) + bytes(at % 2) + table
        + bytes(4) + values
    )  # fmt: skip
    found = levels_of(path, tmp_path).squeeze()
    assert np.array_equal(found >> 4, truth)
    assert (found[truth == 0] == 0).all()
    assert (found[truth == 4095] == 65_535).all()
    made = derived(path, tmp_path)
    assert made.is_tone_stretched == (bands == 1)
    assert "12 bits per channel" in verdict(path, "G3", made).sentence


def test_twelve_bits_behind_a_wrong_sum_are_refused() -> None:
    whole = zlib.compress(bytes(range(240)), 9)
    assert unfold._inflated(whole, 240) == bytes(range(240))
    for spoilt in (whole[:-2], whole[:-1] + bytes([whole[-1] ^ 1])):
        with pytest.raises(zlib.error):
            unfold._inflated(spoilt, 240)
