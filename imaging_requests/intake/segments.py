"""Cut a session into stretches that can be laid out by themselves. Pure.

A slate opens its line for certain. The lines after it in the list, up to the next one that has a
slate of its own, follow it; frames before the first slate belong to the lines that no slate opens
or leads to. Without slates a session is one stretch, unless that can be laid out in too many ways:
then it is cut at long pauses, where the frames before the pause are exactly as many as the next
lines ask for.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from imaging_requests.intake.layout import Line, Shot


@dataclass(frozen=True, slots=True, order=True)
class Mark:
    """A slate: from this instant on its line was shot, with this camera if it is known."""

    at: datetime
    line_id: int
    body_serial: str = ""


@dataclass(frozen=True, slots=True)
class Stretch:
    """Frames and the lines on which they can lie."""

    shots: tuple[Shot, ...]
    lines: tuple[Line, ...]


def cut_at_slates(
    shots: Sequence[Shot], lines: Sequence[Line], marks: Sequence[Mark]
) -> list[Stretch]:
    """Cut at slates; a line that is opened twice takes the frames of both times."""
    known = {line.line_id for line in lines}
    ordered = sorted(mark for mark in marks if mark.line_id in known)
    if not ordered:
        return [Stretch(tuple(shots), tuple(lines))]
    heads = {mark.line_id for mark in ordered}
    led: dict[int, list[Line]] = {}
    before: list[Line] = []
    run = before
    for line in lines:
        if line.line_id in heads:
            run = led.setdefault(line.line_id, [])
        run.append(line)
    under: dict[int | None, list[Shot]] = {}
    for shot in shots:
        under.setdefault(_head_of(shot, ordered), []).append(shot)
    return [
        Stretch(tuple(under.get(head, ())), tuple(run))
        for head, run in [(None, before), *led.items()]
        if run or head in under
    ]


def _head_of(shot: Shot, ordered: Sequence[Mark]) -> int | None:
    """Return the line of the last slate before a frame, of its own camera if that had one."""
    own = [m for m in ordered if not m.body_serial or m.body_serial == shot.body_serial]
    earlier = [mark for mark in own if mark.at <= shot.at]
    return earlier[-1].line_id if earlier else None


def cut_at_pauses(stretch: Stretch, *, pause_min: float) -> list[Stretch]:
    """Cut a stretch at pauses, each part with as many frames as its lines have places."""
    parts: list[Stretch] = []
    lines, waiting = list(stretch.lines), list[Shot]()
    for burst in _bursts(stretch.shots, timedelta(minutes=pause_min)):
        waiting += burst
        count = _lines_that_take(lines, len(waiting))
        if count:
            parts.append(Stretch(tuple(waiting), tuple(lines[:count])))
            lines, waiting = lines[count:], []
    if waiting:
        parts.append(Stretch(tuple(waiting), tuple(lines)))
    return parts


def _lines_that_take(lines: Sequence[Line], frames: int) -> int:
    """Return how many of the next lines have exactly so many places together, or 0."""
    places = 0
    for number, line in enumerate(lines, 1):
        places += len(line.free)
        if places == frames:
            return number
        if places > frames:
            break
    return 0


def _bursts(shots: Sequence[Shot], pause: timedelta) -> Iterator[list[Shot]]:
    burst: list[Shot] = []
    for shot in sorted(shots, key=lambda each: (each.at, each.frame_id)):
        if burst and shot.at - burst[-1].at >= pause:
            yield burst
            burst = []
        burst.append(shot)
    if burst:
        yield burst
