"""The slanted edge is measured at any angle, and refused where it shows nothing."""

import numpy as np
import pytest

from imaging_requests.imaging.measure.edge import NoEdge, Sfr, measure_edge
from tests.pure.measure_samples import soft_edge


@pytest.mark.parametrize("degrees", [2, 5, 12, 30, 60, 85, 95, 174, 200, 265])
def test_every_angle_gives_the_same(degrees):
    found = measure_edge(soft_edge(0.8, degrees))
    assert isinstance(found, Sfr)
    assert found.mtf50 == pytest.approx(0.2201, rel=0.02)
    assert found.peak <= 1.02


@pytest.mark.parametrize("degrees", [0, 45, 90])
def test_an_edge_along_the_pixels_is_refused(degrees):
    found = measure_edge(soft_edge(0.6, degrees))
    assert isinstance(found, NoEdge)
    assert "along the pixels" in found.because


def test_sharpening_shows_as_a_peak():
    soft = soft_edge(0.7, 5)
    around = (
        np.roll(soft, 1, 0) + np.roll(soft, -1, 0) + np.roll(soft, 1, 1) + np.roll(soft, -1, 1)
    ) / 4
    found = measure_edge((soft + 3 * (soft - around))[4:-4, 4:-4])
    assert isinstance(found, Sfr)
    assert found.peak > 1.15


def test_noise_moves_it_little():
    rng = np.random.default_rng(7)
    values = [
        measure_edge(soft_edge(1.0, 6) + rng.normal(0, 0.01, (100, 80))).mtf50 for _ in range(8)
    ]
    assert np.mean(values) == pytest.approx(0.18, rel=0.03)


@pytest.mark.parametrize(
    "part",
    [
        np.full((40, 40), 0.5),
        np.zeros((1, 1)),
        np.full((40, 40), np.nan),
        np.zeros((40, 40, 3)),
        np.random.default_rng(1).uniform(0, 1, (60, 60)),
    ],
)
def test_no_edge_has_a_reason(part):
    found = measure_edge(part)
    assert isinstance(found, NoEdge)
    assert found.because.endswith(".")


def test_two_edges_are_refused():
    one = soft_edge(0.8, 5, columns=60)
    assert isinstance(measure_edge(np.concatenate([one, one[:, ::-1]], axis=1)), NoEdge)
