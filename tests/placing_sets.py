"""Random days of a studio with known truth: what was shot where, and what the files then say.

A set is made from its seed alone: two days at three stations, objects with every technique, faces
painted from noise, frames with the small pictures that a camera would have made of them. Then names
are removed, frames are shuffled, and clocks are spoilt. Nothing here is read from the program under
test except the plain types that it takes.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import cv2
import numpy as np

from imaging_requests.imaging.files.facts import Exif
from imaging_requests.imaging.likeness.pattern import pattern_of, tile_region
from imaging_requests.imaging.slate.payload import Slate
from imaging_requests.intake.capture import Instant, Window, exposure_ev
from imaging_requests.intake.clocks import clocks_from_slates
from imaging_requests.intake.decisions import Timed
from imaging_requests.intake.layout import Line, Spot
from imaging_requests.intake.limits import placing_limits
from imaging_requests.intake.models import Frame
from imaging_requests.intake.sheets import FrameSheet, LineSheet, SessionSheet
from imaging_requests.intake.table import Table
from imaging_requests.intake.words import Grid

FIRST_DAY = datetime(2026, 4, 14, tzinfo=UTC)
OVERLAP = 0.2
BRACKETS = {"RK": (-1.0, 0.0, 1.0), "UV": (-1.0, 0.0, 1.0, 2.0)}
BASES_S = {"VF": 1 / 60, "RK": 1 / 8, "UV": 8.0, "IR": 0.5, "XR": 1.0}
#: Share of the visible picture that is still seen in other light.
SEEN = {"VF": 1.0, "RK": 0.65, "UV": 0.6, "IR": 0.55, "XR": 0.2}
SPOILT = ("none", "never set", "whole hours", "minutes")


@dataclass(frozen=True, kw_only=True)
class Faults:
    """Shares of the frames, 0 to 1, and of the objects and sessions."""

    spoilt_clocks: float = 0.05
    missing: float = 0.0
    repeated: float = 0.0
    without_reference: float = 0.15
    with_slate: float = 0.7


@dataclass(slots=True)
class PlacingSet:
    """A table to decide on, the frames in random order, and where each belongs."""

    table: Table
    frames: list[Timed] = field(default_factory=list)
    truth: dict[int, Spot] = field(default_factory=dict)
    spoilt: dict[int, str] = field(default_factory=dict)


@dataclass(slots=True)
class _Taken:
    """A frame as it was truly taken."""

    spot: Spot
    session: int
    at: datetime
    exif: dict[str, Any]
    picture: Any
    slate: Slate | None = None


class _Studio:
    """Makes one set."""

    def __init__(self, seed: int, frames: int, faults: Faults) -> None:
        self.rng = np.random.default_rng(seed)
        self.wanted, self.faults = frames, faults
        self.references: dict[tuple[int, str], Any] = {}
        self.faces: dict[tuple[int, str, str], Any] = {}
        self.taken: list[_Taken] = []
        self.sessions: list[SessionSheet] = []
        self.next_line = self.next_object = 1
        self.to_infrared: list[int] = []

    def rough(self, rows: int, columns: int) -> Any:
        """Paint a face: noise of several sizes, as forms, brushwork and grain are."""
        face = np.zeros((rows, columns), np.float32)
        for cells, weight in ((5, 1.0), (12, 0.7), (30, 0.45), (70, 0.3)):
            small = self.rng.normal(0, 1, (max(2, cells * rows // columns), cells))
            face += weight * cv2.resize(small.astype(np.float32), (columns, rows))
        return (face - face.mean()) / face.std()

    def face(self, object_id: int, face: str, technique: str) -> Any:
        """Return a face as one technique sees it; the visible face shows through."""
        key = (object_id, face, "VF" if technique.startswith("VF") else technique)
        if key not in self.faces:
            if technique.startswith("VF"):
                self.faces[key] = self.rough(480, 600)
            else:
                seen = SEEN[technique[:2]]
                visible = self.face(object_id, face, "VF")
                self.faces[key] = seen * visible + (1 - seen) * self.rough(480, 600)
        return self.faces[key]

    def small(self, face: Any, line: LineSheet | None, spot: Spot, ev: float) -> Any:
        """Return the small picture of a tile, from a camera that stands a little elsewhere."""
        rows, columns = face.shape
        across, down = (line.grid.across, line.grid.down) if line is not None else (1, 1)
        region = tile_region(spot.tile_x, spot.tile_y, across, down, OVERLAP)
        wide, high = region.right - region.left, region.bottom - region.top
        shift_x, shift_y = self.rng.normal(0, 0.012, 2)
        size = 1 + self.rng.normal(0, 0.008)
        middle = np.array([(region.left + region.right) / 2, (region.top + region.bottom) / 2])
        middle += (shift_x * wide, shift_y * high)
        turn = np.array(
            [
                [wide * columns * size / 96, 0, (middle[0] - wide * size / 2) * columns],
                [0, high * rows * size / 76, (middle[1] - high * size / 2) * rows],
            ]
        )
        how = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
        seen = cv2.warpAffine(face, turn, (96, 76), flags=how, borderMode=cv2.BORDER_REPLICATE)
        bright = 118 + seen * 38 * 2 ** (ev * 0.5) + 30 * ev
        return pattern_of(
            np.clip(bright + self.rng.normal(0, 4, bright.shape), 0, 255).astype("u1")
        )

    def object(self, session_id: int, body: str, techniques: list[str]) -> list[LineSheet]:
        """Plan the lines of one object."""
        if techniques == ["IR"] and self.to_infrared:
            object_id = self.to_infrared.pop(0)
        else:
            object_id, self.next_object = self.next_object, self.next_object + 1
            self.to_infrared.append(object_id)
        across, down = (int(n) for n in self.rng.integers(1, 4, 2))
        lines = []
        for technique in techniques:
            name, _, variant = technique.partition("-")
            face = "B" if variant == "B" else "F"
            grid = Grid(across, down, BRACKETS.get(name, (0.0,)), 1)
            if name in ("IR", "XR"):
                grid = Grid(across + 2, down + 2, (0.0,), 1)
            if name == "UV":
                grid = Grid(max(1, across - 1), max(1, down - 1), BRACKETS["UV"], 1)
            lines.append(self.line(session_id, object_id, name, variant, face, grid, body))
            self.refer(object_id, face)
        return lines

    def refer(self, object_id: int, face: str) -> None:
        """Give most faces a reference picture from an earlier day."""
        key = (object_id, face)
        if key not in self.references and self.rng.random() >= self.faults.without_reference:
            whole = Spot(0, 0, 0, 0, 0.0)
            self.references[key] = self.small(self.face(object_id, face, "VF"), None, whole, 0.0)

    def line(
        self,
        session_id: int,
        object_id: int,
        technique: str,
        variant: str,
        face: str,
        grid: Grid,
        body: str,
    ) -> LineSheet:
        """Plan one line."""
        line_id, self.next_line = self.next_line, self.next_line + 1
        spots = tuple(
            Spot(line_id, y, x, 0, ev)
            for y in range(grid.down)
            for x in range(grid.across)
            for ev in grid.exposures_ev
        )
        layout = Line(line_id, spots, len(grid.exposures_ev) > 1, body_serial=body)
        words = f"object {object_id} {face}, {technique}{variant}"
        return LineSheet(
            line_id, object_id, words, technique, grid, spots, {}, layout, None, session_id, face
        )

    def shoot(self, sheet: SessionSheet, body: str) -> None:
        """Take the frames of a session in the order of its list."""
        clock = sheet.proper.starts_at + timedelta(minutes=float(self.rng.uniform(3, 9)))
        has_slates = self.rng.random() < self.faults.with_slate
        last_object = 0
        for place, line in enumerate(sheet.lines):
            is_new = line.object_id != last_object
            clock += timedelta(
                minutes=float(self.rng.uniform(9, 20) if is_new else self.rng.uniform(2, 6))
            )
            last_object = line.object_id
            if has_slates and (place == 0 or (is_new and self.rng.random() < 0.5)):
                self.slate(sheet, line, clock - timedelta(seconds=20), body)
            look = self.face(line.object_id, line.face, line.technique + line.words[-1])
            stop = float(self.rng.choice([-1, -2 / 3, -1 / 3, 0, 1 / 3, 2 / 3, 1]))
            for spot in line.expected:
                exposure_s = BASES_S[line.technique] * 2 ** (stop + spot.ev)
                pause = (
                    self.rng.uniform(6, 15)
                    if spot.ev > line.expected[0].ev
                    else self.rng.uniform(25, 70)
                )
                clock += timedelta(seconds=float(pause) + exposure_s)
                exif = {"exposure_s": exposure_s, "f_number": 8.0, "iso": 100, "body_serial": body}
                small = self.small(look, line, spot, spot.ev)
                if self.rng.random() < self.faults.repeated:
                    self.taken.append(_Taken(spot, sheet.session_id, clock, exif, small))
                    clock += timedelta(seconds=float(self.rng.uniform(8, 20)))
                if self.rng.random() >= self.faults.missing:
                    self.taken.append(_Taken(spot, sheet.session_id, clock, exif, small))

    def slate(self, sheet: SessionSheet, line: LineSheet, at: datetime, body: str) -> None:
        """Photograph a slate."""
        exif = {"exposure_s": 1 / 60, "f_number": 8.0, "iso": 100, "body_serial": body}
        said = Slate(sheet.session_id, line.line_id, body, at.replace(microsecond=0))
        spot = Spot(line.line_id, 0, 0, 0, 0.0)
        self.taken.append(_Taken(spot, sheet.session_id, at, exif, None, said))

    def day(self) -> None:
        """Plan and shoot sessions at three stations until there are frames enough."""
        stations = [
            ("FO-1", ["VF", "RK-L", "RK-T", "UV", "VF-B"]),
            ("FO-2", ["VF", "RK-L", "UV"]),
            ("IR-3", ["IR"]),
        ]
        number = 0
        while len(self.taken) < self.wanted:
            body, techniques = stations[number % 3]
            starts_at = FIRST_DAY + timedelta(days=number // 6, hours=8 if number % 6 < 3 else 13)
            session_id = number + 1
            many = int(self.rng.integers(2, 5))
            lines = [
                each for _ in range(many) for each in self.object(session_id, body, techniques)
            ]
            proper = Window(starts_at, starts_at + timedelta(hours=24))
            sheet = SessionSheet(
                session_id, f"session {session_id}", proper, ZoneInfo("UTC"), tuple(lines), proper
            )
            before = len(self.taken)
            self.shoot(sheet, body)
            last = max(each.at for each in self.taken[before:])
            proper = Window(starts_at, last + timedelta(minutes=5))
            margin = timedelta(minutes=15)
            window = Window(proper.starts_at - margin, proper.ends_at + margin)
            self.sessions.append(
                SessionSheet(session_id, sheet.words, window, sheet.zone, sheet.lines, proper)
            )
            number += 1


def make_set(seed: int, *, frames: int = 2000, faults: Faults | None = None) -> PlacingSet:
    """Make one set of about `frames` frames."""
    faults = faults or Faults()
    studio = _Studio(seed, frames, faults)
    studio.day()
    rng = studio.rng
    drift_s = {body: float(rng.uniform(-90, 90)) for body in ("FO-1", "FO-2", "IR-3")}
    order = rng.permutation(len(studio.taken)) + 1
    made = PlacingSet(
        Table(
            studio.sessions,
            studio.references,
            placing_limits(),
            names={pk: f"object {pk}" for pk in range(studio.next_object)},
            is_for_one_session=False,
        )
    )
    sheets = [
        _sheet(int(pk), taken, drift_s[taken.exif["body_serial"]])
        for pk, taken in zip(order, studio.taken, strict=True)
    ]
    views = [place for place, taken in enumerate(studio.taken) if taken.slate is None]
    for place in rng.choice(views, round(faults.spoilt_clocks * len(views)), replace=False):
        kind = SPOILT[int(rng.integers(len(SPOILT)))]
        made.spoilt[sheets[place].frame_id] = kind
        sheets[place] = _spoil(sheets[place], kind, rng)
    clocks = {
        clock.body_serial: clock.offset_s
        for clock in clocks_from_slates(sheets, ZoneInfo("UTC"), placing_limits().clock)
    }
    for place, sheet in enumerate(sheets):
        taken = studio.taken[place]
        if taken.slate is None:
            made.truth[sheet.frame_id] = taken.spot
        made.frames.append(Timed(sheet, _instant(sheet, clocks)))
    made.frames.sort(key=lambda timed: timed.frame_id)
    return made


def _sheet(pk: int, taken: _Taken, drift_s: float) -> FrameSheet:
    wall = (taken.at + timedelta(seconds=drift_s)).replace(tzinfo=None, microsecond=0)
    exif = Exif(captured_text="as written", captured_local=wall, **taken.exif)
    amount = exposure_ev(exif.exposure_s, exif.f_number, exif.iso)
    return FrameSheet(
        Frame(pk=pk), exif, amount, True, (), False, slate=taken.slate, pattern=taken.picture
    )


def _spoil(sheet: FrameSheet, kind: str, rng: Any) -> FrameSheet:
    exif = sheet.exif
    assert exif is not None
    assert exif.captured_local is not None
    wall: datetime | None = exif.captured_local
    if kind == "none":
        wall = None
    elif kind == "never set":
        wall = datetime(2000, 1, 1) + timedelta(seconds=int(rng.integers(0, 40_000)))
    elif kind == "whole hours":
        wall = exif.captured_local + timedelta(hours=int(rng.choice([-2, -1, 1, 2])))
    else:
        way = int(rng.choice([-1, 1]))
        wall = exif.captured_local + timedelta(minutes=way * float(rng.uniform(5, 300)))
    return replace(sheet, exif=replace(exif, captured_local=wall))


def _instant(sheet: FrameSheet, clocks: dict[str, float]) -> Instant | None:
    exif = sheet.exif
    if exif is None or exif.captured_local is None:
        return None
    offset = timedelta(seconds=clocks.get(exif.body_serial, 0.0))
    return Instant(exif.captured_local.replace(tzinfo=UTC) + offset)
