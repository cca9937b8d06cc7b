"""When the demo happens: the scenario's dates moved by whole weeks, so that weekdays stay."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

WEEK = timedelta(weeks=1)
A_DAY = timedelta(days=1)
SATURDAY = 5


@dataclass(frozen=True, kw_only=True)
class Calendar:
    """Turns dates and wall times of the scenario into those of this demo.

    `written_for` is the day on which the scenario's story stands, `today` the real day. The demo
    stands on the latest day of the same weekday that is not after today.
    """

    written_for: date
    today: date
    zone: ZoneInfo

    @property
    def shift(self) -> timedelta:
        """How far every date of the scenario is moved: whole weeks.

        >>> calendar = Calendar(
        ...     written_for=date(2026, 4, 16), today=date(2026, 11, 25), zone=ZoneInfo("UTC"))
        >>> calendar.shift.days, calendar.demo_day.isoformat()
        (217, '2026-11-19')
        """
        return WEEK * ((self.today - self.written_for).days // 7)

    @property
    def demo_day(self) -> date:
        """The day on which the demo stands."""
        return self.written_for + self.shift

    def day(self, written: str) -> date:
        """Return the day of the demo for a date of the scenario such as "2026-02-20"."""
        return date.fromisoformat(written) + self.shift

    def at(self, written: str) -> datetime:
        """Return the instant for a wall time of the scenario such as "2026-02-20 16:00"."""
        day, _, clock = written.partition(" ")
        return self.on(self.day(day), clock)

    def on(self, day: date, clock: str) -> datetime:
        """Return the instant, in UTC, of a wall time on a day of the demo."""
        wall = datetime.combine(day, time.fromisoformat(clock or "00:00"))
        return wall.replace(tzinfo=self.zone).astimezone(UTC)

    def last_clock_change(self) -> date:
        """Return the last Sunday before the demo day on which the clocks were put on or back.

        This night is not moved by weeks: an ordinary night would not show what it is there for.
        """
        day = self.demo_day
        while True:
            day -= A_DAY
            if self.on(day + A_DAY, "00:00") - self.on(day, "00:00") != A_DAY:
                return day


def working_days(first: date, last: date) -> Iterator[date]:
    """Yield Mondays to Fridays from `first` to `last`, both included."""
    day = first
    while day <= last:
        if day.weekday() < SATURDAY:
            yield day
        day += A_DAY


def working_day_after(day: date, number: int = 1) -> date:
    """Return the working day that comes `number` working days later; earlier if negative.

    >>> working_day_after(date(2026, 4, 10)).isoformat()
    '2026-04-13'
    >>> working_day_after(date(2026, 4, 13), -1).isoformat()
    '2026-04-10'
    """
    step = A_DAY if number > 0 else -A_DAY
    for _ in range(abs(number)):
        day += step
        while day.weekday() >= SATURDAY:
            day += step
    return day
