"""Decide for each frame of a drop: its place, or why a person must look, with what is likely. Pure.

Nothing is read or written here; `sheets` gathers the facts and `actions.sorting` stores what is
decided.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from imaging_requests.imaging.files.facts import Exif
from imaging_requests.intake.capture import Instant, Window
from imaging_requests.intake.layout import (
    Finding,
    Shot,
    Spot,
    TooManyWaysError,
    lay_out,
)
from imaging_requests.intake.limits import PlacingLimits
from imaging_requests.intake.sheets import FrameSheet, LineSheet
from imaging_requests.intake.words import listed

OPTIONS_SHOWN = 4


@dataclass(frozen=True, slots=True)
class Timed:
    """A frame with the instant at which it was taken, if that is known."""

    sheet: FrameSheet
    instant: Instant | None


@dataclass(frozen=True, slots=True)
class Decision:
    """What is to become of a frame.

    `spot` and no `because`: place it. `because`: it waits, with `proposal`. Neither: it is left
    as it is, since its picture has not been read yet.
    """

    frame_id: int
    captured_at: datetime | None
    spot: Spot | None = None
    because: str = ""
    proposal: tuple[dict[str, Any], ...] = ()


def decide(
    frames: Sequence[Timed],
    lines: Sequence[LineSheet],
    *,
    window: Window,
    zone: ZoneInfo,
    limits: PlacingLimits,
) -> list[Decision]:
    """Lay out the frames of one session; every frame gets one decision."""
    decisions: list[Decision] = []
    fitting: list[Timed] = []
    for timed in frames:
        because = _why_not_laid_out(timed, window, zone)
        if because:
            decisions.append(_wait(timed, because))
        else:
            fitting.append(timed)
    try:
        if len(fitting) > limits.most_frames:
            raise TooManyWaysError
        findings = lay_out(
            [_shot(timed) for timed in fitting],
            [line.layout for line in lines],
            tolerance_ev=limits.tolerance_ev,
        )
    except TooManyWaysError:
        because = (
            f"These {len(fitting)} frames fit the open lines in too many ways to be told apart. "
            "Name the shot line in a drop of its own, or place them by hand."
        )
        return [*decisions, *(_wait(timed, because) for timed in fitting)]
    by_line = {line.line_id: line for line in lines}
    slow = _slow_brackets(fitting, findings, by_line, limits)
    guesses = _guesses(fitting, findings, by_line, limits)
    filled = frozenset(finding.spot for finding in findings.values() if finding.spot is not None)
    for timed in fitting:
        finding = findings[timed.sheet.frame_id]
        likely = _proposal(timed, finding, guesses.get(timed.sheet.frame_id), by_line, limits)
        decisions.append(_judge(timed, finding, likely, by_line, slow, filled))
    return decisions


def _why_not_laid_out(timed: Timed, window: Window, zone: ZoneInfo) -> str:
    instant = timed.instant
    if instant is None:
        return (
            "The file does not say when it was taken, so its place cannot be found. "
            "Place it by hand and give the time."
        )
    taken = f"{instant.at.astimezone(zone):%-d %b %Y, %H:%M}"
    if instant.is_ambiguous:
        return (
            f"The clock showed this time ({taken}) twice that night, and the file does not say "
            "which it was. Place it by hand."
        )
    if not window.holds(instant.at):
        first, last = (f"{at.astimezone(zone):%-d %b, %H:%M}" for at in _ends(window))
        return (
            f"Taken on {taken} by the camera's clock, outside the session ({first} to {last}, "
            "margins included). If the clock was off, say by how much; else place it by hand."
        )
    if timed.sheet.is_other_object:
        return " ".join(timed.sheet.holds)
    return ""


def _ends(window: Window) -> tuple[datetime, datetime]:
    return window.starts_at, window.ends_at


def _shot(timed: Timed) -> Shot:
    sheet, instant = timed.sheet, timed.instant
    if instant is None:
        raise ValueError("A frame without an instant cannot be laid out.")
    exif = sheet.exif
    return Shot(
        sheet.frame_id,
        instant.at,
        amount_ev=sheet.amount_ev,
        f_number=exif.f_number if exif else None,
        iso=exif.iso if exif else None,
        body_serial=exif.body_serial if exif else "",
    )


def _slow_brackets(
    fitting: Iterable[Timed],
    findings: Mapping[int, Finding],
    lines: Mapping[int, LineSheet],
    limits: PlacingLimits,
) -> dict[int, str]:
    """Return frames of brackets that took too long, each with the sentence that says so."""
    together: dict[tuple[int, int, int, int], list[Timed]] = defaultdict(list)
    for timed in fitting:
        spot = findings[timed.sheet.frame_id].spot
        if spot is not None and lines[spot.line_id].layout.is_bracket:
            together[spot.line_id, spot.tile_y, spot.tile_x, spot.focus_slice].append(timed)
    slow: dict[int, str] = {}
    for (line_id, *_), members in together.items():
        instants = [timed.instant.at for timed in members if timed.instant is not None]
        most_min = limits.bracket_span_min(lines[line_id].technique)
        span = max(instants) - min(instants)
        if span <= timedelta(minutes=most_min):
            continue
        for timed in members:
            slow[timed.sheet.frame_id] = (
                f"The exposures of this tile were taken over {span.total_seconds() / 60:.0f} "
                f"minutes; {most_min:g} are allowed, since light and object may have changed. "
                "Shoot the bracket again, or place these frames by hand."
            )
    return slow


def _guesses(
    fitting: Sequence[Timed],
    findings: Mapping[int, Finding],
    lines: Mapping[int, LineSheet],
    limits: PlacingLimits,
) -> dict[int, Spot]:
    """Give each doubtful frame at most one likely place, each place to at most one frame.

    Of frames that compete for a place the newest is proposed, so that a repeated exposure stands
    for the spoilt one before it; gaps are assumed at the end.
    """
    guesses: dict[int, Spot] = {}
    taken: set[Spot] = set()
    doubtful = [f for f in fitting if findings[f.sheet.frame_id].options]
    extra = [f for f in doubtful if findings[f.sheet.frame_id].may_be_extra]
    steady = [f for f in doubtful if not findings[f.sheet.frame_id].may_be_extra]
    for timed in [*steady, *reversed(extra)]:
        options = _ranked(timed, findings[timed.sheet.frame_id].options, lines, limits)
        spot = next((spot for spot in options if spot not in taken), None)
        if spot is not None:
            guesses[timed.sheet.frame_id] = spot
            taken.add(spot)
    return guesses


def _ranked(
    timed: Timed, options: Sequence[Spot], lines: Mapping[int, LineSheet], limits: PlacingLimits
) -> list[Spot]:
    """Put those options first that the set-up card's own exposure speaks for."""
    return sorted(options, key=lambda spot: not _card_speaks_for(timed, spot, lines, limits))


def _card_speaks_for(
    timed: Timed, spot: Spot, lines: Mapping[int, LineSheet], limits: PlacingLimits
) -> bool:
    line = lines[spot.line_id]
    amount = timed.sheet.amount_ev
    if amount is None or line.card_amount_ev is None or not line.layout.is_bracket:
        return False
    return abs(amount - spot.ev - line.card_amount_ev) <= limits.tolerance_ev


def _proposal(
    timed: Timed,
    finding: Finding,
    guess: Spot | None,
    lines: Mapping[int, LineSheet],
    limits: PlacingLimits,
) -> tuple[dict[str, Any], ...]:
    if finding.spot is not None:
        return (as_proposal(finding.spot, "it fits there by time and exposure"),)
    rest = [spot for spot in _ranked(timed, finding.options, lines, limits) if spot != guess]
    spots = [*([guess] if guess is not None else []), *rest]
    return tuple(
        as_proposal(spot, _why_likely(timed, spot, guess, lines, limits))
        for spot in spots[:OPTIONS_SHOWN]
    )


def _why_likely(
    timed: Timed,
    spot: Spot,
    guess: Spot | None,
    lines: Mapping[int, LineSheet],
    limits: PlacingLimits,
) -> str:
    if _card_speaks_for(timed, spot, lines, limits):
        return "the exposure of the set-up card speaks for it"
    if spot == guess:
        return "the first that is free in the order of the list"
    return "it would fit by time and exposure"


def as_proposal(spot: Spot, why: str) -> dict[str, Any]:
    """Return a place with its reason as plain values."""
    return {
        "line": spot.line_id,
        "tile_x": spot.tile_x,
        "tile_y": spot.tile_y,
        "ev": spot.ev,
        "focus_slice": spot.focus_slice,
        "why": why,
    }


def _judge(
    timed: Timed,
    finding: Finding,
    likely: tuple[dict[str, Any], ...],
    lines: Mapping[int, LineSheet],
    slow: Mapping[int, str],
    filled: frozenset[Spot],
) -> Decision:
    sheet = timed.sheet
    captured_at = timed.instant.at if timed.instant is not None else None
    if not sheet.is_read:
        return Decision(sheet.frame_id, captured_at)
    if finding.spot is None:
        because = " ".join([*sheet.holds, _why_doubtful(sheet, finding, lines, filled)])
        return _wait(timed, because, likely)
    if sheet.frame_id in slow:
        return _wait(timed, slow[sheet.frame_id], likely)
    if sheet.holds:
        return _wait(timed, " ".join(sheet.holds), likely)
    return Decision(sheet.frame_id, captured_at, spot=finding.spot)


def _wait(timed: Timed, because: str, proposal: tuple[dict[str, Any], ...] = ()) -> Decision:
    instant = timed.instant
    known = instant is not None and not instant.is_ambiguous
    return Decision(
        timed.sheet.frame_id,
        instant.at if known and instant is not None else None,
        because=because,
        proposal=proposal,
    )


def _why_doubtful(
    sheet: FrameSheet, finding: Finding, lines: Mapping[int, LineSheet], filled: frozenset[Spot]
) -> str:
    if finding.options:
        return _several_words(finding, lines)
    open_lines = [line for line in lines.values() if not filled.issuperset(line.layout.free)]
    if not lines:
        return "The session has no shot line that is still open. Place it by hand."
    if not open_lines:
        named = listed([line.words for line in list(lines.values())[:OPTIONS_SHOWN]])
        return (
            f"Every place of {named} is taken, so this is one frame more. Set it aside as a "
            "spare, or put it in the place of another."
        )
    if all(_is_other_body(sheet, line) for line in open_lines):
        own = sheet.exif.body_serial if sheet.exif else ""
        return (
            f"Taken with the camera {own}; the set-up card names {open_lines[0].layout.body_serial}"
            ". Place it by hand if the camera was changed."
        )
    if sheet.amount_ev is None:
        return (
            "The file does not say how it was exposed (time, aperture and ISO), so its step in "
            "the bracket cannot be told. Place it by hand."
        )
    named = listed([line.words for line in open_lines[:OPTIONS_SHOWN]])
    return (
        f"Its exposure ({exposure_words(sheet.exif)}) or its place in time fits no free place of "
        f"{named}. Place it by hand, or set it aside as a spare."
    )


def _is_other_body(sheet: FrameSheet, line: LineSheet) -> bool:
    own = sheet.exif.body_serial if sheet.exif else ""
    return bool(own and line.layout.body_serial and own != line.layout.body_serial)


def _several_words(finding: Finding, lines: Mapping[int, LineSheet]) -> str:
    named = _options_words(finding.options, lines)
    if finding.may_be_extra:
        return (
            f"More frames came than there are places: this may be {named}, or one too many. "
            "Choose the one to keep; the other becomes a spare."
        )
    if len(finding.options) == 1:
        return f"It may be {named}, but another frame of the same second fits there as well."
    return f"It may be {named}; time and exposure do not tell which. Something may be missing."


def _options_words(options: Sequence[Spot], lines: Mapping[int, LineSheet]) -> str:
    """Name places, those of one line together."""
    by_line: dict[int, list[str]] = defaultdict(list)
    for spot in options[:OPTIONS_SHOWN]:
        by_line[spot.line_id].append(lines[spot.line_id].spot_words(spot))
    named = [f"{listed(spots, 'or')} of {lines[pk].words}" for pk, spots in by_line.items()]
    further = len(options) - OPTIONS_SHOWN
    if further > 0:
        named.append("one further place" if further == 1 else f"one of {further} further places")
    return ", or ".join(named)


def exposure_words(exif: Exif | None) -> str:
    """Return exposure time, aperture and ISO as people write them.

    The time is written as a fraction below a third of a second.
    """
    if exif is None or not exif.exposure_s:
        return "exposure not known"
    seconds = exif.exposure_s
    time = f"1/{1 / seconds:.0f} s" if seconds < 1 / 3 else f"{seconds:g} s"
    aperture = f"f/{exif.f_number:g}" if exif.f_number else ""
    iso = f"ISO {exif.iso}" if exif.iso else ""
    return ", ".join(part for part in (time, aperture, iso) if part)
