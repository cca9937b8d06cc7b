"""The watch over one station's series: weekly values, base line, verdict, and why."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta
from enum import StrEnum

import numpy as np

from .cusum import Cusum, cusum
from .individuals import IndividualsChart, individuals_chart
from .limits import DriftLimits


class Verdict(StrEnum):
    """Whether a series stays where it was."""

    STEADY = "steady"
    DRIFTING = "drifting"
    OUTSIDE = "outside"
    CANNOT_TELL = "cannot_tell"


@dataclass(frozen=True, slots=True, kw_only=True)
class Week:
    """One week's value: the mean of its measurements. ``monday`` names the week."""

    monday: date
    value: float
    count: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Watch:
    """What the charts say of a series.

    Attributes:
        weeks: Weeks with a measurement, in order.
        base: How many of them are the base line.
        chart, sums: None while there is no base line.
        slope: Change per week since the drift began, in the unit of the values; 0 without one.
        sentence: The verdict with its reason.
    """

    weeks: tuple[Week, ...]
    base: int
    chart: IndividualsChart | None
    sums: Cusum | None
    verdict: Verdict
    slope: float
    sentence: str


def weekly(measurements: Iterable[tuple[date, float]]) -> tuple[Week, ...]:
    """Means of each week, Monday to Sunday; weeks without a measurement are left out.

    One value a week keeps a busy day from counting as many and holds the rate of false alarms.

    >>> weeks = weekly([(date(2026, 4, 15), 1.0), (date(2026, 4, 16), 2.0)])
    >>> weeks[0].monday.isoformat(), weeks[0].value
    ('2026-04-13', 1.5)
    """
    found: dict[date, list[float]] = defaultdict(list)
    for day, value in measurements:
        if np.isfinite(value):
            found[day - timedelta(days=day.weekday())].append(float(value))
    return tuple(
        Week(monday=monday, value=float(np.mean(values)), count=len(values))
        for monday, values in sorted(found.items())
    )


def watch(
    measurements: Iterable[tuple[date, float]], *, limits: DriftLimits, unit: str = ""
) -> Watch:
    """Watch a series for drift.

    The first weeks are the base line: their mean says where values should be. The moving range of
    all weeks says how much they scatter; a slow drift hardly moves it. Later weeks are summed
    (CUSUM), and the last one is held against the limits of single values. Too few weeks, or no
    scatter at all, is "cannot tell".

    >>> limits = DriftLimits(version=1, slack=0.5, limit=5.0, base_weeks=8, least_base_weeks=6)
    >>> few = watch([(date(2026, 1, 5), 1.2)], limits=limits)
    >>> few.verdict.value, few.sentence
    ('cannot_tell', 'One week is measured; a base line needs 6.')
    """
    weeks = weekly(measurements)
    if len(weeks) < limits.least_base_weeks:
        return _silent(weeks, _few_words(len(weeks), limits))
    base = min(limits.base_weeks, len(weeks))
    values = [week.value for week in weeks]
    chart = individuals_chart(values, centre_from=base)
    if chart.sigma <= 0:
        return _silent(weeks, "All weeks are equal, so their scatter is not known.")
    sums = cusum(
        values,
        target=chart.centre,
        sigma=chart.sigma,
        slack=limits.slack,
        limit=limits.limit,
        from_index=base,
    )
    if sums.alarm is not None and sums.since is not None:
        slope = _slope(weeks, sums.since, sums.alarm, chart.centre)
        words = _drift_words(weeks[sums.since], slope, unit)
        return Watch(
            weeks=weeks,
            base=base,
            chart=chart,
            sums=sums,
            verdict=Verdict.DRIFTING,
            slope=slope,
            sentence=words,
        )
    verdict, words = _quiet_verdict(weeks, base, chart, unit)
    return Watch(
        weeks=weeks,
        base=base,
        chart=chart,
        sums=sums,
        verdict=verdict,
        slope=0.0,
        sentence=words,
    )


def _quiet_verdict(
    weeks: tuple[Week, ...], base: int, chart: IndividualsChart, unit: str
) -> tuple[Verdict, str]:
    """Judge a series without drift by its last week; nothing is steady before a base line is."""
    last, after = weeks[-1].value, len(weeks) - base
    if chart.is_outside(last):
        return Verdict.OUTSIDE, (
            f"The last week, {in_words(last)}{_of(unit)}, lies outside {in_words(chart.lower)} to "
            f"{in_words(chart.upper)}. Measure again before the next picture."
        )
    where = f"around {in_words(chart.centre)}{_of(unit)}, scatter {in_words(chart.sigma)}"
    if after == 0:
        return Verdict.CANNOT_TELL, f"The base line is still being made: {where}."
    return Verdict.STEADY, f"Steady for {after} week{'' if after == 1 else 's'}: {where}."


def in_words(value: float) -> str:
    """Write a value with two places, a true minus, and no sign before nought.

    >>> in_words(-0.004), in_words(-1.5)
    ('0.00', '−1.50')
    """
    text = f"{value:.2f}"
    return "0.00" if text == "-0.00" else text.replace("-", "−")


def _silent(weeks: tuple[Week, ...], words: str) -> Watch:
    return Watch(
        weeks=weeks,
        base=0,
        chart=None,
        sums=None,
        verdict=Verdict.CANNOT_TELL,
        slope=0.0,
        sentence=words,
    )


def _slope(weeks: tuple[Week, ...], since: int, alarm: int, centre: float) -> float:
    """Least-squares change per week from the centre at the week before the drift began."""
    start = weeks[since].monday - timedelta(days=7)
    x = np.array([(week.monday - start).days / 7 for week in weeks[since : alarm + 1]])
    y = np.array([week.value - centre for week in weeks[since : alarm + 1]])
    return float((x * y).sum() / (x * x).sum())


def _few_words(count: int, limits: DriftLimits) -> str:
    known = {0: "No week is measured", 1: "One week is measured"}
    words = known.get(count, f"{count} weeks are measured")
    return f"{words}; a base line needs {limits.least_base_weeks}."


def _drift_words(begun: Week, slope: float, unit: str) -> str:
    way = "Rising" if slope > 0 else "Falling"
    return (
        f"{way} since the week of {begun.monday:%-d %b %Y}, about {abs(slope):.2f}{_of(unit)} "
        "per week. Look at lamps, filters and chart before the pictures get bad."
    )


def _of(unit: str) -> str:
    return f" {unit}" if unit else ""
