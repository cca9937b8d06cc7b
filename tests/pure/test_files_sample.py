"""Levels counted in some rows of a large picture: quick where clear, and never in doubt."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from imaging_requests.imaging.files import derive
from imaging_requests.imaging.files.derived import Derived
from imaging_requests.imaging.files.facts import Structure
from imaging_requests.imaging.files.levels import measure_levels
from imaging_requests.imaging.files.limits import Limits
from imaging_requests.imaging.files.sample import sample_levels
from imaging_requests.imaging.files.structure import read_structure
from imaging_requests.imaging.files.verdicts import Outcome, check_structure
from tests.pure.files_samples import checks, limits, pixels, recipe, write_tiff

SMALL = limits(sample_above_pixels=1000, sample_clear_distinct=300)


def sampled(path: Path, bounds: Limits = SMALL) -> Any:
    structure = read_structure(path)
    assert isinstance(structure, Structure)
    return sample_levels(path, structure, bounds)


@pytest.mark.parametrize("byteorder", ["<", ">"])
@pytest.mark.parametrize("rows", [1, 7, 101])
def test_the_rows_that_are_counted_are_those_of_the_picture(
    tmp_path: Path, byteorder: str, rows: int
) -> None:
    truth = pixels()
    path = write_tiff(tmp_path / "a.tif", truth, byteorder=byteorder, rowsperstrip=rows)
    wanted = truth[:: SMALL.sample_every_rows].reshape(-1, 3)
    counts = np.stack([np.bincount(wanted[:, band], minlength=65_536) for band in range(3)], 1)
    assert sampled(path) == measure_levels(counts)


@pytest.mark.parametrize(
    "options", [{"compression": "zlib"}, {"tile": (64, 64)}, {"planar": True}], ids=str
)
def test_pictures_that_are_not_plain_are_counted_whole(
    tmp_path: Path, options: dict[str, Any]
) -> None:
    assert sampled(write_tiff(tmp_path / "a.tif", pixels(), **options)) is None
    assert sampled(write_tiff(tmp_path / "b.tif", pixels(bands=1))) is None
    assert sampled(write_tiff(tmp_path / "c.tif", pixels(bits=8))) is None
    assert sampled(write_tiff(tmp_path / "d.tif", pixels()), limits()) is None, "it is small"


def test_eight_bits_in_sixteen_leave_a_doubt_and_are_counted_whole(tmp_path: Path) -> None:
    shallow = pixels(bits=8).astype(np.uint16) * 257
    path = write_tiff(tmp_path / "a.tif", shallow)
    assert sampled(path) is None
    part = pixels()
    part[:60] = shallow[:60]
    assert sampled(write_tiff(tmp_path / "b.tif", part)) is None
    one_channel = pixels()
    one_channel[..., 2] = shallow[..., 2]
    assert sampled(write_tiff(tmp_path / "c.tif", one_channel)) is None
    found = derive.build_derivatives(
        path, tmp_path / "out", recipe(), source_sha256="b" * 64, limits=SMALL
    )
    assert isinstance(found, Derived)
    structure = read_structure(path)
    assert isinstance(structure, Structure)
    said = next(
        verdict
        for verdict in check_structure(structure, checks=checks(), decoded=found)
        if verdict.rule_id == "G3"
    )
    assert said.outcome is Outcome.FAIL
    assert "Upgraded from 8 bit" in said.sentence


def test_a_clear_picture_is_decoded_once_and_passes(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = write_tiff(tmp_path / "a.tif", pixels())

    def never(image: Any) -> Any:
        raise AssertionError("everything was counted")

    monkeypatch.setattr(derive, "count_levels", never)
    bounds = replace(SMALL)
    found = derive.build_derivatives(
        path, tmp_path / "out", recipe(), source_sha256="c" * 64, limits=bounds
    )
    assert isinstance(found, Derived)
    assert min(channel.distinct for channel in found.levels) > 300
