"""Control charts against the handbook, a published series and constants from their definition."""

from __future__ import annotations

import math

import numpy as np
import pytest

from imaging_requests.imaging.drift.cusum import cusum
from imaging_requests.imaging.drift.individuals import D2_OF_TWO, individuals_chart

HANDBOOK = [49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1]
"""NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2, flow rate in ten batches."""

NILE = [
    1120, 1160, 963, 1210, 1160, 1160, 813, 1230, 1370, 1140, 995, 935, 1110, 994, 1020, 960, 1180,
    799, 958, 1140, 1100, 1210, 1150, 1250, 1260, 1220, 1030, 1100, 774, 840, 874, 694, 940, 833,
    701, 916, 692, 1020, 1050, 969, 831, 726, 456, 824, 702, 1120, 1100, 832, 764, 821, 768, 845,
    864, 862, 698, 845, 744, 796, 1040, 759, 781, 865, 845, 944, 984, 897, 822, 1010, 771, 676,
    649, 846, 812, 742, 801, 1040, 860, 874, 848, 890, 744, 749, 838, 1050, 918, 986, 797, 923,
    975, 815, 1020, 906, 901, 1170, 912, 746, 919, 718, 714, 740,
]  # fmt: skip
"""Yearly flow of the Nile at Aswan, 1871 to 1970 (G. W. Cobb, Biometrika 65, 1978), from memory;
the mean and both limits below, found with statsmodels' copy, would not come out with a slip."""


def test_chart_of_the_handbook() -> None:
    chart = individuals_chart(HANDBOOK)
    assert chart.centre == pytest.approx(50.81, abs=0.005)
    assert chart.mean_range == pytest.approx(1.8778, abs=5e-5)
    assert (chart.lower, chart.upper) == pytest.approx((45.8159, 55.8041), abs=5e-5)
    assert not any(chart.is_outside(value) for value in HANDBOOK)


def test_chart_of_the_nile() -> None:
    chart = individuals_chart(NILE)
    assert chart.centre == pytest.approx(919.35, abs=0.005)
    assert (chart.lower, chart.upper) == pytest.approx((565.0, 1273.7), abs=0.05)
    outside = [1871 + year for year, value in enumerate(NILE) if chart.is_outside(value)]
    assert outside == [1879, 1913]


def test_the_constant_follows_from_its_definition() -> None:
    """d2(n) = ∫ 1 − Φⁿ − (1 − Φ)ⁿ dx; tables: d2(2) 1.128, d2(5) 2.326."""
    x = np.linspace(-9, 9, 20_001)
    phi = np.array([0.5 * (1 + math.erf(value / math.sqrt(2))) for value in x])
    for n, printed in ((2, D2_OF_TWO), (5, 2.326)):
        found = np.trapezoid(1 - phi**n - (1 - phi) ** n, x)
        assert found == pytest.approx(printed, abs=5e-4)


def test_cumulative_sum_of_the_handbook() -> None:
    """NIST/SEMATECH e-Handbook 6.3.2.3: twenty samples, target 325, k 0.3175, h 4.1959.

    Samples and printed sums from memory; the two sums at the alarm are also worked by hand:
    328.325 − 325.3175 = 3.0075, and 1.9325 more make 4.94, above 4.1959.
    """
    samples = [
        324.925, 324.675, 324.725, 324.350, 325.350, 325.225, 324.125, 324.525, 325.225, 324.600,
        324.625, 325.150, 328.325, 327.250, 327.825, 328.500, 326.675, 327.775, 326.875, 328.350,
    ]  # fmt: skip
    found = cusum(samples, target=325, sigma=1, slack=0.3175, limit=4.1959)
    assert [round(value, 2) for value in found.high[12:]] == [
        3.01, 4.94, 7.45, 10.63, 11.99, 14.44, 16.0, 19.03,
    ]  # fmt: skip
    assert [round(value, 2) for value in found.low[3:8]] == [0.33, 0.0, 0.0, 0.56, 0.72]
    assert (found.alarm, found.since, found.is_upward) == (13, 12, True)
