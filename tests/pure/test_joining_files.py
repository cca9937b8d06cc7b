"""Files of joining: what is written is read by libtiff and tifffile, plain rows as decoded."""

import numpy as np
import pytest
import pyvips
import tifffile

from imaging_requests.imaging.files.structure import read_structure
from imaging_requests.imaging.joining import tiled_tiff
from imaging_requests.imaging.joining.row_sources import decoded_rows, plain_rows
from imaging_requests.imaging.joining.tiled_tiff import TiledTiff

PROFILE = bytes(range(128)) * 5


@pytest.fixture(params=[(1, 16), (3, 16), (1, 8), (3, 8)], ids=lambda p: f"{p[0]} × {p[1]} bit")
def picture(request):
    channels, bits = request.param
    rng = np.random.default_rng(2)
    return rng.integers(0, 1 << bits, (600, 531, channels)).astype(f"u{bits // 8}")


@pytest.mark.parametrize("is_big", [False, True], ids=["TIFF", "BigTIFF"])
def test_bands_are_read_back_by_libtiff_and_by_tifffile(picture, is_big, tmp_path, monkeypatch):
    if is_big:
        monkeypatch.setattr(tiled_tiff, "CLASSIC_TIFF_BYTES", 1000)
    path = tmp_path / "written.tif"
    rows, columns, channels = picture.shape
    file = TiledTiff(
        path,
        width=columns,
        height=rows,
        channels=channels,
        bits=8 * picture.itemsize,
        note="Inverted: max − x. ±½",
        profile=PROFILE,
        px_per_mm=11.8,
    )
    for top in range(0, rows, 256):
        file.add(picture[top : top + 256])
    file.close(is_synced=True)
    with tifffile.TiffFile(path) as read:
        assert read.is_bigtiff is is_big
        assert np.array_equal(read.asarray().reshape(picture.shape), picture)
        tags = read.pages[0].tags
        assert tags["ImageDescription"].value == "Inverted: max − x. ±½"
        assert tags["XResolution"].value == (118_000, 1000)
        assert tags["InterColorProfile"].value == PROFILE
    image = pyvips.Image.tiffload(str(path), fail_on="error")
    assert np.array_equal(image.numpy().reshape(picture.shape), picture)
    assert image.xres == pytest.approx(11.8)
    assert read_structure(path).length.is_complete


@pytest.mark.parametrize("order", ["<", ">"], ids=["little-endian", "big-endian"])
def test_plain_rows_are_those_of_the_decoder(picture, order, tmp_path):
    path = tmp_path / "plain.tif"
    tifffile.imwrite(path, picture.squeeze(), byteorder=order, rowsperstrip=37)
    structure = read_structure(path)
    source = plain_rows(path, structure, bands=picture.shape[2])
    rows = source.fetch(250, 111)
    assert np.array_equal(rows, picture[250:361])
    decoded = decoded_rows(pyvips.Image.tiffload(str(path)))
    assert np.array_equal(decoded.fetch(250, 111), rows)
    path.write_bytes(path.read_bytes()[:20_000])
    with pytest.raises(pyvips.Error, match="ends before its rows do"):
        source.fetch(400, 200)


def test_files_that_need_a_decoder_are_left_to_it(tmp_path):
    grey = np.arange(300 * 200, dtype=np.uint16).reshape(300, 200)
    kinds = {
        "tiled": {"tile": (64, 64)},
        "deflate": {"compression": "deflate"},
        "white is zero": {"photometric": "miniswhite"},
    }
    for name, wishes in kinds.items():
        path = tmp_path / f"{name}.tif"
        tifffile.imwrite(path, grey, **wishes)
        assert plain_rows(path, read_structure(path), bands=1) is None, name
