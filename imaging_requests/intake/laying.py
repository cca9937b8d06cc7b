"""The job `sort`: find the places of a drop's frames, as far as no doubt is left."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import replace
from datetime import timedelta
from zoneinfo import ZoneInfo

from django.db.models import QuerySet

from imaging_requests.campaigns.models import Session, SessionState, ShotLine, ShotLineState
from imaging_requests.intake.actions.layout import is_restless
from imaging_requests.intake.actions.receiving import instant_of, session_window
from imaging_requests.intake.actions.sorting import keep_layout
from imaging_requests.intake.jobs import Work
from imaging_requests.intake.limits import placing_limits
from imaging_requests.intake.models import Drop
from imaging_requests.intake.sheets import LineSheet, Sheet, line_sheets, read_sheet
from imaging_requests.intake.sorting import Decision, Timed, as_proposal, decide


def sort(work: Work) -> None:
    """Lay out the frames of one drop; running it twice changes nothing the second time."""
    if not Drop.objects.filter(pk=work.subject_id).exists():
        return
    restless = is_restless(work.subject_id)
    sheet = read_sheet(work.subject_id)
    timed = [Timed(frame, instant_of(frame.exif, sheet.drop)) for frame in sheet.frames]
    session = sheet.drop.session
    if session is None:
        sheet, decisions = _without_session(sheet, timed)
    else:
        decisions = _in_session(session, sheet.lines, timed)
    keep_layout(work, sheet, decisions, is_settled=not restless, now=work.now())


def _in_session(
    session: Session, lines: Sequence[LineSheet], frames: Sequence[Timed]
) -> list[Decision]:
    return decide(
        frames,
        lines,
        window=session_window(session),
        zone=ZoneInfo(session.zone),
        limits=placing_limits(),
    )


def _without_session(sheet: Sheet, frames: Sequence[Timed]) -> tuple[Sheet, list[Decision]]:
    """Let every frame wait, with what the one session of its time would have made of it."""
    because = f"{sheet.drop} names no session, so it is not known what was to be shot."
    decisions: list[Decision] = []
    lines: list[LineSheet] = []
    for session, together in _by_session(frames).items():
        if session is None:
            said, as_if = f"{because} Place it by hand.", [_left(frame) for frame in together]
        else:
            said = f"{because} It was taken in the time of the {session}."
            own = line_sheets(open_lines(session))
            lines.extend(own)
            as_if = _in_session(session, own, together)
        holds = {frame.sheet.frame_id: frame.sheet.holds for frame in together}
        read = {frame.sheet.frame_id for frame in together if frame.sheet.is_read}
        for decision in as_if:
            if decision.frame_id in read:
                words = " ".join([said, *holds[decision.frame_id]])
                decisions.append(_only_proposed(decision, words))
    return replace(sheet, lines=tuple(lines)), decisions


def open_lines(session: Session) -> QuerySet[ShotLine]:
    """Return the lines of a session that may still get frames, in the order of the list."""
    return ShotLine.objects.filter(session=session).exclude(state=ShotLineState.NOT_DONE)


def _left(frame: Timed) -> Decision:
    known = frame.instant is not None and not frame.instant.is_ambiguous
    at = frame.instant.at if known and frame.instant is not None else None
    return Decision(frame.sheet.frame_id, at)


def _only_proposed(decision: Decision, because: str) -> Decision:
    proposal = decision.proposal
    if decision.spot is not None:
        proposal = (as_proposal(decision.spot, "it would fit there by time and exposure"),)
    return replace(decision, spot=None, because=because, proposal=proposal)


def _by_session(frames: Sequence[Timed]) -> dict[Session | None, list[Timed]]:
    """Group frames by the one session in whose time they were taken; None: no one, or several."""
    instants = [frame.instant.at for frame in frames if frame.instant is not None]
    together: dict[Session | None, list[Timed]] = defaultdict(list)
    sessions: list[Session] = []
    if instants:
        margin = timedelta(minutes=placing_limits().session_margin_min)
        sessions = list(
            Session.objects.filter(
                starts_at__lte=max(instants) + margin, ends_at__gte=min(instants) - margin
            )
            .exclude(state=SessionState.CANCELLED)
            .select_related("station")
        )
    for frame in frames:
        found = [
            session
            for session in sessions
            if frame.instant is not None and session_window(session).holds(frame.instant.at)
        ]
        together[found[0] if len(found) == 1 else None].append(frame)
    return together
