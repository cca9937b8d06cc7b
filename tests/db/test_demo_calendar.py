"""The demo's dates: whole weeks, the latest Thursday, and a night over which the clocks change."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from imaging_requests.demo.calendar import Calendar, working_day_after

WRITTEN_FOR = date(2026, 4, 16)
THURSDAY = 3


def calendar(today: date) -> Calendar:
    return Calendar(written_for=WRITTEN_FOR, today=today, zone=ZoneInfo("Europe/London"))


@pytest.mark.parametrize("days", range(-400, 400, 13))
def test_the_demo_day_is_the_latest_thursday_not_after_today(days: int) -> None:
    today = WRITTEN_FOR + timedelta(days=days)
    demo_day = calendar(today).demo_day
    assert demo_day.weekday() == THURSDAY
    assert timedelta() <= today - demo_day < timedelta(days=7)


def test_weekdays_stay_what_they_were() -> None:
    moved = calendar(date(2026, 11, 25))
    for written in ("2025-09-15", "2026-02-20", "2026-04-13"):
        assert moved.day(written).weekday() == date.fromisoformat(written).weekday()


def test_wall_times_stay_when_the_story_moves_from_summer_to_winter() -> None:
    summer, winter = calendar(WRITTEN_FOR), calendar(date(2026, 11, 19))
    assert summer.at("2026-04-16 09:00") == datetime(2026, 4, 16, 8, 0, tzinfo=UTC)
    assert winter.at("2026-04-16 09:00") == datetime(2026, 11, 19, 9, 0, tzinfo=UTC)


@pytest.mark.parametrize("days", range(0, 371, 7))
def test_the_clocks_change_inside_the_story_whenever_it_is_told(days: int) -> None:
    told = calendar(WRITTEN_FOR + timedelta(days=days))
    sunday = told.last_clock_change()
    assert told.day("2025-09-08") < sunday < told.demo_day
    night = told.on(sunday, "03:30") - told.on(sunday - timedelta(days=1), "22:00")
    assert night in (timedelta(hours=4.5), timedelta(hours=6.5))


def test_working_days_skip_the_weekend_both_ways() -> None:
    friday, monday = date(2026, 4, 10), date(2026, 4, 13)
    assert working_day_after(friday) == monday
    assert working_day_after(monday, -1) == friday
    assert working_day_after(friday, 5) == date(2026, 4, 17)
