"""Why a frame waits, and what is likely, in words for people. Pure."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from datetime import datetime
from zoneinfo import ZoneInfo

from imaging_requests.imaging.files.facts import Exif
from imaging_requests.intake.capture import Window
from imaging_requests.intake.decisions import Timed, Why
from imaging_requests.intake.layout import Finding, Spot
from imaging_requests.intake.leftovers import Found, Guess
from imaging_requests.intake.sheets import FrameSheet, LineSheet, SessionSheet
from imaging_requests.intake.words import listed

OPTIONS_SHOWN = 4
LOOKS_LIKE = 0.5


def no_time_words(timed: Timed, zone: ZoneInfo) -> str:
    """Say that the clock does not tell the instant."""
    if timed.instant is None:
        return (
            "The file does not say when it was taken, so its place cannot be found. "
            "Place it by hand and give the time."
        )
    taken = f"{timed.instant.at.astimezone(zone):%-d %b %Y, %H:%M}"
    return (
        f"The clock showed this time ({taken}) twice that night, and the file does not say "
        "which it was. Place it by hand."
    )


def outside_words(at: datetime, session: SessionSheet) -> str:
    """Say that a frame was taken outside the one session that it was brought for."""
    zone, window = session.zone, session.window
    taken = f"{at.astimezone(zone):%-d %b %Y, %H:%M}"
    first, last = (f"{each.astimezone(zone):%-d %b, %H:%M}" for each in _ends(window))
    return (
        f"Taken on {taken} by the camera's clock, outside the session ({first} to {last}, "
        "margins included). If the clock was off, say by how much on the page of its drop; else "
        "place it by hand."
    )


def no_session_words(at: datetime, zone: ZoneInfo) -> str:
    """Say that no session was going on when a frame was taken."""
    taken = f"{at.astimezone(zone):%-d %b %Y, %H:%M}"
    return (
        f"Taken on {taken} by the camera's clock, when no session was going on. If the clock was "
        "off, say by how much on the page of its drop; else choose its session on the sorting "
        "table and place it by hand."
    )


def two_sessions_words(sessions: Sequence[SessionSheet]) -> str:
    """Say that a frame could belong to several sessions of the same time."""
    named = listed([session.words for session in sessions], "or")
    return (
        f"It was taken in the time of the {named}, and neither its camera nor its exposures tell "
        "which. Choose the session on this page and place it by hand."
    )


def _ends(window: Window) -> tuple[datetime, datetime]:
    return window.starts_at, window.ends_at


def why_doubtful(
    sheet: FrameSheet, finding: Finding, lines: Mapping[int, LineSheet], filled: frozenset[Spot]
) -> tuple[Why, str]:
    """Say why the layout in the order of time gives a frame no certain place."""
    if finding.options:
        why = Why.EXTRA if finding.may_be_extra else Why.SEVERAL
        return why, _several_words(finding, lines)
    open_lines = [line for line in lines.values() if not filled.issuperset(line.layout.free)]
    if not lines:
        return Why.EXTRA, "The session has no shot line that is still open. Place it by hand."
    if not open_lines:
        named = listed([line.words for line in list(lines.values())[:OPTIONS_SHOWN]])
        return Why.EXTRA, (
            f"Every place of {named} is taken, so this is one frame more. Set it aside as a "
            "spare, or put it in the place of another."
        )
    if all(_is_other(sheet, line) for line in open_lines):
        return Why.CAMERA, _other_camera_words(sheet, open_lines[0])
    if sheet.amount_ev is None:
        return Why.EXPOSURE, (
            "The file does not say how it was exposed (time, aperture and ISO), so its step in "
            "the bracket cannot be told. Place it by hand."
        )
    named = listed([line.words for line in open_lines[:OPTIONS_SHOWN]])
    return Why.EXPOSURE, (
        f"Its exposure ({exposure_words(sheet.exif)}) or its place in time fits no free place of "
        f"{named}. Place it by hand, or set it aside as a spare."
    )


def _is_other(sheet: FrameSheet, line: LineSheet) -> bool:
    return _is_other_body(sheet, line) or _is_other_lens(sheet, line)


def _is_other_body(sheet: FrameSheet, line: LineSheet) -> bool:
    own = sheet.body_serial
    return bool(own and line.layout.body_serial and own != line.layout.body_serial)


def _is_other_lens(sheet: FrameSheet, line: LineSheet) -> bool:
    own = sheet.exif.lens_serial if sheet.exif else ""
    return bool(own and line.layout.lens_serial and own != line.layout.lens_serial)


def _other_camera_words(sheet: FrameSheet, line: LineSheet) -> str:
    if _is_other_body(sheet, line):
        return (
            f"Taken with the camera {sheet.body_serial}; the set-up card names "
            f"{line.layout.body_serial}. Place it by hand if the camera was changed."
        )
    own = sheet.exif.lens_serial if sheet.exif else ""
    return (
        f"Taken with the lens {own}; the set-up card names {line.layout.lens_serial}. "
        "Place it by hand if the lens was changed."
    )


def _several_words(finding: Finding, lines: Mapping[int, LineSheet]) -> str:
    named = options_words(finding.options, lines)
    if finding.may_be_extra:
        return (
            f"More frames came than there are places: this may be {named}, or one too many. "
            "Choose the one to keep; the other becomes a spare."
        )
    if len(finding.options) == 1:
        return f"It may be {named}, but another frame of the same second fits there as well."
    return f"It may be {named}; time and exposure do not tell which. Something may be missing."


def options_words(options: Sequence[Spot], lines: Mapping[int, LineSheet]) -> str:
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


def turned_words(turn: str) -> str:
    """Say that a picture fits its face only when it is turned back."""
    return (
        f"It looks {turn}: turned back, it fits the reference picture. Look at it; if it is so, "
        "export it again the right way round and bring that. The file itself is not changed."
    )


def hour_words(found: Found, lines: Mapping[int, LineSheet]) -> str:
    """Say which place a frame would have if its clock were a few whole hours off."""
    spot, hours = found.guesses[0].spot, abs(found.hours_off)
    line = lines[spot.line_id]
    way = "slow" if found.hours_off > 0 else "fast"
    many = "1 hour" if hours == 1 else f"{hours} hours"
    return (
        f"It would fit {line.spot_words(spot)} of {line.words} if its clock had been {many} {way}. "
        "Place it there if that is so."
    )


def guess_words(guess: Guess, *, leads: bool) -> str:
    """Say in a few words why a place is likely."""
    if guess.says >= LOOKS_LIKE:
        return f"its picture looks like it ({guess.says:.2f} of 1)"
    if guess.says > 0:
        return f"its picture looks a little like it ({guess.says:.2f} of 1)"
    return "the first that is free and fits its exposure" if leads else "its exposure would fit"
