"""How far cameras' clocks were off: from photographed slates, or estimated and then asked. Pure."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from statistics import median
from zoneinfo import ZoneInfo

from imaging_requests.intake.capture import Instant, Window, capture_instant
from imaging_requests.intake.decisions import Timed
from imaging_requests.intake.limits import ClockLimits
from imaging_requests.intake.sheets import FrameSheet

HOUR_S = 3600.0


@dataclass(frozen=True, slots=True)
class Clock:
    """Seconds to add to the clock of one camera, and why; `is_sure`: from slates that agree."""

    body_serial: str
    offset_s: float
    is_sure: bool
    because: str


def clocks_from_slates(
    frames: Sequence[FrameSheet], zone: ZoneInfo, limits: ClockLimits
) -> list[Clock]:
    """Read the clock of every camera that photographed slates which agree with each other.

    In the hour that a clock shows twice, the reading nearer to the slate is taken.
    """
    readings: dict[str, list[float]] = defaultdict(list)
    for sheet in frames:
        slate, exif = sheet.slate, sheet.exif
        if slate is None or slate.shown_at is None or exif is None or exif.captured_local is None:
            continue
        offsets = [
            (slate.shown_at - each).total_seconds()
            for each in _readings(exif.captured_local, exif.captured_offset, zone)
        ]
        readings[exif.body_serial].append(min(offsets, key=abs))
    found = []
    for body, offsets in sorted(readings.items()):
        if max(offsets) - min(offsets) > limits.disagree_s:
            continue
        offset_s = round(median(offsets), 1)
        slates = "a slate" if len(offsets) == 1 else f"{len(offsets)} slates"
        words = f"Read from {slates} that the camera photographed."
        found.append(Clock(body, offset_s, True, words))
    return found


def _readings(wall_clock: datetime, offset_text: str, zone: ZoneInfo) -> list[datetime]:
    if offset_text:
        at = capture_instant(wall_clock, offset_text=offset_text, zone=zone, clock_offset_s=0).at
        return [at]
    folds = (wall_clock.replace(tzinfo=zone, fold=fold) for fold in (0, 1))
    return [datetime.fromtimestamp(each.timestamp(), tz=zone) for each in folds]


#: Counts the frames that find a place for certain.
Count = Callable[[Sequence[Timed]], int]


def estimate_clocks(
    frames: Sequence[Timed],
    *,
    count: Count,
    windows: Sequence[Window],
    known: frozenset[str],
    limits: ClockLimits,
) -> list[Clock]:
    """Propose an offset for cameras whose frames find places only if their clock was off.

    Whole hours are tried (a wrong zone, or summer time forgotten). If the files came for one
    session and their clock lies wholly elsewhere, the offset that puts them into its middle is
    tried as well: the order is then known, the minute is not, and the words say so.
    """
    by_body: dict[str, list[Timed]] = defaultdict(list)
    for timed in frames:
        if timed.is_sure and timed.sheet.slate is None and timed.sheet.body_serial not in known:
            by_body[timed.sheet.body_serial].append(timed)
    found = []
    for body, own in sorted(by_body.items()):
        if len(own) >= limits.least_frames:
            clock = _estimate(body, own, count, windows, limits)
            if clock is not None:
                found.append(clock)
    return found


def _estimate(
    body: str,
    frames: Sequence[Timed],
    count: Count,
    windows: Sequence[Window],
    limits: ClockLimits,
) -> Clock | None:
    needed = limits.least_share * len(frames)
    as_it_is = count(frames)
    if as_it_is >= needed:
        return None
    shifts = {
        hours * HOUR_S: 0.0 for hours in range(-limits.most_hours, limits.most_hours + 1) if hours
    } | _into_the_middle(frames, windows)
    worth: list[tuple[int, float]] = []
    for offset_s in shifts:
        moved = [_moved(timed, offset_s) for timed in frames]
        inside = sum(1 for timed in moved if _is_inside(timed, windows))
        worth.append((count(moved) if inside >= needed else 0, offset_s))
    ranked = sorted(worth, key=lambda each: (-each[0], abs(each[1])))
    (best, offset_s), rest = ranked[0], ranked[1:]
    next_best = max([as_it_is, *(number for number, _ in rest)])
    if best < needed or best - next_best < limits.lead_share * len(frames):
        return None
    return Clock(body, offset_s, False, _words(best, len(frames), next_best, shifts[offset_s]))


def _into_the_middle(frames: Sequence[Timed], windows: Sequence[Window]) -> dict[float, float]:
    """Return the offset to the middle of the one session, and by how many seconds it may miss."""
    instants = [timed.at for timed in frames if timed.at is not None]
    if len(windows) != 1 or not instants or any(windows[0].holds(at) for at in instants):
        return {}
    earliest = (windows[0].starts_at - min(instants)).total_seconds()
    latest = (windows[0].ends_at - max(instants)).total_seconds()
    if latest < earliest:
        return {}
    nearest_hour = round((earliest + latest) / 2 / HOUR_S) * HOUR_S
    if earliest <= nearest_hour <= latest and abs(nearest_hour) <= 14 * HOUR_S:
        return {}
    return {round((earliest + latest) / 2): (latest - earliest) / 2}


def _moved(timed: Timed, offset_s: float) -> Timed:
    if timed.instant is None:
        return timed
    return replace(timed, instant=Instant(timed.instant.at + timedelta(seconds=offset_s)))


def _is_inside(timed: Timed, windows: Sequence[Window]) -> bool:
    return timed.at is not None and any(window.holds(timed.at) for window in windows)


def _words(best: int, number: int, next_best: int, miss_s: float) -> str:
    words = (
        f"With it {best} of {number} frames of this camera find their places for certain; with the "
        f"next best {next_best}."
    )
    if miss_s:
        words += (
            f" The minute is not known: the order fits, the times may be off by "
            f"{miss_s / 60:.0f} min."
        )
    return words


def added_words(offset_s: float) -> str:
    """Return a correction of a clock as people say it.

    >>> added_words(3600), added_words(-72), added_words(0)
    ('1 hour added', '1 minute 12 seconds taken off', 'nothing added')
    >>> added_words(5430)
    '1 hour 30 minutes 30 seconds added'
    """
    whole = round(abs(offset_s))
    minutes, seconds = divmod(whole, 60)
    hours, minutes = divmod(minutes, 60)
    parts = [
        f"{number:,} {noun}{'' if number == 1 else 's'}"
        for number, noun in ((hours, "hour"), (minutes, "minute"), (seconds, "second"))
        if number
    ]
    if not parts:
        return "nothing added"
    return f"{' '.join(parts)} {'added' if offset_s > 0 else 'taken off'}"


def offset_words(offset_s: float) -> str:
    """Return an offset as people say it.

    >>> offset_words(3600), offset_words(-72), offset_words(0)
    ('1:00:00 slow', '0:01:12 fast', 'right')
    """
    whole = round(abs(offset_s))
    if not whole:
        return "right"
    hours, rest = divmod(whole, 3600)
    way = "slow" if offset_s > 0 else "fast"
    return f"{hours}:{rest // 60:02}:{rest % 60:02} {way}"
