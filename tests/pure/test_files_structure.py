"""The header reader says what independent writers wrote, for every layout and format."""

from __future__ import annotations

import json
import os
import zlib
from datetime import datetime
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import pyvips
import tifffile
from PIL import Image

from imaging_requests.imaging.files.facts import Structure
from imaging_requests.imaging.files.refusals import Reason, Unreadable
from imaging_requests.imaging.files.sniff import KINDS, recognise
from imaging_requests.imaging.files.structure import read_structure
from imaging_requests.imaging.synthesis.profiles import grey_profile, wide_rgb_profile
from tests.pure.files_samples import (
    HEIGHT,
    WIDTH,
    exif_block,
    pixels,
    png_chunk,
    write_tiff,
)

LAYOUTS: dict[str, dict[str, Any]] = {
    "one strip": {},
    "many strips": {"rowsperstrip": 8},
    "tiles": {"tile": (64, 64)},
    "planar strips": {"planar": True, "rowsperstrip": 16},
    "planar tiles": {"planar": True, "tile": (48, 32)},
    "big-endian": {"byteorder": ">", "rowsperstrip": 10},
    "BigTIFF": {"bigtiff": True, "rowsperstrip": 10},
    "BigTIFF tiles, big-endian": {"bigtiff": True, "byteorder": ">", "tile": (64, 64)},
    "deflate strips": {"compression": "zlib", "rowsperstrip": 20},
    "deflate tiles": {"compression": "zlib", "tile": (64, 64), "predictor": False},
}


def read(path: Path) -> Structure:
    found = read_structure(path)
    assert isinstance(found, Structure), found
    return found


def refused(path: Path) -> Unreadable:
    found = read_structure(path)
    assert isinstance(found, Unreadable), found
    return found


@pytest.mark.parametrize("bits", [8, 16])
@pytest.mark.parametrize("bands", [1, 3])
@pytest.mark.parametrize("layout", LAYOUTS)
def test_every_layout_is_described_as_it_was_written(
    tmp_path: Path, layout: str, bands: int, bits: int
) -> None:
    options = dict(LAYOUTS[layout])
    if bands == 1 and options.pop("planar", False):
        options["rowsperstrip"] = 16
        options.pop("tile", None)
    path = write_tiff(tmp_path / "a.tif", pixels(bands=bands, bits=bits), **options)
    found = read(path)
    assert (found.width_px, found.height_px, found.bands) == (WIDTH, HEIGHT, bands)
    assert (found.bits_per_sample, found.sample_format) == (bits, "unsigned")
    assert found.colour == ("grey" if bands == 1 else "rgb")
    assert found.format == ("bigtiff" if options.get("bigtiff") else "tiff")
    assert found.byte_order == ("big" if options.get("byteorder") == ">" else "little")
    assert found.layout == ("tiles" if "tile" in options else "strips")
    assert found.is_planar == bool(options.get("planar"))
    names = {"zlib": "deflate", None: "none"}
    assert found.compression == names[options.get("compression")]
    assert (found.is_lossy, found.pages, found.previews, found.alpha) == (False, 1, 0, "")
    assert (found.orientation, found.has_layers, found.profile) == (1, False, None)
    assert found.length.is_complete
    assert found.length.actual_bytes == path.stat().st_size


def test_a_structure_survives_json(tmp_path: Path) -> None:
    path = write_tiff(
        tmp_path / "a.tif",
        pixels(),
        iccprofile=wide_rgb_profile(),
        resolution=(3048, 3048),
        resolutionunit="INCH",
    )
    found = read(path)
    assert Structure.from_data(json.loads(json.dumps(found.as_data()))) == found


@pytest.mark.parametrize(
    ("bands", "profile", "name", "space"),
    [
        (3, wide_rgb_profile(), "Ardenmoor wide RGB", "RGB"),
        (1, grey_profile(), "Ardenmoor grey", "GRAY"),
        (1, grey_profile(is_linear=True), "Ardenmoor grey linear", "GRAY"),
    ],
)
def test_the_profile_is_named(
    tmp_path: Path, bands: int, profile: bytes, name: str, space: str
) -> None:
    path = write_tiff(tmp_path / "a.tif", pixels(bands=bands), iccprofile=profile)
    found = read(path).profile
    assert found is not None
    assert (found.description, found.colour_space, found.is_sound) == (name, space, True)


def test_a_profile_of_version_4_is_named(tmp_path: Path) -> None:
    image = pyvips.Image.black(8, 8, bands=3).copy(interpretation="srgb").icc_transform("srgb")
    image.tiffsave(str(tmp_path / "a.tif"))
    found = read(tmp_path / "a.tif").profile
    assert found is not None
    assert "sRGB" in found.description
    assert found.is_sound


@pytest.mark.parametrize("cut_bytes", [1, 60, 300])
def test_a_broken_profile_is_marked(tmp_path: Path, cut_bytes: int) -> None:
    path = write_tiff(tmp_path / "a.tif", pixels(), iccprofile=wide_rgb_profile()[:-cut_bytes])
    found = read(path).profile
    assert found is not None
    assert not found.is_sound


@pytest.mark.parametrize("orientation", range(1, 9))
def test_the_orientation_is_read(tmp_path: Path, orientation: int) -> None:
    extra = [(274, "H", 1, orientation, True)]
    assert read(write_tiff(tmp_path / "a.tif", pixels(), extratags=extra)).orientation == (
        orientation
    )


@pytest.mark.parametrize(
    ("extra", "name"),
    [("ASSOCALPHA", "associated"), ("UNASSALPHA", "unassociated"), ("UNSPECIFIED", "unspecified")],
)
def test_an_alpha_channel_is_read(tmp_path: Path, extra: str, name: str) -> None:
    path = write_tiff(tmp_path / "a.tif", pixels(bands=4), extrasamples=[extra])
    found = read(path)
    assert (found.bands, found.colour, found.alpha, found.extra_bands) == (4, "rgb", name, 1)


@pytest.mark.parametrize(
    ("unit", "per_unit", "per_mm"),
    [("INCH", 304.8, 12.0), ("CENTIMETER", 120.0, 12.0), ("NONE", 1.0, None)],
)
def test_the_resolution_is_in_pixels_per_millimetre(
    tmp_path: Path, unit: str, per_unit: float, per_mm: float | None
) -> None:
    path = write_tiff(
        tmp_path / "a.tif", pixels(), resolution=(per_unit, per_unit), resolutionunit=unit
    )
    found = read(path).resolution_px_per_mm
    assert found == (None if per_mm is None else pytest.approx((per_mm, per_mm), rel=1e-6))


def test_pages_are_counted_and_previews_apart(tmp_path: Path) -> None:
    with tifffile.TiffWriter(tmp_path / "a.tif") as writer:
        writer.write(pixels(), photometric="rgb", metadata=None, subifds=1)
        writer.write(pixels()[::2, ::2], photometric="rgb", metadata=None, subfiletype=1)
        writer.write(pixels(), photometric="rgb", metadata=None)
        writer.write(pixels()[::4, ::4], photometric="rgb", metadata=None, subfiletype=1)
    found = read(tmp_path / "a.tif")
    assert (found.pages, found.previews) == (2, 2)


def test_layers_of_an_image_editor_are_seen(tmp_path: Path) -> None:
    head = b"Adobe Photoshop Document Data Block\0"
    block = {
        "layers": b"8BIM" + b"Lr16" + (8).to_bytes(4, "big") + bytes(8),
        "swapped": b"MIB8" + b"61rL" + (8).to_bytes(4, "little") + bytes(8),
        "after another": b"8BIMPatt" + (4).to_bytes(4, "big") + bytes(4)
        + b"8BIMLayr" + (8).to_bytes(4, "big") + bytes(8),
        "empty": b"8BIMLr16" + bytes(4),
    }  # fmt: skip
    for name, body in block.items():
        data = head + body
        path = write_tiff(
            tmp_path / "a.tif", pixels(), extratags=[(37724, "B", len(data), data, True)]
        )
        assert read(path).has_layers == (name != "empty"), name


@pytest.mark.parametrize(
    ("compression", "name", "is_lossy"),
    [("lzw", "LZW", False), ("packbits", "PackBits", False), ("jpeg", "JPEG", True)],
)
def test_compressions_are_named_with_their_loss(
    tmp_path: Path, compression: str, name: str, is_lossy: bool
) -> None:
    image = pyvips.Image.new_from_array(pixels(bits=8)).copy(interpretation="srgb")
    image.tiffsave(str(tmp_path / "a.tif"), compression=compression)
    found = read(tmp_path / "a.tif")
    assert (found.compression, found.is_lossy) == (name, is_lossy)


# Exif ------------------------------------------------------------------------------------------


def _jpeg_with(block: bytes) -> bytes:
    plain: bytes = (
        pyvips.Image.new_from_array(pixels(bits=8)).copy(interpretation="srgb").jpegsave_buffer()
    )
    body = b"Exif\0\0" + block
    return plain[:2] + b"\xff\xe1" + (len(body) + 2).to_bytes(2, "big") + body + plain[2:]


def _png_with(block: bytes) -> bytes:
    plain: bytes = (
        pyvips.Image.new_from_array(pixels(bits=8))
        .copy(interpretation="srgb")
        .pngsave_buffer(keep="none")
    )
    return plain[:33] + png_chunk(b"eXIf", block) + plain[33:]


@pytest.mark.parametrize("order", ["<", ">"])
@pytest.mark.parametrize("wrap", [_jpeg_with, _png_with])
def test_capture_facts_are_read(tmp_path: Path, wrap: Any, order: str) -> None:
    path = tmp_path / "a"
    path.write_bytes(wrap(exif_block(order)))
    found = read(path)
    assert found.exif is not None
    assert found.exif.captured_text == "2026:03:04 10:20:30"
    assert found.exif.captured_local == datetime(2026, 3, 4, 10, 20, 30)
    assert found.exif.captured_offset == "+01:00"
    assert (found.exif.make, found.exif.model) == ("Ardenworks", "Field 100")
    assert (found.exif.body_serial, found.exif.lens_serial) == ("B-7741", "L-0093")
    assert found.exif.lens_model == "Macro 120"
    assert found.exif.exposure_s == pytest.approx(1 / 60)
    assert (found.exif.f_number, found.exif.iso) == (8.0, 200)
    assert found.orientation == 6
    assert Structure.from_data(json.loads(json.dumps(found.as_data()))) == found


def _tiff_of_another_writer(path: Path, capture: dict[int, Any]) -> Path:
    exif = Image.Exif()
    exif[271] = "Ardenworks"
    table = exif.get_ifd(34665)
    table.update(capture)
    exif[34665] = table
    Image.fromarray(pixels(bits=8)).save(path, exif=exif)
    return path


def test_capture_facts_of_a_tiff_are_read(tmp_path: Path) -> None:
    """In a TIFF the Exif facts lie in a table of their own behind the main one."""
    capture = {36867: "2026:03:04 10:20:30", 42033: "B-7741", 33437: 5.6}
    found = read(_tiff_of_another_writer(tmp_path / "a.tif", capture)).exif
    assert found is not None
    assert (found.captured_text, found.body_serial) == ("2026:03:04 10:20:30", "B-7741")
    assert (found.make, found.f_number, found.captured_offset) == ("Ardenworks", 5.6, "")


def test_a_wall_clock_that_is_no_date_is_kept_as_text_only(tmp_path: Path) -> None:
    found = read(_tiff_of_another_writer(tmp_path / "a.tif", {36867: "0000:00:00 00:00:00"})).exif
    assert found is not None
    assert (found.captured_text, found.captured_local) == ("0000:00:00 00:00:00", None)


@pytest.mark.parametrize("orientation", range(1, 9))
def test_the_orientation_of_a_jpeg_is_read_without_any_other_fact(
    tmp_path: Path, orientation: int
) -> None:
    exif = Image.Exif()
    exif[274] = orientation
    Image.fromarray(pixels(bits=8)).save(tmp_path / "a.jpg", exif=exif)
    assert read(tmp_path / "a.jpg").orientation == orientation


@pytest.mark.parametrize("keep_bytes", [4, 8, 20, 60, 120, 200])
def test_a_broken_exif_block_never_costs_the_picture(tmp_path: Path, keep_bytes: int) -> None:
    path = tmp_path / "a.jpg"
    path.write_bytes(_jpeg_with(exif_block("<")[:keep_bytes]))
    assert read(path).width_px == WIDTH


# JPEG and PNG ----------------------------------------------------------------------------------


@pytest.mark.parametrize("bands", [1, 3])
def test_a_jpeg_is_described(tmp_path: Path, bands: int) -> None:
    image = pyvips.Image.new_from_array(pixels(bands=bands, bits=8))
    image = image.copy(interpretation="srgb" if bands == 3 else "b-w", xres=12, yres=12)
    profile = wide_rgb_profile() if bands == 3 else grey_profile()
    image.set_type(pyvips.GValue.blob_type, "icc-profile-data", profile)
    image.jpegsave(str(tmp_path / "a.jpg"))
    found = read(tmp_path / "a.jpg")
    assert (found.format, found.width_px, found.height_px) == ("jpeg", WIDTH, HEIGHT)
    assert (found.bands, found.bits_per_sample, found.is_lossy) == (bands, 8, True)
    assert found.profile is not None
    assert found.profile.is_sound
    assert found.resolution_px_per_mm == pytest.approx((12, 12), rel=0.01)
    assert found.length.is_complete


def test_the_resolution_in_the_first_segment_of_a_jpeg_is_read(tmp_path: Path) -> None:
    Image.fromarray(pixels(bits=8)).save(tmp_path / "a.jpg", dpi=(254, 254))
    assert read(tmp_path / "a.jpg").resolution_px_per_mm == pytest.approx((10, 10))


@pytest.mark.parametrize("bits", [8, 16])
@pytest.mark.parametrize("bands", [1, 2, 3, 4])
def test_a_png_is_described(tmp_path: Path, bands: int, bits: int) -> None:
    interpretations = {(8, True): "b-w", (16, True): "grey16", (8, False): "srgb"}
    image = pyvips.Image.new_from_array(pixels(bands=bands, bits=bits)).copy(
        interpretation=interpretations.get((bits, bands < 3), "rgb16"), xres=12, yres=12
    )
    profile = grey_profile() if bands < 3 else wide_rgb_profile()
    image.set_type(pyvips.GValue.blob_type, "icc-profile-data", profile)
    image.pngsave(str(tmp_path / "a.png"), keep="icc")
    found = read(tmp_path / "a.png")
    assert (found.bands, found.bits_per_sample) == (bands, bits)
    assert found.colour == ("grey" if bands < 3 else "rgb")
    assert found.alpha == ("unassociated" if bands in (2, 4) else "")
    assert found.profile is not None
    assert found.profile.sha256
    assert found.profile.is_sound
    assert found.resolution_px_per_mm == pytest.approx((12, 12))
    assert found.length.expected_bytes == found.length.actual_bytes
    assert found.is_lossy is False


def test_a_profile_that_unpacks_without_end_is_bounded(tmp_path: Path) -> None:
    plain: bytes = pyvips.Image.black(4, 4).pngsave_buffer(keep="none")
    bomb = b"x\0\0" + zlib.compress(bytes(64 * 1024 * 1024), 9)
    (tmp_path / "a.png").write_bytes(plain[:33] + png_chunk(b"iCCP", bomb) + plain[33:])
    found = read(tmp_path / "a.png").profile
    assert found is not None
    assert found.size_bytes <= 16 * 1024 * 1024
    assert not found.is_sound


# Bad input -------------------------------------------------------------------------------------


def test_an_empty_file_is_refused_in_words(tmp_path: Path) -> None:
    (tmp_path / "AR-0011.tif").write_bytes(b"")
    found = refused(tmp_path / "AR-0011.tif")
    assert found.reason is Reason.EMPTY
    assert found.sentence == (
        "AR-0011.tif is empty: it has a name but no content. "
        "Copy it again from the card before the card is formatted."
    )


@pytest.mark.parametrize("coding", ["utf-8", "utf-16", "latin-1"])
def test_a_text_file_is_refused_in_words(tmp_path: Path, coding: str) -> None:
    (tmp_path / "notes.tif").write_bytes("Rahmen abgenommen, Rückseite zuerst.\n".encode(coding))
    found = refused(tmp_path / "notes.tif")
    assert found.reason is Reason.TEXT
    assert "notes.tif is a text file although its name ends in .tif." in found.sentence
    assert "look for the picture" in found.sentence


@pytest.mark.parametrize(("name", "words"), [("anim.gif", "."), ("anim.tif", " although its")])
def test_an_ending_is_named_only_where_it_is_not_that_of_its_kind(
    tmp_path: Path, name: str, words: str
) -> None:
    (tmp_path / name).write_bytes(b"GIF89a" + bytes(60))
    assert f"{name} is a GIF picture{words}" in refused(tmp_path / name).sentence


def test_every_known_kind_but_ours_is_refused_by_its_name(tmp_path: Path) -> None:
    heads = {
        "pdf": b"%PDF-1.7", "gif": b"GIF89a", "bmp": b"BM" + bytes(60), "layered": b"8BPS",
        "webp": b"RIFF\0\0\0\0WEBPVP8 ",
        "jxl": b"\xff\x0a\0", "iso_media": b"\0\0\0\x20ftypheic", "archive": b"PK\x03\x04",
        "camera_raw": b"IIRO\x08\0\0\0",
    }  # fmt: skip
    ours = {"tiff", "bigtiff", "jpeg", "png", "jp2", "dicom"}
    assert heads.keys() | ours == {kind.key for _, kind in KINDS}
    for key, head in heads.items():
        assert recognise(head).key == key
        (tmp_path / "x.tif").write_bytes(head + bytes(64))
        found = refused(tmp_path / "x.tif")
        expected = Reason.CAMERA_RAW if key == "camera_raw" else Reason.OTHER_FORMAT
        assert found.reason is expected, key


def test_noise_is_refused_as_unknown(tmp_path: Path) -> None:
    noise = np.random.default_rng(3).integers(0, 256, 4_000, np.uint8).tobytes()
    (tmp_path / "x.tif").write_bytes(b"\x01\x02" + noise)
    assert refused(tmp_path / "x.tif").reason is Reason.UNKNOWN_FORMAT


def test_a_raw_file_in_a_tiff_is_refused(tmp_path: Path) -> None:
    extra = [(50706, "B", 4, b"\1\4\0\0", True)]
    path = write_tiff(tmp_path / "a.tif", pixels(), extratags=extra)
    assert refused(path).reason is Reason.CAMERA_RAW
    sensor = write_tiff(tmp_path / "b.tif", pixels(bands=1), photometric="cfa")
    assert "Develop it to a 16-bit TIFF" in refused(sensor).sentence


@pytest.mark.parametrize("options", [{"rowsperstrip": 8}, {"tile": (64, 64)}, {"bigtiff": True}])
def test_a_tiff_that_lost_its_tail_is_known_to_be_short(
    tmp_path: Path, options: dict[str, Any]
) -> None:
    path = write_tiff(tmp_path / "a.tif", pixels(), **options)
    size = path.stat().st_size
    os.truncate(path, size - 1000)
    found = read(path)
    assert not found.length.is_complete
    assert found.length.expected_bytes == size
    assert f"{size:,}" in found.length.shortfall
    assert f"{size - 1000:,}" in found.length.shortfall


def test_a_tiff_that_lost_its_table_is_refused(tmp_path: Path) -> None:
    """libtiff writes the table behind the pixels; half a copy has no table at all."""
    image = pyvips.Image.new_from_array(pixels()).copy(interpretation="rgb16")
    image.tiffsave(str(tmp_path / "a.tif"))
    os.truncate(tmp_path / "a.tif", (tmp_path / "a.tif").stat().st_size // 2)
    found = refused(tmp_path / "a.tif")
    assert found.reason is Reason.TRUNCATED
    assert "before the card is formatted" in found.sentence


@pytest.mark.parametrize("suffix", ["jpg", "png"])
def test_a_jpeg_or_png_that_lost_its_tail_is_known_to_be_short(tmp_path: Path, suffix: str) -> None:
    path = tmp_path / f"a.{suffix}"
    image = pyvips.Image.new_from_array(pixels(bits=8, width=600, height=400))
    image.copy(interpretation="srgb").write_to_file(str(path))
    os.truncate(path, path.stat().st_size * 2 // 3)
    assert not read(path).length.is_complete


def test_missing_strips_are_named(tmp_path: Path) -> None:
    path = write_tiff(tmp_path / "a.tif", pixels(), rowsperstrip=8)
    with tifffile.TiffFile(path) as file:
        counts = file.pages[0].tags[279]
        at, kind = counts.valueoffset, counts.dtype
    data = bytearray(path.read_bytes())
    width = {3: 2, 4: 4}[int(kind)]
    data[at : at + width] = bytes(width)
    path.write_bytes(data)
    assert read(path).length.shortfall == "1 of 13 strips of picture 1 are empty"


def test_a_loop_of_tables_is_refused(tmp_path: Path) -> None:
    path = write_tiff(tmp_path / "a.tif", pixels())
    data = bytearray(path.read_bytes())
    first = int.from_bytes(data[4:8], "little")
    link = first + 2 + 12 * int.from_bytes(data[first : first + 2], "little")
    data[link : link + 4] = data[4:8]
    path.write_bytes(data)
    found = refused(path)
    assert found.reason is Reason.DAMAGED
    assert "read before" in found.sentence


def test_folders_pipes_and_missing_files_are_refused_without_waiting(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe.tif")
    for path in (tmp_path, tmp_path / "pipe.tif", tmp_path / "missing.tif"):
        assert refused(path).reason is Reason.NOT_A_FILE


def test_a_damaged_header_is_refused_or_read_but_never_breaks(tmp_path: Path) -> None:
    """Every byte of three headers is changed in turn; the reader must always answer."""
    sources = [
        write_tiff(tmp_path / "a.tif", pixels(width=16, height=8), rowsperstrip=2),
        write_tiff(tmp_path / "b.tif", pixels(width=16, height=8), bigtiff=True),
    ]
    (tmp_path / "c.jpg").write_bytes(_jpeg_with(exif_block())[:900])
    (tmp_path / "d.png").write_bytes(_png_with(exif_block())[:900])
    sources += [tmp_path / "c.jpg", tmp_path / "d.png"]
    answers = 0
    for source in sources:
        whole = source.read_bytes()
        with open(source, "r+b", buffering=0) as handle:
            for position in range(min(len(whole), 700)):
                for value in (0, 0xFF, whole[position] ^ 0x80):
                    os.pwrite(handle.fileno(), bytes([value]), position)
                    found = read_structure(source)
                    answers += 1
                    if isinstance(found, Unreadable):
                        assert found.sentence.endswith(".")
                os.pwrite(handle.fileno(), whole[position : position + 1], position)
    assert answers > 6_000
