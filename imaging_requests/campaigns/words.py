"""Sessions, times and set-up cards in words, in the studio's zone."""

from __future__ import annotations

import zoneinfo
from datetime import date, datetime, timedelta
from typing import Any

from django.conf import settings

from imaging_requests.campaigns.models import Session, ShotLine
from imaging_requests.requesting.words import view_words


def studio_zone() -> zoneinfo.ZoneInfo:
    """The zone in which the studio plans and reads its clocks."""
    return zoneinfo.ZoneInfo(settings.STUDIO_ZONE)


def local(instant: datetime) -> datetime:
    """An instant on the studio's clock."""
    return instant.astimezone(studio_zone())


def local_day(instant: datetime) -> date:
    """The studio's day of an instant."""
    return local(instant).date()


def day_words(day: date) -> str:
    """``Fri 17 Apr 2026``."""
    return f"{day:%a} {day.day} {day:%b} {day.year}"


def time_words(starts_at: datetime, ends_at: datetime) -> str:
    """``13:00 to 16:00``; with zone letters when the clocks change in between.

    >>> from datetime import UTC, datetime
    >>> day = datetime(2026, 4, 17, 12, tzinfo=UTC)
    >>> time_words(day, day + timedelta(hours=3))
    '13:00 to 16:00'
    """
    start, end = local(starts_at), local(ends_at)
    if start.utcoffset() != end.utcoffset():
        return f"{start:%H:%M} {start:%Z} to {end:%H:%M} {end:%Z}"
    return f"{start:%H:%M} to {end:%H:%M}"


def duration_words(length: timedelta) -> str:
    """``4 h 30 min``; counted in real time, whatever the clocks do.

    >>> duration_words(timedelta(hours=4.5)), duration_words(timedelta(minutes=45))
    ('4 h 30 min', '45 min')
    """
    minutes = round(length.total_seconds() / 60)
    hours, rest = divmod(minutes, 60)
    if not hours:
        return f"{rest} min"
    return f"{hours} h {rest} min" if rest else f"{hours} h"


def session_words(session: Session) -> str:
    """``session at the Bay on Fri 17 Apr 2026, 13:00 to 16:00``; needs the station at hand."""
    return (
        f"session at the {session.station} on {day_words(local_day(session.starts_at))}, "
        f"{time_words(session.starts_at, session.ends_at)}"
    )


def line_words(line: ShotLine) -> str:
    """What a line shoots, in words."""
    return view_words(line.technique, line.face, line.variant, line.surface)


def minutes_words(minutes: float) -> str:
    """``28 min``, ``16.5 min``."""
    return f"{minutes:g} min"


#: Values of a set-up card that are shown as large figures, with label and unit, in this order.
CARD_FIGURES: tuple[tuple[str, str, str], ...] = (
    ("distance_mm", "Sensor to object", "mm"),
    ("sensor_to_object_mm", "Sensor to object", "mm"),
    ("height_mm", "Camera height", "mm"),
    ("camera_height_mm", "Camera height", "mm"),
    ("tilt_deg", "Tilt", "°"),
    ("focal_length_mm", "Focal length", "mm"),
    ("aperture", "Aperture", ""),
    ("iso", "ISO", ""),
    ("exposure_s", "Exposure", "s"),
    ("azimuth_deg", "Lamp azimuth", "°"),
    ("elevation_deg", "Lamp elevation", "°"),
    ("lamp_distance_mm", "Lamp distance", "mm"),
    ("power", "Power", ""),
    ("filter", "Filter", ""),
    ("barrier_filter", "Barrier filter", ""),
    ("band_nm", "Band", "nm"),
    ("gain", "Gain", ""),
    ("integration_ms", "Integration", "ms"),
    ("kv", "Voltage", "kV"),
    ("ma", "Current", "mA"),
    ("seconds", "Exposure", "s"),
    ("source_detector_mm", "Source to detector", "mm"),
    ("object_detector_mm", "Object to detector", "mm"),
)


#: Units that the names of other values end in.
UNITS = {"mm": "mm", "cm": "cm", "min": "min", "s": "s", "ms": "ms", "nm": "nm", "lx": "lx"} | {
    "deg": "°",
    "kv": "kV",
    "ma": "mA",
    "pct": "%",
}


def said(value: Any) -> Any:
    """A value of a set-up card as people read it: a range with a dash, a list with commas."""
    if isinstance(value, list | tuple):
        numbers = all(isinstance(each, int | float) for each in value)
        return (" to " if numbers and len(value) == 2 else ", ").join(str(each) for each in value)
    return value


def card_figures(values: dict[str, Any]) -> list[dict[str, Any]]:
    """The numbers of a set-up card that are rebuilt, as large figures."""
    return [
        {
            "label": label,
            "figure": f"f/{said(values[name])}" if name == "aperture" else said(values[name]),
            "unit": unit,
        }
        for name, label, unit in CARD_FIGURES
        if values.get(name) not in (None, "")
    ]


def _label_and_unit(name: str) -> dict[str, str]:
    words, _, last = name.rpartition("_")
    unit = UNITS.get(last, "") if words else ""
    return {"label": (words if unit else name).replace("_", " ").capitalize(), "unit": unit}


def card_rest(values: dict[str, Any]) -> list[dict[str, Any]]:
    """What else a set-up card says, as names and facts."""
    shown = {name for name, _, _ in CARD_FIGURES}
    return [
        {**_label_and_unit(name), "value": said(value)}
        for name, value in values.items()
        if name not in shown and value not in (None, "")
    ]
