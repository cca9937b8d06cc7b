"""A master of 150 megapixels: all its bits, little memory, not one byte changed."""

from __future__ import annotations

import time
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
import pyvips
import tifffile

from imaging_requests.imaging.files.ask import derive_request
from imaging_requests.imaging.files.derived import Derived
from imaging_requests.imaging.files.facts import Structure
from imaging_requests.imaging.files.fixity import hash_file
from imaging_requests.imaging.files.guard import run
from imaging_requests.imaging.files.structure import read_structure
from imaging_requests.imaging.synthesis.profiles import wide_rgb_profile
from tests.pure.files_samples import limits, recipe

pytestmark = [pytest.mark.slow, pytest.mark.xdist_group("large master")]

WIDTH, HEIGHT = 14_204, 10_652
BAND_ROWS = 512
MEMORY_BYTES = 1_500_000_000


@pytest.fixture(scope="module")
def master(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """908 MB of 16-bit RGB, made band by band; removed at the end."""
    path = tmp_path_factory.mktemp("large") / "AR-0011.tif"
    rng = np.random.default_rng(5)
    noise = rng.integers(0, 9_000, (BAND_ROWS, WIDTH, 3), np.uint16)
    pixels = tifffile.memmap(
        path, shape=(HEIGHT, WIDTH, 3), dtype="uint16", photometric="rgb", metadata=None,
        iccprofile=wide_rgb_profile(),
    )  # fmt: skip
    for top in range(0, HEIGHT, BAND_ROWS):
        rows = min(BAND_ROWS, HEIGHT - top)
        pixels[top : top + rows] = noise[:rows] + np.uint16(4 * top)
    pixels.flush()
    del pixels
    yield path
    path.unlink()


def bands(path: Path) -> Iterator[tuple[int, np.ndarray]]:
    """Read the master band by band with a library that the product does not decode with."""
    pixels = tifffile.memmap(path, mode="r")
    for top in range(0, HEIGHT, BAND_ROWS):
        yield top, np.asarray(pixels[top : top + BAND_ROWS])


def test_a_large_master_passes_with_all_its_bits_in_bounded_memory(
    master: Path, tmp_path: Path
) -> None:
    before, stat = hash_file(master), master.stat()
    structure = read_structure(master)
    assert isinstance(structure, Structure)
    assert structure.length.is_complete
    started = time.monotonic()
    bounds = limits(memory_bytes=MEMORY_BYTES)
    request = derive_request(
        master, tmp_path, recipe(), source_sha256=before.sha256,
        megapixels=structure.pixels / 1e6, limits=bounds,
    )  # fmt: skip
    answer = run(request, limits=bounds)
    assert isinstance(answer, dict), answer
    found = Derived.from_data(answer["derived"])
    assert time.monotonic() - started < limits().wall_s(structure.pixels / 1e6)
    assert answer["peak_bytes"] < 400_000_000
    assert hash_file(master) == before
    assert (master.stat().st_mtime_ns, master.stat().st_size) == (stat.st_mtime_ns, stat.st_size)

    counts = np.zeros((3, 65_536), np.int64)
    for _, rows in bands(master):
        assert rows.dtype == np.uint16
        for band in range(3):
            counts[band] += np.bincount(rows[..., band].ravel(), minlength=65_536)
    for band in range(3):
        used = np.flatnonzero(counts[band])
        channel = found.levels[band]
        assert channel.distinct == used.size > 256
        assert (channel.lowest, channel.highest) == (used[0], used[-1])
    sizes = [(item.width_px, item.height_px) for item in found.files]
    assert sizes == [(WIDTH, HEIGHT), (1024, 768), (256, 192)]


def test_two_readers_see_the_same_sixteen_bits(master: Path) -> None:
    image = pyvips.Image.tiffload(str(master), access="sequential", fail_on="warning")
    assert (image.format, image.bands) == ("ushort", 3)
    region = pyvips.Region.new(image)
    for top, rows in bands(master):
        raw = region.fetch(0, top, WIDTH, rows.shape[0])
        ours = np.frombuffer(raw, np.uint16).reshape(rows.shape)
        assert np.array_equal(ours, rows), f"rows from {top} differ"
