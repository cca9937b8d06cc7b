"""Writes that store a layout: frames placed without doubt, frames that wait for a person."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import datetime

from django.db.models import F

from imaging_requests.collection.stale import mark_stale
from imaging_requests.intake import jobs
from imaging_requests.intake.actions.clocks import keep_clocks
from imaging_requests.intake.actions.layout import ask_for_neighbours
from imaging_requests.intake.clocks import Clock
from imaging_requests.intake.decisions import Decision
from imaging_requests.intake.jobs import Work
from imaging_requests.intake.layout import Spot
from imaging_requests.intake.models import Drop, Frame, FrameRole, FrameState
from imaging_requests.intake.sheets import Sheet, spot_of
from imaging_requests.people import audit

ASSEMBLE = "assemble"
PIXELS = "pixels"


def keep_layout(
    work: Work,
    sheet: Sheet,
    decisions: Sequence[Decision],
    clocks: Sequence[Clock],
    *,
    is_settled: bool,
    now: datetime,
) -> None:
    """Store what was decided for the frames of a drop, as far as nobody touched them since.

    While files still arrive, places are for now and are laid out anew with the next file; once
    all are read they are settled, and only a person moves them.
    """
    seen = {frame.frame_id: frame.frame.row_version for frame in sheet.frames}
    with work.publish():
        frames = {
            frame.pk: frame
            for frame in Frame.objects.select_for_update().filter(pk__in=seen).order_by("pk")
            if frame.row_version == seen[frame.pk] and frame.placed_by_id is None
        }
        keep_clocks(sheet.drop, clocks, now)
        current = [decision for decision in decisions if decision.frame_id in frames]
        touched = _lift(frames, current, now)
        for decision in current:
            frame = frames[decision.frame_id]
            if decision.spot is not None and not decision.because:
                if _place(frame, decision, sheet, now):
                    touched.add(decision.spot.line_id)
            else:
                _let_wait(frame, decision)
        lines = {line.line_id: line for line in sheet.lines}
        mark_stale({lines[pk].object_id for pk in touched if pk in lines}, "intake.frame_placed")
        if is_settled:
            Drop.objects.filter(pk=sheet.drop.pk).update(settled_at=now)
        if touched:
            sessions = {lines[pk].session_id for pk in touched if pk in lines}
            ask_for_neighbours(sessions, except_drop=sheet.drop.pk)
        ask_to_assemble(touched if is_settled else _complete(sheet, touched))
        work.result |= {"placed": sum(1 for d in current if d.spot is not None)}


def _lift(frames: dict[int, Frame], decisions: Iterable[Decision], now: datetime) -> set[int]:
    """Take frames off places they were on for now, so that others can lie there."""
    lifted: set[int] = set()
    for decision in decisions:
        frame = frames[decision.frame_id]
        if frame.state != FrameState.PLACED or frame.shot_line_id is None:
            continue
        if decision.spot is not None and _lies_there(frame, decision):
            continue
        lifted.add(frame.shot_line_id)
        before = frame_place(frame)
        frame.state = FrameState.WAITING
        frame.waiting_because = "A further file of the drop made its place doubtful."
        frame.shot_line, frame.placed_at = None, None
        _save(frame, ["state", "waiting_because", "shot_line", "placed_at"])
        audit.record("intake.frame_lifted", actor=None, subject=frame, before=before, now=now)
    return lifted


def _place(frame: Frame, decision: Decision, sheet: Sheet, now: datetime) -> bool:
    spot = decision.spot
    if spot is None or (frame.state == FrameState.PLACED and _lies_there(frame, decision)):
        return False
    put_on(frame, spot, role=FrameRole.SLATE if decision.is_slate else FrameRole.VIEW)
    frame.captured_at = decision.captured_at
    frame.placed_at = now
    _save(frame, [*PLACE_FIELDS, "captured_at", "placed_at"])
    audit.record(
        "intake.frame_placed",
        actor=None,
        subject=frame,
        object_id=sheet.line(spot.line_id).object_id,
        after=frame_place(frame),
        reason=decision.evidence,
        now=now,
    )
    return not decision.is_slate


def _lies_there(frame: Frame, decision: Decision) -> bool:
    role = FrameRole.SLATE if decision.is_slate else FrameRole.VIEW
    return frame.role == role and spot_of(frame) == decision.spot


PLACE_FIELDS = [
    "state",
    "role",
    "shot_line",
    "tile_x",
    "tile_y",
    "ev",
    "focus_slice",
    "waiting_because",
    "waiting_reason",
    "proposal",
]


def put_on(frame: Frame, spot: Spot, *, role: str = FrameRole.VIEW) -> None:
    """Set the fields of a frame that lies on a place; the caller saves `PLACE_FIELDS`."""
    frame.state, frame.role = FrameState.PLACED, role
    frame.shot_line_id = spot.line_id
    frame.tile_x, frame.tile_y = spot.tile_x, spot.tile_y
    frame.ev, frame.focus_slice = spot.ev, spot.focus_slice
    frame.waiting_because, frame.waiting_reason, frame.proposal = "", "", []


def _let_wait(frame: Frame, decision: Decision) -> None:
    """Keep a frame on the sorting table with its reason; unread frames stay as they are."""
    changed = []
    if decision.captured_at != frame.captured_at:
        frame.captured_at = decision.captured_at
        changed.append("captured_at")
    if decision.because:
        why = decision.why.value if decision.why is not None else ""
        wanted = (FrameState.WAITING, decision.because, why, list(decision.proposal))
        now = (frame.state, frame.waiting_because, frame.waiting_reason, frame.proposal)
        if now != wanted:
            frame.state, frame.waiting_because, frame.waiting_reason, frame.proposal = wanted
            changed += ["state", "waiting_because", "waiting_reason", "proposal"]
    if changed:
        _save(frame, changed)


def _save(frame: Frame, fields: list[str]) -> None:
    frame.row_version = F("row_version") + 1
    frame.save(update_fields=[*fields, "row_version"])
    frame.refresh_from_db(fields=["row_version"])


def frame_place(frame: Frame) -> dict[str, object]:
    """Return a frame's place as plain values for the audit trail."""
    return {
        "shot_line": frame.shot_line_id,
        "tile_x": frame.tile_x,
        "tile_y": frame.tile_y,
        "ev": frame.ev,
        "focus_slice": frame.focus_slice,
        "role": frame.role,
    }


def _complete(sheet: Sheet, line_ids: Iterable[int]) -> set[int]:
    """Return those lines that have all their frames now."""
    complete = set()
    for line_id in line_ids:
        line = sheet.line(line_id)
        lying = Frame.objects.filter(
            shot_line=line_id, state=FrameState.PLACED, role=FrameRole.VIEW
        ).count()
        if lying >= len(line.expected):
            complete.add(line_id)
    return complete


def ask_to_assemble(line_ids: Iterable[int]) -> None:
    """Ask for the deliverables of lines whose frames have changed."""
    for line_id in sorted(set(line_ids)):
        jobs.enqueue(ASSEMBLE, line_id, queue=PIXELS, again=True)
