"""The watch over a station: a creeping change is found in time, scatter is not taken for one."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import numpy as np
import pytest

from imaging_requests.imaging.drift.cusum import cusum
from imaging_requests.imaging.drift.individuals import individuals_chart
from imaging_requests.imaging.drift.limits import DriftLimits
from imaging_requests.imaging.drift.watch import Verdict, Watch, watch, weekly

LIMITS = DriftLimits.from_settings(
    json.loads(Path("fixtures/checks/drift-1.json").read_text("utf-8"))
)
START = date(2024, 1, 1)
TWO_YEARS = 104
SCATTER = 0.2
DRIFT = 0.15


def series(values: Sequence[float] | np.ndarray) -> list[tuple[date, float]]:
    return [(START + timedelta(weeks=week), float(value)) for week, value in enumerate(values)]


def watched(values: Sequence[float] | np.ndarray) -> Watch:
    return watch(series(values), limits=LIMITS, unit="ΔE00")


def test_a_drift_of_a_seventh_of_a_delta_e_is_found_within_six_weeks() -> None:
    rng = np.random.default_rng(7)
    found = []
    for _ in range(60):
        values = rng.normal(1.2, SCATTER, LIMITS.base_weeks + 20)
        values[-12:] += DRIFT * np.arange(1, 13)
        alarm = watched(values).sums
        assert alarm is not None
        found.append(alarm.alarm is not None and alarm.alarm - (len(values) - 12) + 1 <= 6)
    assert np.mean(found) >= 0.95


def test_two_quiet_years_raise_one_alarm_at_most() -> None:
    rng = np.random.default_rng(8)
    alarms = 0
    runs = 100
    for _ in range(runs):
        values = rng.normal(1.2, SCATTER, LIMITS.base_weeks + TWO_YEARS)
        found = watched(values)
        assert found.chart is not None
        assert found.sums is not None
        alarms += found.sums.alarm is not None
        alarms += sum(found.chart.is_outside(value) for value in values[LIMITS.base_weeks :])
    assert alarms / runs <= 1.0


def test_the_sentence_says_since_when_how_fast_and_what_to_look_at() -> None:
    rng = np.random.default_rng(3)
    values = rng.normal(1.2, 0.1, LIMITS.base_weeks + 10)
    values[LIMITS.base_weeks :] += DRIFT * np.arange(1, 11)
    found = watched(values)
    assert found.verdict is Verdict.DRIFTING
    assert found.slope == pytest.approx(DRIFT, abs=0.04)
    assert found.sentence.startswith("Rising since the week of ")
    assert "ΔE00 per week. Look at lamps, filters and chart" in found.sentence


def test_a_fall_is_found_like_a_rise() -> None:
    rng = np.random.default_rng(4)
    values = rng.normal(80, 1.0, LIMITS.base_weeks + 12)
    values[LIMITS.base_weeks :] -= np.arange(1, 13)
    found = watched(values)
    assert found.sentence.startswith("Falling since")
    assert found.slope < 0


def test_one_wild_week_is_said_but_is_no_drift() -> None:
    rng = np.random.default_rng(5)
    values = [*rng.normal(1.2, 0.1, LIMITS.base_weeks + 5), 1.65]
    found = watched(values)
    assert found.verdict is Verdict.OUTSIDE
    assert "Measure again before the next picture." in found.sentence


@pytest.mark.parametrize(
    ("values", "words"),
    [
        ([], "No week is measured; a base line needs 8."),
        ([1.0] * 3, "3 weeks are measured; a base line needs 8."),
        ([1.0] * 30, "All weeks are equal, so their scatter is not known."),
    ],
)
def test_what_cannot_be_told_is_never_steady(values: list[float], words: str) -> None:
    found = watched(values)
    assert (found.verdict, found.sentence) == (Verdict.CANNOT_TELL, words)


def test_a_young_series_makes_its_base_line() -> None:
    found = watched(list(np.random.default_rng(6).normal(1.2, 0.1, 10)))
    assert found.verdict is Verdict.CANNOT_TELL, "nothing is steady before there is a base line"
    assert found.sentence.startswith("The base line is still being made: around 1.2")


def test_a_wild_week_is_said_while_the_base_line_is_being_made() -> None:
    found = watched([*np.random.default_rng(6).normal(0, 0.01, 9), 0.5])
    assert found.verdict is Verdict.OUTSIDE
    assert found.sentence.startswith("The last week, 0.50 ΔE00, lies outside −0.")


def test_many_measurements_of_a_day_count_as_one_week() -> None:
    days = [(START, 1.0), (START, 3.0), (START + timedelta(days=6), 2.0), (START, float("nan"))]
    assert [(week.value, week.count) for week in weekly(days)] == [(2.0, 3)]


def test_the_order_of_measurements_does_not_matter() -> None:
    values = series(np.random.default_rng(9).normal(1.2, 0.1, 40))
    assert watch(values[::-1], limits=LIMITS) == watch(values, limits=LIMITS)


def test_charts_refuse_what_is_no_row_of_numbers() -> None:
    with pytest.raises(ValueError, match="at least two values"):
        individuals_chart([1.0])
    with pytest.raises(ValueError, match="finite numbers"):
        individuals_chart([1.0, float("inf")])
    with pytest.raises(ValueError, match="scatter above zero"):
        cusum([1.0], target=1, sigma=0, slack=0.5, limit=5)


def test_a_tighter_limit_alarms_sooner() -> None:
    rng = np.random.default_rng(10)
    values = rng.normal(1.2, SCATTER, LIMITS.base_weeks + 12)
    values[LIMITS.base_weeks :] += DRIFT * np.arange(1, 13)
    alarms = []
    for limit in (3.0, 8.0):
        sums = watch(series(values), limits=replace(LIMITS, limit=limit)).sums
        assert sums is not None
        alarms.append(sums.alarm)
    assert alarms[0] is not None
    assert alarms[1] is None or alarms[0] <= alarms[1]
