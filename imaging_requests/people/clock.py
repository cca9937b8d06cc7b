"""The studio's clock: instants are stored in UTC and said in the studio's zone, in jobs as well."""

from __future__ import annotations

import zoneinfo
from datetime import datetime

from django.conf import settings


def studio_time(instant: datetime) -> datetime:
    """Return an instant as the studio's clock shows it, wherever the server stands."""
    return instant.astimezone(zoneinfo.ZoneInfo(settings.STUDIO_ZONE))
