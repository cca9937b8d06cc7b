"""What the sorting table shows: frames, why they wait, and the places that can be chosen."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Any

from django.utils import timezone

from imaging_requests.campaigns.models import Session, ShotLine
from imaging_requests.intake import queries
from imaging_requests.intake.actions.placing import Choice
from imaging_requests.intake.clocks import offset_words
from imaging_requests.intake.decisions import WHY_WORDS
from imaging_requests.intake.forms import INSTEAD, NO_LINES, SortingForm, spot_value
from imaging_requests.intake.layout import Spot
from imaging_requests.intake.models import CameraClock, Drop, Frame, FrameRole, FrameState
from imaging_requests.intake.pages import picture_address
from imaging_requests.intake.sheets import LineSheet, exif_of, line_sheets
from imaging_requests.intake.sorting_words import exposure_words
from imaging_requests.intake.words import ev_words
from imaging_requests.people.counting import number_of

FRAMES_PER_PAGE = 24
LIKELY = "Likely"
#: A line with so few places offers them to every frame; so many filled ones are offered at most.
FEW_PLACES, MOST_FILLED = 8, 60


@dataclass(frozen=True, slots=True)
class SortingRow:
    """One frame on the sorting table with the fields of its form."""

    number: int
    frame: Frame
    picture: str
    kind: str
    guesses: tuple[str, ...]
    taken: str
    exposure: str
    drops: list[Drop]
    why: str
    tick: Any
    version: Any
    place: Any
    time: Any


@dataclass(frozen=True, slots=True)
class SortingPage:
    """One page of the sorting table: its form, its rows, and the lines that can be chosen."""

    form: SortingForm
    rows: list[SortingRow]
    sheets: dict[int, LineSheet]

    def range_fields(self) -> list[Any]:
        """Return the two fields that tick a stretch of frames by their numbers."""
        return [self.form["first"], self.form["last"]]

    def time_fields(self) -> list[Any]:
        """Return the two fields that give times to many frames at once; none if all have one."""
        return [
            self.form[name] for name in ("first_taken", "interval_s") if name in self.form.fields
        ]

    def choices_in_order(self) -> tuple[list[Choice], str]:
        """Give the ticked frames the free places of the chosen line in the order shown.

        Returns the choices, and what is to be said if they are not all that was wanted.
        """
        line, ticked = self.form.cleaned_data["line"], len(self.form.ticked())
        if not line:
            return [], "No shot line was chosen. Choose the one whose places shall be filled."
        sheet = self.sheets.get(int(line))
        if sheet is None:
            return [], "That shot line is not among those of these frames any more. Choose again."
        free = sheet.layout.free
        if not free:
            return [], f"{sheet.words} has no free place any more."
        left = ticked - len(free)
        said = f"{number_of(left, 'frame')} had no place left: {sheet.words} is full now."
        return self.form.choices_in_order(free), said if left > 0 else ""


def sorting_page(frames: Sequence[Frame], session: Session | None, data: Any) -> SortingPage:
    """Build the form of one page of frames."""
    places, line_choices, sheets = sorting_choices(frames, session)
    form = SortingForm(
        data,
        frames=frames,
        places=places,
        line_choices=line_choices,
        initial=initial_places(frames, places),
    )
    return SortingPage(form, sorting_rows(form, frames, sheets), sheets)


def gone_words(form: SortingForm, sheets: dict[int, LineSheet]) -> list[str]:
    """Say of every ticked frame that is on the table no more where it went, who did it and when."""
    gone = [form.frames[pk] for pk in form.ticked() if not _waits(form.frames[pk])]
    if not gone:
        return []
    moves = queries.last_moves([frame.pk for frame in gone])
    words = []
    for frame in gone:
        event = moves.get(frame.pk)
        who = event.actor.name if event is not None and event.actor else "the program"
        when = f" on {timezone.localtime(event.recorded_at):%-d %b %Y, %H:%M}" if event else ""
        spot = queries.placed_spot_words(frame, sheets)
        did = "placed" if frame.state == FrameState.PLACED else "set aside"
        said = f"{frame.first_name} was {did} already by {who}{when}"
        words.append(f"{said}: it is {spot}." if spot else f"{said}.")
    return words


def _waits(frame: Frame) -> bool:
    return frame.state == FrameState.WAITING


def sent_page(frame_ids: Sequence[int], session: Session | None, data: Any) -> SortingPage:
    """Read a page as it was sent, with frames that left the table meanwhile."""
    return sorting_page(queries.rows_of_table(frame_ids), session, data)


def page_again(sent: SortingPage, session: Session | None, data: Any) -> SortingPage | None:
    """Return a refused page as it was filled in, without what is no longer on the table.

    None if nothing of it is left. The versions are those of the frames as they are shown now.
    """
    still = [frame for frame in queries.rows_of_table(list(sent.form.frames)) if _waits(frame)]
    if not still:
        return None
    kept = data.copy()
    if not {"first", "last"} & set(sent.form.errors):
        for name in ("first", "last"):
            kept.pop(name, None)
        for pk in sent.form.ticked():
            kept[f"tick-{pk}"] = "on"
    for frame in still:
        kept[f"version-{frame.pk}"] = str(frame.row_version)
    page = sorting_page(still, session, kept)
    page.form.full_clean()
    return page


def sorting_rows(
    form: Any, frames: Iterable[Frame], sheets: dict[int, LineSheet]
) -> list[SortingRow]:
    """Put frames and form fields side by side."""
    rows = []
    for number, frame in enumerate(frames, 1):
        first = frame.proposal[0]["why"] if form.initial.get(f"place-{frame.pk}") else ""
        rows.append(
            SortingRow(
                number=number,
                kind=WHY_WORDS.get(frame.waiting_reason, ""),
                guesses=_guess_words(frame, sheets),
                frame=frame,
                picture=picture_address(frame),
                taken=_taken_words(frame),
                exposure=exposure_words(exif_of(frame)),
                drops=sorted({a.drop for a in frame.arrivals.all()}, key=lambda drop: drop.number),
                why=first,
                tick=form[f"tick-{frame.pk}"],
                version=form[f"version-{frame.pk}"],
                place=form[f"place-{frame.pk}"],
                time=form[f"taken-{frame.pk}"] if f"taken-{frame.pk}" in form.fields else None,
            )
        )
    return rows


def _guess_words(frame: Frame, sheets: dict[int, LineSheet]) -> tuple[str, ...]:
    """Return the likely places of a frame, best first, each with its reason."""
    words = []
    for entry in frame.proposal:
        spot = queries.spot_of_proposal(entry)
        sheet = sheets.get(spot.line_id)
        if sheet is not None:
            words.append(f"{sheet.spot_words(spot)} of {sheet.words}: {entry['why']}")
    return tuple(words)


def _taken_words(frame: Frame) -> str:
    if frame.captured_at is not None:
        return f"{timezone.localtime(frame.captured_at):%-d %b %Y, %H:%M:%S}"
    return f"camera clock {frame.wall_clock}" if frame.wall_clock else "time not known"


def sorting_choices(
    frames: Sequence[Frame], session: Session | None
) -> tuple[dict[int, list[Any]], list[Any], dict[int, LineSheet]]:
    """Return places to choose per frame (likely ones first), lines to choose, and their sheets.

    The lines are those of the sessions the frames came for, and of `session` if one was chosen.
    """
    wanted = {session.pk} if session is not None else set()
    for frame in frames:
        wanted.update(a.drop.session_id for a in frame.arrivals.all() if a.drop.session_id)
    proposed = {int(entry["line"]) for frame in frames for entry in frame.proposal}
    lines = ShotLine.objects.filter(session__in=wanted) | ShotLine.objects.filter(pk__in=proposed)
    sheets = {sheet.line_id: sheet for sheet in line_sheets(lines.order_by("session", "position"))}
    free = [(sheet, spot) for sheet in sheets.values() for spot in sheet.layout.free]
    places = {frame.pk: _places_for(frame, free, sheets) for frame in frames}
    line_choices = [
        (str(sheet.line_id), f"{sheet.words} ({number_of(len(sheet.layout.free), 'free place')})")
        for sheet in sheets.values()
        if sheet.layout.free
    ]
    return places, line_choices, sheets


def _places_for(
    frame: Frame, free: Sequence[tuple[LineSheet, Spot]], sheets: dict[int, LineSheet]
) -> list[Any]:
    likely = [queries.spot_of_proposal(entry) for entry in frame.proposal]
    first = [
        (spot_value(spot), f"{sheets[spot.line_id].words}, {sheets[spot.line_id].spot_words(spot)}")
        for spot in likely
        if spot.line_id in sheets and spot in sheets[spot.line_id].layout.free
    ]
    rest = [
        (spot_value(spot), f"{sheet.words}, {sheet.spot_words(spot)}")
        for sheet, spot in free
        if spot not in likely
    ]
    choices: list[Any] = [("", "leave it here" if sheets else NO_LINES)]
    if first:
        choices.append((LIKELY, first))
    if rest:
        choices.append(("Other free places", rest))
    filled = [
        (f"{INSTEAD}{spot_value(spot)}", f"{sheets[pk].words}, {sheets[pk].spot_words(spot)}")
        for pk in _lines_meant(frame, sheets)
        for spot in sheets[pk].expected
        if spot in sheets[pk].taken
    ]
    if filled:
        choices.append(("In the place of the frame that lies there", filled[:MOST_FILLED]))
    dark = _lamps_off(sheets.values())
    if dark:
        choices.append(("Taken with the lamps off", dark))
    return choices


def _lines_meant(frame: Frame, sheets: dict[int, LineSheet]) -> list[int]:
    """Return the lines of which a frame may replace another one: likely, brought for, or the one.

    Without any of these all lines are meant whose places are few.
    """
    likely = [int(entry["line"]) for entry in frame.proposal]
    brought = [a.drop.shot_line_id for a in frame.arrivals.all() if a.drop.shot_line_id]
    meant = list(dict.fromkeys(pk for pk in (*likely, *brought) if pk in sheets))
    few = [pk for pk, sheet in sheets.items() if len(sheet.expected) <= FEW_PLACES]
    return meant or few


def _lamps_off(sheets: Iterable[LineSheet]) -> list[tuple[str, str]]:
    """Say as what a frame of the room without lamps can be kept, by line and exposure."""
    found = []
    for sheet in sheets:
        if sheet.technique == "UV" and sheet.expected:
            first = sheet.expected[0]
            for ev in sheet.grid.exposures_ev or (0.0,):
                spot = replace(first, ev=ev)
                words = f"{sheet.words}, lamps off, exposure {ev_words(ev)}"
                found.append((spot_value(spot, FrameRole.AMBIENT), words))
    return found


def initial_places(frames: Iterable[Frame], places: dict[int, list[Any]]) -> dict[str, str]:
    """Choose the likely place of each frame beforehand, if it is still free."""
    initial = {}
    for frame in frames:
        likely: list[Any] = next((group for name, group in places[frame.pk] if name == LIKELY), [])
        initial[f"place-{frame.pk}"] = likely[0][0] if likely else ""
    return initial


def clock_rows(clocks: Iterable[CameraClock]) -> list[dict[str, Any]]:
    """Say what is proposed of cameras' clocks."""
    return [
        {
            "clock": clock,
            "words": f"The clock of camera {clock.body_serial or 'without a serial number'} in "
            f"{clock.drop} seems {offset_words(clock.offset_s)}. {clock.because}",
        }
        for clock in clocks
    ]
