"""Damage inside packed strips and tiles is noticed, also where the decoder reads on.

The files are written by tifffile with Python's zlib (RFC 1950 and 1951), the sums by nobody here.
"""

from __future__ import annotations

import zlib
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import pyvips
import tifffile

from imaging_requests.imaging.files.decode import open_pixels
from imaging_requests.imaging.files.packed import demand_whole_parts, stream_fault
from imaging_requests.imaging.files.refusals import Reason
from imaging_requests.imaging.files.structure import read_structure
from imaging_requests.imaging.joining.join import JoinRequest, join_tiles
from imaging_requests.imaging.joining.words import Unjoined
from tests.joining_scene import LIMITS, SETTINGS, Cut, cut_tiles, scene_size, texture
from tests.pure.test_files_derive import refused

LAYOUTS: dict[str, dict[str, Any]] = {
    "strips": {"rowsperstrip": 16},
    "one strip": {"rowsperstrip": 270},
    "tiles": {"tile": (64, 64)},
    "predictor": {"rowsperstrip": 16, "predictor": True},
    "bigtiff": {"rowsperstrip": 16, "bigtiff": True},
}
CUT = Cut(columns=2, rows=1, tile_px=(230, 270), overlap=0.1, is_whole=True)


def plates() -> list[np.ndarray]:
    return cut_tiles(texture(*scene_size(CUT), seed=21), CUT, seed=21)[0]


def write(path: Path, pixels: np.ndarray, **layout: Any) -> list[tuple[int, int]]:
    """Write a packed file; return where its parts lie, with their lengths."""
    tifffile.imwrite(path, pixels, compression="zlib", **layout)
    with tifffile.TiffFile(path) as opened:
        page = opened.pages[0]
        return list(zip(page.dataoffsets, page.databytecounts, strict=True))


def spoil(path: Path, at: int, bit: int) -> None:
    data = bytearray(path.read_bytes())
    data[at] ^= 1 << bit
    path.write_bytes(bytes(data))


def is_noticed_by_decoder(path: Path) -> bool:
    try:
        open_pixels(path, read_structure(path)).copy_memory()  # type: ignore[arg-type]
    except pyvips.Error:
        return True
    return False


@pytest.mark.parametrize("layout", LAYOUTS)
def test_a_whole_file_is_let_through(tmp_path: Path, layout: str) -> None:
    path = tmp_path / "a.tif"
    write(path, plates()[0], **LAYOUTS[layout])
    demand_whole_parts(path, read_structure(path))  # type: ignore[arg-type]


def test_every_flipped_bit_is_noticed_and_the_decoder_alone_misses_some(tmp_path: Path) -> None:
    """Bits are taken at random over all parts of all layouts."""
    pyvips.cache_set_max(0)
    rng = np.random.default_rng(11)
    tried = missed = 0
    for number, layout in enumerate(LAYOUTS.values()):
        good = tmp_path / f"good-{number}.tif"
        parts = write(good, plates()[0], **layout)
        for turn in range(24):
            at, length = parts[rng.integers(len(parts))]
            path = tmp_path / f"bad-{number}-{turn}.tif"
            path.write_bytes(good.read_bytes())
            spoil(path, at + int(rng.integers(2, length)), int(rng.integers(8)))
            tried += 1
            missed += not is_noticed_by_decoder(path)
            with pytest.raises(pyvips.Error, match=r"(strip|tile) \d+: "):
                demand_whole_parts(path, read_structure(path))  # type: ignore[arg-type]
    assert tried == 120
    assert 0 < missed < tried, f"the decoder alone misses {missed} of {tried}"


def unnoticed(folder: Path) -> Path:
    """A plate with one flipped bit that the decoder reads past."""
    pyvips.cache_set_max(0)
    good = folder / "good.tif"
    parts = write(good, plates()[1], rowsperstrip=16)
    rng = np.random.default_rng(5)
    for turn in range(400):
        at, length = parts[rng.integers(len(parts))]
        path = folder / f"plate-02-{turn}.tif"
        path.write_bytes(good.read_bytes())
        spoil(path, at + int(rng.integers(2, length)), int(rng.integers(8)))
        if not is_noticed_by_decoder(path):
            return path
    raise AssertionError("The decoder notices everything now; the sums need no reading.")


def test_what_the_decoder_reads_past_is_neither_shown_nor_joined(tmp_path: Path) -> None:
    bad = unnoticed(tmp_path)
    answer = refused(bad)
    assert answer.reason is Reason.DAMAGED
    assert "part of the picture cannot be decoded" in answer.sentence
    first = tmp_path / "plate-01.tif"
    write(first, plates()[0], rowsperstrip=16)
    joined = join_tiles(
        [first, bad],
        tmp_path / "out.tif",
        JoinRequest(grid=(2, 1)),
        settings=SETTINGS,
        limits=LIMITS,
    )
    assert isinstance(joined, Unjoined)
    assert joined.sentence.startswith(f"Tile 2 ({bad.name}) cannot be read to its end.")
    assert not (tmp_path / "out.tif").exists()


def test_a_stream_is_read_in_pieces_to_its_end() -> None:
    packed = zlib.compress(bytes(9_000_000), 9)
    assert stream_fault(iter([packed[:100], packed[100:]])) == ""
    assert stream_fault(iter([packed[:-1]])) == "it does not come to its end"
    assert "data check" in stream_fault(iter([packed[:-1] + bytes([packed[-1] ^ 1])]))
