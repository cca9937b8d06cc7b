"""The studio's clock: instants are stored in UTC and said in the studio's zone, in jobs as well."""

from __future__ import annotations

import zoneinfo
from datetime import date, datetime

from django.conf import settings
from django.core.exceptions import ValidationError

#: Days of these years can be reckoned with on every side: a calendar ends at the years 1 and 9999.
FIRST_YEAR, LAST_YEAR = 1000, 2999


def studio_time(instant: datetime) -> datetime:
    """Return an instant as the studio's clock shows it, wherever the server stands."""
    return instant.astimezone(zoneinfo.ZoneInfo(settings.STUDIO_ZONE))


def can_reckon(day: date) -> bool:
    """Tell whether days before and after this one exist, so that spans of time can be laid out.

    >>> can_reckon(date(1791, 5, 1)), can_reckon(date(9999, 12, 31))
    (True, False)
    """
    return FIRST_YEAR <= day.year <= LAST_YEAR


def demand_reckonable(day: date) -> None:
    """Refuse a day or an instant of a form whose year must be a slip."""
    if not can_reckon(day):
        raise ValidationError(
            f"The year {day.year} must be a slip. Type a year from {FIRST_YEAR} to {LAST_YEAR}.",
            code="year",
        )
