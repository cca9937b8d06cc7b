"""The control charts of a station, from the values of its checks: three queries for one station."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from functools import lru_cache
from typing import Any

from django.urls import reverse

from imaging_requests.campaigns.models import SetupCard, Station
from imaging_requests.campaigns.words import local_day
from imaging_requests.deliverables.shown import rule_words
from imaging_requests.imaging.drift.limits import DriftLimits
from imaging_requests.imaging.drift.watch import Verdict, Watch, Week, in_words, watch
from imaging_requests.imaging.files.data_values import take_list, take_whole
from imaging_requests.intake.limits import read_data
from imaging_requests.intake.models import FileCheck

DATA = "checks/drift-1.json"
RULES = "checks/measurements-1.json"
MARKS = {
    Verdict.STEADY: "pass",
    Verdict.OUTSIDE: "warn",
    Verdict.DRIFTING: "fail",
    Verdict.CANNOT_TELL: "cannot_tell",
}


@dataclass(frozen=True, slots=True)
class Numbers:
    """What is watched, how far back, and when it is an alarm."""

    limits: DriftLimits
    rules: tuple[str, ...]
    days: int
    titles: dict[str, str]
    units: dict[str, str]


@lru_cache(maxsize=1)
def numbers() -> Numbers:
    """Return the numbers of the drift watch, with titles and units of the rules."""
    data = read_data(DATA)
    rules = take_list(data, "series.rules", str)
    known = read_data(RULES)["values"]
    return Numbers(
        limits=DriftLimits.from_settings(data),
        rules=rules,
        days=take_whole(data, "series.days"),
        titles={rule: known[rule]["value"]["title"] for rule in rules if rule in known},
        units={rule: known[rule]["unit"] for rule in rules if rule in known},
    )


def stations_context() -> dict[str, Any]:
    """List the stations."""
    stations = [
        {"name": station.name, "href": reverse("deliverables:drift", args=[station.code])}
        for station in Station.objects.filter(is_active=True)
    ]
    return {"answer": "Which station is to be watched?", "stations": stations}


def drift_context(station: Station, *, now: datetime) -> dict[str, Any]:
    """Lay out the charts of a station, those with an alarm first."""
    found = numbers()
    starts = _card_days(station)
    series: dict[tuple[str, str], list[tuple[date, float]]] = defaultdict(list)
    for rule, technique, value, captured_at in _values(station, now - timedelta(days=found.days)):
        number = _number(value)
        if number is None or captured_at is None:
            continue
        day = local_day(captured_at)
        if day >= starts.get(technique, date.min):
            series[rule, technique].append((day, number))
    charts = [
        _chart(number, rule, technique, watch(rows, limits=found.limits), starts.get(technique))
        for number, ((rule, technique), rows) in enumerate(sorted(series.items()))
    ]
    charts.sort(key=lambda chart: -chart["gravity"])
    verdicts = Counter(chart["verdict"] for chart in charts)
    return {
        "station": station,
        "charts": charts,
        "data": [chart["drawn"] for chart in charts],
        "answer": f"{station.name}: {_answer(verdicts, len(charts))}",
    }


def _answer(verdicts: Counter[str], charts: int) -> str:
    """Say what is known; a series without a base line is not called steady."""
    if not charts:
        return "nothing has been measured yet"
    if drifting := verdicts["fail"]:
        return f"{drifting} of {charts} series {'is' if drifting == 1 else 'are'} drifting"
    if outside := verdicts["warn"]:
        last = "had its last week" if outside == 1 else "had their last weeks"
        return f"{outside} of {charts} series {last} outside the limits"
    if unknown := verdicts["cannot_tell"]:
        return f"{unknown} of {charts} series cannot be judged yet"
    return "no series is drifting"


def _card_days(station: Station) -> dict[str, date]:
    """Days on which the newest card of each technique was made: a changed set-up starts anew."""
    rows = SetupCard.objects.filter(station=station).order_by("created_at")
    return {
        technique: local_day(at) for technique, at in rows.values_list("technique", "created_at")
    }


def _values(station: Station, since: datetime) -> Iterable[tuple[str, str, str, datetime | None]]:
    rows = FileCheck.objects.filter(
        rule__in=numbers().rules,
        frame__shot_line__session__station=station,
        frame__captured_at__gte=since,
    ).exclude(value="")
    columns = ("rule", "frame__shot_line__technique", "value", "frame__captured_at")
    return ((rule, way, value, at) for rule, way, value, at in rows.values_list(*columns) if at)


def _number(text: str) -> float | None:
    """Read a check's value; None for a value in words."""
    try:
        return float(text.split()[0])
    except (ValueError, IndexError):
        return None


def _chart(
    number: int, rule: str, technique: str, found: Watch, since: date | None
) -> dict[str, Any]:
    title, unit = numbers().titles.get(rule, rule_words(rule)), numbers().units.get(rule, "")
    weeks = found.weeks
    chart = found.chart
    return {
        "key": f"drift-{number}",
        "title": f"{title[:1].upper()}{title[1:]} ({technique} {rule})",
        "unit": unit,
        "verdict": MARKS[found.verdict],
        "gravity": {"fail": 3, "warn": 2, "cannot_tell": 1}.get(MARKS[found.verdict], 0),
        "sentence": found.sentence,
        "since": since,
        "base": found.base,
        "columns": [
            {"label": "Week of"},
            {"label": "Mean", "is_figure": True},
            {"label": "Measured", "is_figure": True},
            {"label": "Sum upward, σ", "is_figure": True},
            {"label": "Sum downward, σ", "is_figure": True},
        ],
        "rows": [{"cells": _cells(found, index)} for index in reversed(range(len(weeks)))],
        "drawn": {
            "key": f"drift-{number}",
            "unit": unit,
            **_drawn_weeks(weeks),
            "centre": None if chart is None else round(chart.centre, 4),
            "lower": None if chart is None else round(chart.lower, 4),
            "upper": None if chart is None else round(chart.upper, 4),
        },
    }


def _drawn_weeks(weeks: Sequence[Week]) -> dict[str, list[Any]]:
    """Return every week from the first to the last; one without a value breaks the line."""
    measured = {week.monday: round(week.value, 4) for week in weeks}
    first, last = min(measured), max(measured)
    mondays = [first + timedelta(weeks=n) for n in range((last - first).days // 7 + 1)]
    return {
        "days": [monday.isoformat() for monday in mondays],
        "values": [measured.get(monday) for monday in mondays],
    }


def _cells(found: Watch, index: int) -> list[dict[str, Any]]:
    week, sums = found.weeks[index], found.sums
    high = "" if sums is None else f"{sums.high[index]:.1f}"
    low = "" if sums is None else f"{sums.low[index]:.1f}"
    note = _note(found, index, sums is not None and sums.alarm == index)
    return [
        {
            "column": "Week of",
            "text": f"{week.monday:%-d %b %Y}",
            "note": note,
        },
        {"column": "Mean", "text": in_words(week.value), "is_figure": True},
        {"column": "Measured", "text": str(week.count), "is_figure": True},
        {"column": "Sum upward, σ", "text": high, "is_figure": True},
        {"column": "Sum downward, σ", "text": low, "is_figure": True},
    ]


def _note(found: Watch, index: int, is_alarm: bool) -> str:
    if is_alarm:
        return "alarm"
    if index < found.base:
        return "base line"
    outside = found.chart is not None and found.chart.is_outside(found.weeks[index].value)
    return "outside the limits" if outside else ""
