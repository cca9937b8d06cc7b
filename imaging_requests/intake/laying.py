"""The job `sort`: find the places of a drop's frames, as far as no doubt is left."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime, time, timedelta
from time import process_time
from zoneinfo import ZoneInfo

from django.conf import settings
from django.db.models import Q, QuerySet

from imaging_requests.campaigns.models import Session, SessionState, ShotLine, ShotLineState
from imaging_requests.intake.actions.layout import is_restless
from imaging_requests.intake.actions.receiving import instant_of
from imaging_requests.intake.actions.sorting import keep_layout
from imaging_requests.intake.clocks import Clock, clocks_from_slates, estimate_clocks
from imaging_requests.intake.decisions import Timed
from imaging_requests.intake.jobs import Work
from imaging_requests.intake.leftovers import Lying
from imaging_requests.intake.limits import placing_limits, structure_limits
from imaging_requests.intake.models import CameraClock, Drop, Frame, FrameRole, FrameState
from imaging_requests.intake.references import known_faces_of, references_of
from imaging_requests.intake.sheets import (
    Sheet,
    base_of,
    pattern_of_frame,
    read_frames,
    session_sheets,
    spot_of,
)
from imaging_requests.intake.sorting import decide
from imaging_requests.intake.strangers import LIGHTS, Strangers
from imaging_requests.intake.table import Table, sure_count

DAYS_LOOKED_AT = 40
OPEN = (SessionState.CONFIRMED, SessionState.RUNNING, SessionState.CLOSED)


def sort(work: Work) -> None:
    """Lay out the frames of one drop; running it twice changes nothing the second time."""
    if not Drop.objects.filter(pk=work.subject_id).exists():
        return
    started = process_time()
    restless = is_restless(work.subject_id)
    sheet, timed, clocks = read_sheet(work.subject_id)
    table = _table(sheet)
    decisions = decide(timed, table)
    if not restless:
        clocks = [*clocks, *_estimates(sheet, timed, table, clocks)]
    work.result = {"took_s": round(process_time() - started, 2)}
    keep_layout(work, sheet, decisions, clocks, is_settled=not restless, now=work.now())


def read_sheet(drop_id: int) -> tuple[Sheet, list[Timed], list[Clock]]:
    """Read everything that the layout of a drop follows from, in a fixed number of queries."""
    drop = Drop.objects.select_related("session__station", "shot_line").get(pk=drop_id)
    frames = read_frames(drop)
    clocks = clocks_from_slates(frames, _zone(drop), placing_limits().clock)
    in_force = dict(
        CameraClock.objects.filter(drop=drop, state=CameraClock.State.IN_FORCE).values_list(
            "body_serial", "offset_s"
        )
    )
    used = in_force | {clock.body_serial: clock.offset_s for clock in clocks}
    timed = [Timed(frame, instant_of(frame.exif, drop, used)) for frame in frames]
    movable = [frame.frame_id for frame in frames]
    wanted = _sessions(drop, timed)
    sessions = session_sheets(wanted, _open_lines(wanted, drop), movable=movable)
    return Sheet(drop, sessions, frames), timed, clocks


def _zone(drop: Drop) -> ZoneInfo:
    return ZoneInfo(drop.session.zone if drop.session is not None else settings.STUDIO_ZONE)


def _open_lines(sessions: Sequence[Session], drop: Drop) -> QuerySet[ShotLine]:
    """Return the lines of sessions that may still get frames of a drop."""
    lines = ShotLine.objects.filter(session__in=sessions)
    if drop.shot_line_id is not None:
        return lines.filter(pk=drop.shot_line_id)
    return lines.exclude(state=ShotLineState.NOT_DONE)


def _sessions(drop: Drop, frames: Sequence[Timed]) -> list[Session]:
    """Return the drop's session; else those of the days of its frames, or of its slates."""
    if drop.session is not None:
        return [drop.session]
    zone = _zone(drop)
    days = Counter(timed.at.astimezone(zone).date() for timed in frames if timed.at is not None)
    wanted = Q(pk__in=[each.sheet.slate.session_id for each in frames if each.sheet.slate])
    for day, _ in days.most_common(DAYS_LOOKED_AT):
        start = datetime.combine(day, time(), zone)
        wanted |= Q(starts_at__lt=start + timedelta(days=1), ends_at__gt=start)
    return list(
        Session.objects.filter(wanted, state__in=OPEN)
        .select_related("station")
        .order_by("starts_at", "pk")
    )


def _table(sheet: Sheet) -> Table:
    """Set the table; where a person named the line, references only tell strangers."""
    is_named = sheet.drop.shot_line_id is not None
    asked = set() if is_named else {line.object_id for line in sheet.lines}
    references, names = references_of(asked)
    known = known_faces_of({line.object_id for line in sheet.lines if line.technique in LIGHTS})
    return Table(
        sheet.sessions,
        references,
        placing_limits(),
        lying=_lying(sheet),
        names={**known.names, **names},
        is_for_one_session=sheet.drop.session_id is not None,
        zone=_zone(sheet.drop),
        strangers=Strangers(known.structures, structure_limits()),
    )


def _lying(sheet: Sheet) -> list[Lying]:
    """Return the frames that lie on the lines for good."""
    movable = {frame.frame_id for frame in sheet.frames}
    frames = (
        Frame.objects.filter(
            shot_line__in=[line.line_id for line in sheet.lines],
            state=FrameState.PLACED,
            role=FrameRole.VIEW,
            captured_at__isnull=False,
        )
        .exclude(pk__in=movable)
        .select_related("look")
    )
    return [
        Lying(spot_of(frame), frame.captured_at, pattern_of_frame(frame), base_of(frame))
        for frame in frames
        if frame.captured_at is not None
    ]


def _estimates(
    sheet: Sheet, frames: Sequence[Timed], table: Table, clocks: Sequence[Clock]
) -> list[Clock]:
    """Propose clocks, once per drop and camera, where nobody has said anything of them."""
    if sheet.drop.clock_offset_s is not None or not sheet.sessions:
        return []
    said = CameraClock.objects.filter(drop=sheet.drop).values_list("body_serial", flat=True)
    return estimate_clocks(
        frames,
        count=lambda moved: sure_count(moved, replace(table)),
        windows=[session.window for session in sheet.sessions],
        known=frozenset(said) | {clock.body_serial for clock in clocks},
        limits=table.limits.clock,
    )
