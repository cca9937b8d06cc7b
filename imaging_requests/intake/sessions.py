"""In which session was a frame taken? By its instant, its camera, slates, and what fits. Pure."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

from imaging_requests.intake.decisions import Timed
from imaging_requests.intake.limits import PlacingLimits
from imaging_requests.intake.segments import Mark
from imaging_requests.intake.sheets import SessionSheet

#: Counts how many of some frames find a place in a session.
Count = Callable[[SessionSheet, Sequence[Timed]], int]


@dataclass(slots=True)
class Allotted:
    """Frames by session; those outside every session; those that could belong to several."""

    by_session: dict[int, list[Timed]] = field(default_factory=lambda: defaultdict(list))
    outside: list[Timed] = field(default_factory=list)
    open_between: list[tuple[Timed, tuple[SessionSheet, ...]]] = field(default_factory=list)


def allot(
    frames: Sequence[Timed],
    sessions: Sequence[SessionSheet],
    marks: Mapping[int, Sequence[Mark]],
    *,
    count: Count,
    limits: PlacingLimits,
) -> Allotted:
    """Give every frame with a sure instant to a session, as far as no doubt is left.

    Where several sessions go on at once, a slate of the camera decides, else the session in which
    clearly more frames of the camera find a place.
    """
    answer = Allotted()
    contested: dict[tuple[str, tuple[int, ...]], list[Timed]] = defaultdict(list)
    by_id = {session.session_id: session for session in sessions}
    for timed in frames:
        fitting = _fitting(timed, sessions)
        if len(fitting) == 1:
            answer.by_session[fitting[0].session_id].append(timed)
        elif not fitting:
            answer.outside.append(timed)
        else:
            key = tuple(session.session_id for session in fitting)
            contested[timed.sheet.body_serial, key].append(timed)
    for (body, key), together in contested.items():
        rivals = [by_id[session_id] for session_id in key]
        chosen = _by_slate(body, rivals, marks) or _by_count(rivals, together, count, limits)
        if chosen is not None:
            answer.by_session[chosen.session_id].extend(together)
        else:
            answer.open_between.extend((timed, tuple(rivals)) for timed in together)
    return answer


def _fitting(timed: Timed, sessions: Sequence[SessionSheet]) -> list[SessionSheet]:
    """Return the sessions of a frame's time; those whose cards name its camera go first."""
    at, body = timed.at, timed.sheet.body_serial
    if at is None:
        return []
    found = [session for session in sessions if session.window.holds(at)]
    if len(found) > 1 and body:
        with_body = [each for each in found if not each.bodies or body in each.bodies]
        named = [each for each in with_body if body in each.bodies]
        found = named or with_body or found
    if len(found) > 1:
        proper = [each for each in found if each.proper.holds(at)]
        found = proper or found
    return found


def _by_slate(
    body: str, rivals: Sequence[SessionSheet], marks: Mapping[int, Sequence[Mark]]
) -> SessionSheet | None:
    marked = [
        session
        for session in rivals
        if any(mark.body_serial == body for mark in marks.get(session.session_id, ()))
    ]
    return marked[0] if body and len(marked) == 1 else None


def _by_count(
    rivals: Sequence[SessionSheet], frames: Sequence[Timed], count: Count, limits: PlacingLimits
) -> SessionSheet | None:
    counted = sorted(((count(each, frames), each.session_id) for each in rivals), reverse=True)
    (most, chosen), (next_most, _) = counted[:2]
    if most - next_most < limits.session_lead_frames:
        return None
    return next(each for each in rivals if each.session_id == chosen)
