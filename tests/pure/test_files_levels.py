"""Used levels, percentile window and the mark on stretched pictures."""

from __future__ import annotations

import numpy as np
import pytest

from imaging_requests.imaging.files.levels import measure_levels, percentile_window
from imaging_requests.imaging.files.mark import DARK, LIGHT, stretched_mark
from tests.pure.files_samples import pixels


def histogram(values: np.ndarray) -> np.ndarray:
    return np.bincount(values.ravel(), minlength=65_536).reshape(-1, 1)


@pytest.mark.parametrize("step", [257, 256])
def test_eight_bit_data_in_sixteen_bits_lies_on_its_grid(step: int) -> None:
    (found,) = measure_levels(histogram(pixels(bands=1, bits=8).astype(np.uint16) * step))
    assert found.distinct <= 256
    assert found.grid_share == 1.0


def test_real_sixteen_bit_data_lies_on_no_grid() -> None:
    (found,) = measure_levels(histogram(pixels(bands=1, width=400, height=300)))
    assert found.distinct > 10_000
    assert found.grid_share == pytest.approx(1 / 256, rel=0.15)


def test_a_pasted_eight_bit_part_shows_as_a_pile() -> None:
    mixed = pixels(bands=1).copy()
    mixed[:, :60] = pixels(bands=1, bits=8).astype(np.uint16)[:, :60] * 257
    (found,) = measure_levels(histogram(mixed))
    assert found.distinct > 256
    assert found.grid_share == pytest.approx(0.4, abs=0.02)


def test_clipped_ends_are_no_sign_of_eight_bits() -> None:
    clipped = pixels(bands=1).copy()
    clipped[:50] = 0
    clipped[50:80] = 65_535
    (found,) = measure_levels(histogram(clipped))
    assert (found.lowest, found.highest) == (0, 65_535)
    assert found.grid_share < 0.01


@pytest.mark.parametrize("shape", [(10,), (65_537, 1), (0, 1)])
def test_other_shapes_are_refused(shape: tuple[int, ...]) -> None:
    with pytest.raises(ValueError, match="shape"):
        measure_levels(np.ones(shape, int))


def test_an_empty_channel_is_refused() -> None:
    with pytest.raises(ValueError, match="empty"):
        measure_levels(np.zeros((256, 1), int))


@pytest.mark.parametrize(("low", "high"), [(0.5, 99.5), (0, 100), (2, 98)])
def test_the_window_is_the_inverse_of_the_distribution(low: float, high: float) -> None:
    """numpy's inverted_cdf is the same definition, computed from the values themselves."""
    values = pixels(bands=1, seed=11)
    counts = np.bincount(values.ravel(), minlength=65_536)
    expected = np.percentile(values, [low, high], method="inverted_cdf")
    if low == 0:
        expected[0] = 0
    assert percentile_window(counts, low_percent=low, high_percent=high) == tuple(expected)


def test_a_window_without_room_is_refused() -> None:
    with pytest.raises(ValueError, match="low < high"):
        percentile_window(np.ones(4, int), low_percent=50, high_percent=50)


def test_the_window_of_a_large_picture_does_not_overflow() -> None:
    counts = np.full(65_536, 40_000, np.uint32)
    assert percentile_window(counts, low_percent=0.5, high_percent=99.5) == (327, 65_208)


@pytest.mark.parametrize(
    ("width", "height"), [(256, 192), (1024, 768), (60, 256), (256, 60), (40, 40), (1, 1)]
)
def test_the_mark_fits_every_picture(width: int, height: int) -> None:
    mark = stretched_mark(width_px=width, height_px=height)
    assert mark.dtype == np.uint8
    assert mark.shape[0] <= height
    assert mark.shape[1] <= width


def test_the_mark_is_light_on_dark_and_grows_with_the_picture() -> None:
    small = stretched_mark(width_px=256, height_px=192)
    large = stretched_mark(width_px=1024, height_px=768)
    assert set(np.unique(small)) == {DARK, LIGHT}
    assert large.shape == (small.shape[0] * 3, small.shape[1] * 3)
    assert (small[0] == DARK).all()
    assert 0.15 < (small == LIGHT).mean() < 0.5
