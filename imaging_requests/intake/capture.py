"""When a picture was taken, from the camera's wall clock; and how much light it got."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo


@dataclass(frozen=True, slots=True)
class Window:
    """The stretch in which the frames of a session can have been taken, both ends included."""

    starts_at: datetime
    ends_at: datetime

    def holds(self, instant: datetime) -> bool:
        """Tell whether an instant lies in the stretch."""
        return self.starts_at <= instant <= self.ends_at


@dataclass(frozen=True, slots=True)
class Instant:
    """An instant of capture. `is_ambiguous`: the clock showed this time twice that night."""

    at: datetime
    is_ambiguous: bool = False


def capture_instant(
    wall_clock: datetime,
    *,
    offset_text: str,
    zone: ZoneInfo,
    clock_offset_s: float,
    window: Window | None = None,
) -> Instant:
    """Turn the camera's wall clock into an instant.

    `wall_clock` has no zone. A zone that the camera wrote itself (`offset_text`, "+01:00") is
    believed before the studio's `zone`. `clock_offset_s` is added to the camera's time. In the
    hour that the clock shows twice, the reading inside the `window` is taken; if both or none lie
    inside, the earlier one is returned and marked ambiguous. A time that the clock skipped is
    read as that of a camera whose clock was not yet put forward.

    >>> capture_instant(
    ...     datetime(2026, 4, 17, 13, 5), offset_text="", zone=ZoneInfo("Europe/London"),
    ...     clock_offset_s=0,
    ... ).at.isoformat()
    '2026-04-17T12:05:00+00:00'
    """
    correction = timedelta(seconds=clock_offset_s)
    if offset_text:
        own = datetime.fromisoformat(f"{wall_clock.isoformat()}{offset_text}")
        return Instant(own.astimezone(UTC) + correction)
    first, second = (
        wall_clock.replace(tzinfo=zone, fold=fold).astimezone(UTC) + correction for fold in (0, 1)
    )
    if first >= second:
        return Instant(first)
    fitting = [instant for instant in (first, second) if window and window.holds(instant)]
    if len(fitting) == 1:
        return Instant(fitting[0])
    return Instant(first, is_ambiguous=True)


def exposure_ev(exposure_s: float | None, f_number: float | None, iso: int | None) -> float | None:
    """Return the amount of exposure in EV: one more is twice the light in the file.

    `log2(t · S / N²)` with t in seconds, S the ISO value, N the f-number; None if the file does
    not say all three.

    >>> exposure_ev(8, 8, 200), exposure_ev(16, 8, 200)
    (4.643856189774724, 5.643856189774724)
    """
    if not exposure_s or not f_number or not iso:
        return None
    if exposure_s <= 0 or f_number <= 0 or iso <= 0:
        return None
    return math.log2(exposure_s * iso / f_number**2)
