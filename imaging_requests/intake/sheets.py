"""Read what is needed to lay out the frames of a drop, in a fixed number of queries."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import timedelta
from typing import Any
from zoneinfo import ZoneInfo

from django.db.models import Exists, OuterRef, Prefetch, Q, QuerySet

from imaging_requests.campaigns.models import Session, ShotLine
from imaging_requests.collection.models import ObjectNumber
from imaging_requests.imaging.files.facts import Exif, Structure
from imaging_requests.imaging.likeness.pattern import Grey, read_pattern
from imaging_requests.imaging.slate.payload import Slate, read_slate_text
from imaging_requests.intake.actions.layout import ANSWERED
from imaging_requests.intake.capture import Window, exposure_ev
from imaging_requests.intake.layout import Base, Line, Spot
from imaging_requests.intake.limits import placing_limits
from imaging_requests.intake.models import (
    Arrival,
    Drop,
    FileCheck,
    Frame,
    FrameRole,
    FrameState,
)
from imaging_requests.intake.words import Grid, line_words, spot_words
from imaging_requests.requesting.models import FACES, Technique

Verdict = FileCheck.Verdict
#: The rule that says whether a frame shows the object it was shot for; a doubt is enough.
RECOGNITION = "G12"
#: Checks of a file that hold it back from its place; others are measured once it lies there.
WHOLE = "G1"
PLACING_RULES = (WHOLE, "G2", "G3", "G4", "G5", "G7", "G8", "G9", "G11")


@dataclass(frozen=True, slots=True)
class LineSheet:
    """A shot line with all its places and what lies on them."""

    line_id: int
    object_id: int
    words: str
    technique: str
    grid: Grid
    expected: tuple[Spot, ...]
    taken: dict[Spot, int]
    layout: Line
    card_amount_ev: float | None = None
    session_id: int = 0
    face: str = "F"
    is_detail: bool = False

    def spot_words(self, spot: Spot) -> str:
        """Name one place of this line."""
        return spot_words(spot, self.grid)


@dataclass(frozen=True, slots=True)
class FrameSheet:
    """A frame that looks for its place. `holds` are sentences why a person must look first.

    `twin`: the name and the camera's time came before with other bytes; a sentence that says so.
    """

    frame: Frame
    exif: Exif | None
    amount_ev: float | None
    is_read: bool
    holds: tuple[str, ...]
    is_other_object: bool
    is_broken: bool = False
    slate: Slate | None = None
    pattern: Grey | None = None
    twin: str = ""

    @property
    def frame_id(self) -> int:
        """The frame's key."""
        return self.frame.pk

    @property
    def body_serial(self) -> str:
        """The camera that took it, if it says so."""
        return self.exif.body_serial if self.exif is not None else ""


@dataclass(frozen=True, slots=True)
class SessionSheet:
    """A session in which frames may have been taken, with its open lines in shooting order.

    `proper` is the session itself, `window` has the margins added.
    """

    session_id: int
    words: str
    window: Window
    zone: ZoneInfo
    lines: tuple[LineSheet, ...]
    proper: Window

    @property
    def bodies(self) -> frozenset[str]:
        """The cameras that its set-up cards name."""
        named = (line.layout.body_serial for line in self.lines)
        return frozenset(serial for serial in named if serial)


@dataclass(frozen=True, slots=True)
class Sheet:
    """Everything about one drop that its layout follows from."""

    drop: Drop
    sessions: tuple[SessionSheet, ...] = ()
    frames: tuple[FrameSheet, ...] = ()

    @property
    def lines(self) -> tuple[LineSheet, ...]:
        """The lines of all its sessions."""
        return tuple(line for session in self.sessions for line in session.lines)

    def line(self, line_id: int) -> LineSheet:
        """Return one line of the sheet."""
        return next(line for line in self.lines if line.line_id == line_id)


def grid_of(line: ShotLine) -> Grid:
    """Return what a shot line asks for."""
    exposures = tuple(float(ev) for ev in line.exposures_ev) or (0.0,)
    return Grid(line.tiles_across, line.tiles_down, exposures, max(1, line.focus_slices))


def expected_spots(line: ShotLine) -> tuple[Spot, ...]:
    """Return the places of a line in shooting order; tiles outside the outline are left out."""
    grid = grid_of(line)
    empty = {
        (int(across), int(down))
        for view in line.owed_views.all()
        for across, down in view.spec.get("empty_tiles", [])
    }
    return tuple(
        Spot(line.pk, tile_y, tile_x, focus_slice, ev)
        for tile_y in range(grid.down)
        for tile_x in range(grid.across)
        if (tile_x, tile_y) not in empty
        for focus_slice in range(grid.slices)
        for ev in sorted(grid.exposures_ev)
    )


def lines_with_names(lines: QuerySet[ShotLine]) -> QuerySet[ShotLine]:
    """Add what naming a line needs: object number, set-up card, and the views it meets."""
    numbers = ObjectNumber.objects.filter(in_force_to=None)
    return lines.select_related("session", "setup_card").prefetch_related(
        "owed_views", Prefetch("object__numbers", queryset=numbers, to_attr="numbers_in_force")
    )


def name_of(line: ShotLine) -> str:
    """Name a line that was read by `lines_with_names`."""
    numbers = line.object.numbers_in_force  # type: ignore[attr-defined]
    technique = dict(Technique.choices).get(line.technique, line.technique)
    return line_words(
        number=numbers[0].number if numbers else line.object.title,
        technique=str(technique),
        face=dict(FACES).get(line.face, line.face),
        variant=line.variant,
    )


def line_sheets(lines: QuerySet[ShotLine], *, movable: Iterable[int] = ()) -> list[LineSheet]:
    """Return the sheets of lines; frames in `movable` do not count as lying anywhere."""
    rows = list(lines_with_names(lines.select_related("object")))
    lying = Frame.objects.filter(
        shot_line__in=[line.pk for line in rows], state=FrameState.PLACED, role=FrameRole.VIEW
    ).exclude(pk__in=list(movable))
    on_line: dict[int | None, list[Frame]] = defaultdict(list)
    for frame in lying:
        on_line[frame.shot_line_id].append(frame)
    return [_line_sheet(line, on_line[line.pk]) for line in rows]


def _line_sheet(line: ShotLine, lying: Sequence[Frame]) -> LineSheet:
    expected = expected_spots(line)
    taken = {spot_of(frame): frame.pk for frame in lying}
    grid = grid_of(line)
    card: dict[str, Any] = line.setup_card.values if line.setup_card is not None else {}
    layout = Line(
        line.pk,
        free=tuple(spot for spot in expected if spot not in taken),
        is_bracket=len(grid.exposures_ev) > 1,
        base=next((base for frame in lying if (base := base_of(frame)) is not None), None),
        body_serial=str(card.get("body_serial", "")),
        lens_serial=str(card.get("lens_serial", "")),
    )
    return LineSheet(
        line_id=line.pk,
        object_id=line.object_id,
        words=name_of(line),
        technique=line.technique,
        grid=grid,
        expected=expected,
        taken=taken,
        layout=layout,
        card_amount_ev=_card_amount(card),
        session_id=line.session_id,
        face=line.face,
        is_detail=bool(line.detail_mm),
    )


def _card_amount(card: dict[str, Any]) -> float | None:
    """Return the amount of exposure that a set-up card names for exposure 0, in EV."""
    try:
        return exposure_ev(
            float(card["exposure_s"]), float(card["aperture"]), int(float(card["iso"]))
        )
    except (KeyError, TypeError, ValueError):
        return None


def spot_of(frame: Frame) -> Spot:
    """Return the place on which a frame lies."""
    return Spot(frame.shot_line_id or 0, frame.tile_y, frame.tile_x, frame.focus_slice, frame.ev)


def base_of(frame: Frame) -> Base | None:
    """Return the exposure about which a frame on a line was made, if it says so."""
    exif = exif_of(frame)
    amount = amount_of(exif)
    if amount is None or exif is None:
        return None
    return Base(round(amount - frame.ev, 2), exif.f_number, exif.iso)


def pattern_of_frame(frame: Frame) -> Grey | None:
    """Return the coarse pattern of a frame, if its picture was looked at."""
    look = getattr(frame, "look", None)
    return read_pattern(look.pattern) if look is not None and look.pattern else None


def exif_of(frame: Frame) -> Exif | None:
    """Return what the camera wrote into a frame."""
    return Structure.from_data(frame.structure).exif if frame.structure else None


def amount_of(exif: Exif | None) -> float | None:
    """Return the amount of exposure in EV, if the camera wrote it."""
    return exposure_ev(exif.exposure_s, exif.f_number, exif.iso) if exif is not None else None


def read_frames(drop: Drop) -> tuple[FrameSheet, ...]:
    """Read the frames of a drop that the program may still lay out."""
    frames = _frames_of(drop)
    twins = _twins(frames)
    return tuple(_frame_sheet(frame, twins.get(frame.pk, "")) for frame in frames)


def session_sheets(
    sessions: Sequence[Session], lines: QuerySet[ShotLine], *, movable: Iterable[int] = ()
) -> tuple[SessionSheet, ...]:
    """Read sessions with some of their lines, in a fixed number of queries."""
    by_session: dict[int, list[LineSheet]] = defaultdict(list)
    for sheet in line_sheets(lines.order_by("session", "position"), movable=movable):
        by_session[sheet.session_id].append(sheet)
    return tuple(
        SessionSheet(
            session.pk,
            str(session),
            session_window(session),
            ZoneInfo(session.zone),
            tuple(by_session[session.pk]),
            Window(session.starts_at, session.ends_at),
        )
        for session in sessions
    )


def session_window(session: Session) -> Window:
    """Return the stretch in which frames of a session can have been taken."""
    margin = timedelta(minutes=placing_limits().session_margin_min)
    return Window(session.starts_at - margin, session.ends_at + margin)


def _frames_of(drop: Drop) -> list[Frame]:
    """Return frames of a drop that no person has placed and no settled layout has fixed."""
    of_program = Q(state=FrameState.PLACED)
    if drop.session_id is not None:
        of_program &= Q(shot_line__session=drop.session_id)
    movable = Q(state__in=(FrameState.RECEIVED, FrameState.WAITING)) | (
        of_program & ~Exists(_fixed())
    )
    return list(
        Frame.objects.filter(arrivals__drop=drop, arrivals__state__in=ANSWERED)
        .filter(movable, placed_by=None, role__in=(FrameRole.VIEW, FrameRole.SLATE))
        .distinct()
        .order_by("captured_at", "pk")
        .select_related("look")
        .prefetch_related("checks")
    )


def _twins(frames: Sequence[Frame]) -> dict[int, str]:
    """Find frames whose name, camera and camera time came before with other bytes.

    Two cameras at two stations may well count to the same number in the same second. The one that
    came first keeps its right to a place; a person says which is to be used. A file that cannot be
    decoded has no such right: the second is the copy that was asked for.
    """
    names = {frame.first_name for frame in frames if frame.wall_clock}
    broken = FileCheck.objects.filter(frame=OuterRef("pk"), rule=WHOLE, verdict=Verdict.FAIL)
    known = Frame.objects.filter(~Exists(broken), first_name__in=names).order_by("pk")
    first: dict[tuple[str, str, str], int] = {}
    for pk, name, clock, body in known.values_list(
        "pk", "first_name", "wall_clock", "structure__exif__body_serial"
    ):
        first.setdefault((name, clock, body or ""), pk)
    return {
        frame.pk: (
            f"A file named {frame.first_name}, taken at the same time, came before with other "
            "bytes. Both are stored. Look which is right: put this one in its place, or set it "
            "aside as a spare."
        )
        for frame in frames
        if frame.wall_clock and first.get(_taken_by(frame)) not in (None, frame.pk)
    }


def _taken_by(frame: Frame) -> tuple[str, str, str]:
    """Return name, camera time and camera; no camera takes two pictures under one of these."""
    exif = exif_of(frame)
    return frame.first_name, frame.wall_clock, exif.body_serial if exif is not None else ""


def _fixed() -> QuerySet[Arrival]:
    """Arrivals of a frame in drops that were settled with the frame where it lies now."""
    return Arrival.objects.filter(
        frame=OuterRef("pk"), state__in=ANSWERED, drop__settled_at__gte=OuterRef("placed_at")
    )


def _frame_sheet(frame: Frame, twin: str) -> FrameSheet:
    checks = latest_checks(frame.checks.all())
    exif = exif_of(frame)
    holds = [check.sentence for check in checks if holds_back(check)]
    look = getattr(frame, "look", None)
    return FrameSheet(
        frame=frame,
        exif=exif,
        amount_ev=amount_of(exif),
        is_read=frame.read_at is not None,
        holds=tuple(holds),
        is_other_object=any(c.rule == RECOGNITION and holds_back(c) for c in checks),
        is_broken=any(c.rule == WHOLE and holds_back(c) for c in checks),
        slate=read_slate_text(look.slate) if look is not None and look.slate else None,
        pattern=pattern_of_frame(frame),
        twin=twin,
    )


def latest_checks(checks: Iterable[FileCheck]) -> list[FileCheck]:
    """Return one check per rule, that of the newest version of the rule."""
    newest: dict[str, FileCheck] = {}
    for check in checks:
        known = newest.get(check.rule)
        if known is None or check.rule_version > known.rule_version:
            newest[check.rule] = check
    return [newest[rule] for rule in sorted(newest)]


def holds_back(check: FileCheck) -> bool:
    """Tell whether a person must look before a frame with this check is placed.

    What is measured on a placed frame is a matter for its review, not for its place.
    """
    if check.rule == RECOGNITION:
        return check.verdict in (Verdict.FAIL, Verdict.WARN)
    return check.verdict == Verdict.FAIL and check.rule in PLACING_RULES
