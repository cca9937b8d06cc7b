"""What the pages of the intake show, put into words; templates decide nothing."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Any

from django.core.paginator import Page, Paginator
from django.db.models import QuerySet
from django.template.defaultfilters import filesizeformat
from django.urls import reverse
from django.utils import timezone
from django.utils.text import capfirst

from imaging_requests.campaigns.models import Session, ShotLine
from imaging_requests.intake import queries, store
from imaging_requests.intake.clocks import added_words
from imaging_requests.intake.forms import moved_value
from imaging_requests.intake.models import (
    Arrival,
    ArrivalState,
    Drop,
    FileCheck,
    Frame,
    FrameState,
    Job,
)
from imaging_requests.intake.policies import ASK_AGAIN, CLEAR_REFUSED, PLACE, UPLOAD, closed_frames
from imaging_requests.intake.rules import CardAnswer, DropCount, may_format
from imaging_requests.intake.sheets import (
    RECOGNITION,
    LineSheet,
    holds_back,
    latest_checks,
    lines_with_names,
    name_of,
)
from imaging_requests.intake.stopped import stopped_words
from imaging_requests.people.counting import number_of
from imaging_requests.people.models import User
from imaging_requests.people.policies import may

FILES_PER_PAGE = 100
#: An answer of at least so many characters is said once if so many files, and most, share it.
LONG_ANSWER, LEAST_SHARED = 60, 3
SESSIONS_OFFERED = 20
POLL_S, SLOW_POLL_S = 2, 20
#: What is said of a received file whose copies do not match, in place of its first answer.
LACKING = {
    queries.LOST: (
        "Lost",
        "Lost: it was received, but no stored copy matches any more. Bring the same file again "
        "from the card or from another backup; it heals both copies.",
    ),
    queries.ONE_COPY: (
        "One copy",
        "Proven in one place only: the other copy does not match or is missing, and the next check "
        "of the store restores it. Keep the card until then.",
    ),
}


def picture_address(frame: Frame) -> str:
    """Return the address of a frame's small picture, or nothing while it is not made yet."""
    small = getattr(frame, "small", [])
    if not small:
        return ""
    return f"{reverse('intake:picture', args=[frame.pk, '256'])}?of={small[0].recipe}"


@dataclass(frozen=True, slots=True)
class FileRow:
    """One offered file on the page of its drop."""

    arrival: Arrival
    size: str
    state: str
    sentence: str
    place: str
    warnings: tuple[str, ...]
    doubts: tuple[str, ...]
    picture: str
    percent: int
    may_give_up: bool
    may_clear: bool
    moved: str
    is_closed: bool = False

    @property
    def words(self) -> str:
        """The whole answer."""
        place = capfirst(self.place)
        return f"{self.sentence} {place}{'' if not place or place.endswith('.') else '.'}".strip()


@dataclass(frozen=True, slots=True)
class Shared:
    """Words that hold for several files of a page and are said once, above them."""

    words: str
    files: int


@dataclass(frozen=True, slots=True)
class DropView:
    """Everything that changes on the page of a drop while it is looked at."""

    drop: Drop
    answer: str
    card: CardAnswer
    count: DropCount
    lines: list[queries.LineProgress]
    files: Page[Arrival]
    rows: list[FileRow]
    shared: Shared | None
    closed: list[Shared]
    trouble: list[Job]
    standstill: str
    stopped: str
    missing: str
    poll_s: int
    waiting: int
    strangers: int
    other_object: str
    may_ask_again: bool


def drop_view(drop: Drop, user: User, *, page: Any = 1) -> DropView:
    """Gather the page of a drop; the number of queries does not depend on the number of files."""
    count = queries.count_of(drop.pk)
    lines = queries.progress_by_line(queries.lines_of(drop))
    files = Paginator(queries.arrivals_of(drop.pk), FILES_PER_PAGE).get_page(page)
    sheets = {progress.sheet.line_id: progress.sheet for progress in lines}
    arrived = list(files.object_list)
    closed = closed_frames(user, [each.frame_id for each in arrived if each.frame_id is not None])
    held_up = queries.why_held_up(
        [each.pk for each in arrived if each.state == ArrivalState.RECEIVED]
    )
    rows = [
        _file_row(each, user, sheets, closed, held_up=held_up.get(each.pk, "")) for each in arrived
    ]
    rows, shared = _said_once(rows)
    waiting, strangers = queries.waiting_of(drop)
    return DropView(
        drop=drop,
        answer=_drop_answer(drop, count, waiting),
        card=may_format(count),
        count=count,
        lines=lines,
        files=files,
        rows=rows,
        shared=shared,
        closed=[Shared(why, number) for why, number in Counter(closed.values()).items()],
        trouble=list(queries.failed_jobs(drop_id=drop.pk)),
        standstill=standstill_words(),
        stopped=stopped_words(drop.pk),
        missing=_missing_words(count),
        poll_s=_poll_s(drop),
        waiting=waiting,
        strangers=strangers,
        other_object=_other_object_words(queries.of_another_object(drop.pk)),
        may_ask_again=may(user, ASK_AGAIN),
    )


def _said_once(rows: list[FileRow]) -> tuple[list[FileRow], Shared | None]:
    """Take a long answer that most rows give out of them, to be said once above the table."""
    words, files = Counter(row.words for row in rows).most_common(1)[0] if rows else ("", 0)
    if files < LEAST_SHARED or 2 * files < len(rows) or len(words) < LONG_ANSWER:
        return rows, None
    short = [
        replace(row, sentence="As said above.", place="") if row.words == words else row
        for row in rows
    ]
    return short, Shared(words, files)


def _poll_s(drop: Drop) -> int:
    if queries.is_final(drop.pk):
        return 0
    return SLOW_POLL_S if queries.is_stalled(drop.pk) else POLL_S


def _drop_answer(drop: Drop, count: DropCount, waiting: int) -> str:
    if not count.offered:
        return f"{drop} is empty: bring its files"
    here = count.offered - count.under_way - count.refused
    verb = "is" if count.offered == 1 else "are"
    parts = [f"{here:,} of {number_of(count.offered, 'file')} {verb} received"]
    if count.under_way:
        parts.append(f"{count.under_way:,} on the way")
    if count.refused:
        parts.append(f"{count.refused:,} refused")
    if waiting:
        parts.append(f"{number_of(waiting, 'frame')} on the sorting table")
    return f"{drop}: {', '.join(parts)}"


def _missing_words(count: DropCount) -> str:
    """Say that a place of masters cannot be used while files wait for it."""
    found = " ".join(store.troubles().values())
    if not found or not count.under_way:
        return ""
    return f"{found} What has arrived is safe and goes on by itself once this is put right."


def _other_object_words(number: int) -> str:
    if not number:
        return ""
    what = "file looks" if number == 1 else "files look"
    return (
        f"{number:,} {what} like another object than the one asked for. Each says which below. If "
        "it is so, take it back and place it where it belongs, and shoot this object before it "
        "leaves."
    )


def _file_row(
    arrival: Arrival,
    user: User,
    sheets: dict[int, LineSheet],
    closed: dict[int, str],
    *,
    held_up: str,
) -> FileRow:
    frame = arrival.frame
    checks = latest_checks(frame.checks.all()) if frame is not None else []
    usual = (str(arrival.get_state_display()), arrival.answer or _under_way_words(arrival, held_up))
    state, sentence = LACKING.get(arrival.lack, usual)  # type: ignore[attr-defined]
    place, moved = "", ""
    if frame is not None:
        place = _place_words(frame, sheets)
        if frame.state in (FrameState.PLACED, FrameState.SET_ASIDE) and may(user, PLACE, frame):
            moved = moved_value([frame])
    is_closed = frame is not None and frame.pk in closed
    is_open = arrival.state in (ArrivalState.ARRIVING, ArrivalState.REFUSED)
    return FileRow(
        arrival=arrival,
        size=filesizeformat(arrival.size_bytes),
        state=state,
        sentence=sentence,
        place=place,
        warnings=() if _says_why(frame) else _warnings(checks),
        doubts=_doubts(frame, checks),
        picture=picture_address(frame) if frame is not None and not is_closed else "",
        percent=_percent(arrival),
        may_give_up=is_open and may(user, UPLOAD, arrival),
        may_clear=arrival.refused_kept and may(user, CLEAR_REFUSED, arrival),
        moved=moved,
        is_closed=is_closed,
    )


def _says_why(frame: Frame | None) -> bool:
    """Tell whether the reason for waiting names the failed checks already."""
    return frame is not None and frame.state == FrameState.WAITING


def _warnings(checks: Iterable[FileCheck]) -> tuple[str, ...]:
    return tuple(
        check.sentence
        for check in checks
        if holds_back(check) or check.verdict == FileCheck.Verdict.FAIL
    )


def _doubts(frame: Frame | None, checks: Iterable[FileCheck]) -> tuple[str, ...]:
    """Say of a placed frame what the program could not make sure of: whether it is its object."""
    if frame is None or frame.state != FrameState.PLACED:
        return ()
    return tuple(
        check.sentence
        for check in checks
        if check.rule == RECOGNITION and check.verdict == FileCheck.Verdict.CANNOT_TELL
    )


def _percent(arrival: Arrival) -> int:
    if not arrival.size_bytes:
        return 100
    return int(100 * arrival.offset_bytes / arrival.size_bytes)


def _under_way_words(arrival: Arrival, held_up: str) -> str:
    if arrival.state == ArrivalState.RECEIVED and held_up:
        return f"All bytes are here and wait to be proven. {held_up}"
    if arrival.state == ArrivalState.RECEIVED:
        return "All bytes are here; they are being proven and copied."
    here = filesizeformat(arrival.offset_bytes)
    if timezone.now() - arrival.touched_at > queries.STALLED_AFTER:
        return (
            f"Stopped after {here}; that part is kept. Choose the same file again and it goes on "
            "from there."
        )
    return f"Arriving: {here} are here."


def _place_words(frame: Frame, sheets: dict[int, LineSheet]) -> str:
    if frame.state == FrameState.PLACED:
        return queries.placed_spot_words(frame, sheets) or "placed in another session"
    if frame.state == FrameState.WAITING:
        return f"On the sorting table: {frame.waiting_because}"
    if frame.state == FrameState.SET_ASIDE:
        return "Set aside as a spare."
    return "Its picture is being made." if frame.read_at is None else "Its place is being found."


def standstill_words() -> str:
    """Say that no worker takes the work, if that is so."""
    found = queries.standstill()
    if found is None:
        return ""
    number, since = found
    return (
        f"The background work stands still: {number_of(number, 'job')} due since "
        f"{timezone.localtime(since):%H:%M}, and no worker takes them. What was received is safe. "
        "Ask the system keeper to start the workers."
    )


def shot_for_words(drop: Drop) -> str:
    """Say what a drop was shot for; `drop` was read by `queries.drops`."""
    if drop.shot_line is not None:
        return name_of(drop.shot_line)
    return "Whole session" if drop.session is not None else "Not known"


def clock_words(drop: Drop) -> str:
    """Say how the clock of the camera is corrected, and who said so."""
    if drop.clock_offset_s is not None:
        return f"{added_words(drop.clock_offset_s)}, as said for this drop"
    if drop.session is not None:
        return f"{added_words(drop.session.clock_offset_s)}, as for the session"
    return "taken as it is"


def drop_rows(drops: Iterable[Drop]) -> list[dict[str, Any]]:
    """Put the drops of a list into rows."""
    return [{"drop": drop, "shot_for": shot_for_words(drop)} for drop in drops]


def shot_for_choices(session_id: int | None, line_id: int | None) -> list[Any]:
    """Return sessions with their lines, the latest first; those asked for are always among them."""
    sessions = list(queries.open_sessions()[:SESSIONS_OFFERED])
    known = {session.pk for session in sessions}
    extra: QuerySet[Session] = queries.open_sessions().none()
    if line_id is not None:
        extra = queries.open_sessions().filter(shot_lines=line_id)
    elif session_id is not None:
        extra = queries.open_sessions().filter(pk=session_id)
    sessions = [*(session for session in extra if session.pk not in known), *sessions]
    lines = lines_with_names(ShotLine.objects.filter(session__in=sessions).order_by("position"))
    by_session: dict[int, list[ShotLine]] = {}
    for line in lines:
        by_session.setdefault(line.session_id, []).append(line)
    return [
        (
            f"{session.station}, {timezone.localtime(session.starts_at):%-d %b %Y, %H:%M}",
            [
                (f"session:{session.pk}", "The whole session"),
                *((f"line:{line.pk}", name_of(line)) for line in by_session.get(session.pk, [])),
            ],
        )
        for session in sessions
    ]
