"""The table on which frames are laid out: sessions, pictures, and what was found so far. Pure."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

from imaging_requests.imaging.likeness.pattern import Grey
from imaging_requests.intake.decisions import Timed
from imaging_requests.intake.layout import Finding, Shot, TooManyWaysError, lay_out
from imaging_requests.intake.leftovers import Lying
from imaging_requests.intake.likes import Pictures, Said
from imaging_requests.intake.limits import PlacingLimits
from imaging_requests.intake.segments import Mark, Stretch, cut_at_pauses, cut_at_slates
from imaging_requests.intake.sessions import allot
from imaging_requests.intake.sheets import LineSheet, SessionSheet
from imaging_requests.intake.strangers import Strangers

STUDIO = ZoneInfo("UTC")
NEVER = datetime.min.replace(tzinfo=UTC)


@dataclass(slots=True)
class Table:
    """Everything that the decisions of one drop follow from, and what was found so far.

    `lying`: frames that lie on its lines for good. `names`: objects of the reference pictures.
    `strangers`: says which frames surely show another object, also where a person named the line.
    """

    sessions: Sequence[SessionSheet]
    references: Mapping[tuple[int, str], Grey]
    limits: PlacingLimits
    lying: Sequence[Lying] = ()
    names: Mapping[int, str] = field(default_factory=dict)
    is_for_one_session: bool = True
    zone: ZoneInfo = STUDIO
    strangers: Strangers | None = None
    lines: dict[int, LineSheet] = field(init=False)
    pictures: Pictures = field(init=False)
    said: dict[int, Said] = field(init=False)
    findings: dict[int, Finding] = field(init=False)
    too_many: dict[int, int] = field(init=False)
    borrowed: set[int] = field(init=False)

    def __post_init__(self) -> None:
        self.lines = {line.line_id: line for each in self.sessions for line in each.lines}
        self.pictures = Pictures(self.references, self.limits.picture)
        self.said, self.findings, self.too_many, self.borrowed = {}, {}, {}, set()


def marks_of(slates: Sequence[Timed], table: Table) -> dict[int, list[Mark]]:
    """Return the slates of each session as marks in the time of their camera."""
    marks: dict[int, list[Mark]] = defaultdict(list)
    for timed in slates:
        slate, at = timed.sheet.slate, timed.at
        if slate is None or at is None:
            continue
        line = table.lines.get(slate.line_id)
        if line is not None and line.session_id == slate.session_id:
            marks[line.session_id].append(Mark(at, line.line_id, timed.sheet.body_serial))
    return marks


def lay_session(
    session: SessionSheet, frames: Sequence[Timed], marks: Sequence[Mark], table: Table
) -> None:
    """Lay out the frames of one session and note what was found of each."""
    table.said.update(table.pictures.say(patterns_of(frames), session.lines))
    lay_as_said(session, frames, marks, table)


def lay_as_said(
    session: SessionSheet, frames: Sequence[Timed], marks: Sequence[Mark], table: Table
) -> None:
    """Lay out by what the pictures were found to say already."""
    for timed in frames:
        table.findings.pop(timed.frame_id, None)
        table.too_many.pop(timed.frame_id, None)
    shots = [shot_of(each, table.said.get(each.frame_id, Said())) for each in frames]
    layouts = [line.layout for line in session.lines]
    for stretch in cut_at_slates(shots, layouts, marks):
        for part, findings in _lay_stretch(stretch, table.limits):
            table.findings.update(findings)
            if not findings:
                table.too_many.update((shot.frame_id, len(part.shots)) for shot in part.shots)


def patterns_of(frames: Sequence[Timed]) -> dict[int, Grey]:
    """Return the patterns of those frames that have one."""
    return {each.frame_id: each.sheet.pattern for each in frames if each.sheet.pattern is not None}


def _lay_stretch(
    stretch: Stretch, limits: PlacingLimits
) -> list[tuple[Stretch, dict[int, Finding]]]:
    """Lay a stretch out, in parts if there are too many ways; no findings: still too many."""
    whole = _try(stretch, limits)
    if whole or not stretch.shots:
        return [(stretch, whole)]
    parts = cut_at_pauses(stretch, pause_min=limits.gap_min)
    return [(part, _try(part, limits)) for part in parts]


def _try(stretch: Stretch, limits: PlacingLimits) -> dict[int, Finding]:
    if len(stretch.shots) > limits.most_frames:
        return {}
    try:
        return lay_out(stretch.shots, stretch.lines, tolerance_ev=limits.tolerance_ev)
    except TooManyWaysError:
        return {}


def shot_of(timed: Timed, said: Said) -> Shot:
    """Return what the layout needs of a frame."""
    exif = timed.sheet.exif
    return Shot(
        timed.frame_id,
        timed.instant.at if timed.instant is not None else NEVER,
        amount_ev=timed.sheet.amount_ev,
        f_number=exif.f_number if exif else None,
        iso=exif.iso if exif else None,
        body_serial=exif.body_serial if exif else "",
        lens_serial=exif.lens_serial if exif else "",
        likes=said.by_tile,
    )


def sure_count(frames: Sequence[Timed], table: Table) -> int:
    """Count the frames that find a place for certain, by time alone; nothing is kept."""
    answer = allot(
        frames,
        table.sessions,
        {},
        count=lambda session, some: count_in(session, some, table),
        limits=table.limits,
    )
    for session in table.sessions:
        lay_session(session, answer.by_session.get(session.session_id, []), (), table)
    return sum(1 for finding in table.findings.values() if finding.spot is not None)


def count_in(session: SessionSheet, frames: Sequence[Timed], table: Table) -> int:
    """Count the frames that find a place in a session, without keeping anything."""
    trial = replace(table, sessions=[session])
    lay_session(session, frames, (), trial)
    return sum(1 for finding in trial.findings.values() if finding.spot or finding.options)
