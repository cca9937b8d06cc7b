"""From a case file to what pages show: pure, the same for the cache and for any past day."""

from __future__ import annotations

from collections import Counter
from collections.abc import Container, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from imaging_requests.people.counting import number_of
from imaging_requests.progress.columns import KEYS
from imaging_requests.reckoning.records import record
from imaging_requests.reckoning.truth.decisions import open_cases
from imaging_requests.reckoning.truth.facts import ObjectCase
from imaging_requests.reckoning.truth.grade import (
    EntryGrade,
    GapStatement,
    ObstacleCode,
    grade_entry,
    missing_facts,
    read_object,
)
from imaging_requests.reckoning.truth.moment import Moment, look
from imaging_requests.reckoning.truth.preferring import Stand
from imaging_requests.reckoning.truth.sentences import explain
from imaging_requests.reckoning.truth.status import ViewStatus, statuses
from imaging_requests.reckoning.truth.terms import AnchorKind, Grade, Status, face_of
from imaging_requests.reckoning.truth.waiting import wait_of
from imaging_requests.reckoning.truth.words import Speech

MET = frozenset((Status.ACCEPTED, Status.FILED))
RESOLVED = frozenset((Status.FILED, Status.WAIVED, Status.NOT_APPLICABLE, Status.REPLACED))
NOT_OWED = frozenset((Status.NOT_APPLICABLE, Status.REPLACED))
DONE = RESOLVED - NOT_OWED
#: Nothing can or need be shot for these.
SETTLED = RESOLVED | MET | {Status.LOST}
#: What treatments have made untrue or doubtful.
DEBT = frozenset((Status.OUT_OF_DATE, Status.UNDECIDED))
FACT_WORDS = {
    "height_mm": "height",
    "width_mm": "width",
    "depth_mm": "depth",
    "warp_mm": "warp",
    "support": "support",
    "framed": "whether it is framed",
    "glazed": "whether it is glazed",
    "light_class": "light class",
}


@record
@dataclass(frozen=True)
class DerivedView:
    """One owed view with its status, in words and as data."""

    view_key: str
    status: Status
    sentence: str
    reason: dict[str, Any]
    waits_for: str
    waits_for_role: str
    is_met: bool
    is_present: bool
    is_only_now: bool
    chain: str
    picture_version: int | None


@dataclass(frozen=True)
class Derived:
    """Everything that is derived of one object at one instant."""

    moment: Moment
    views: tuple[DerivedView, ...]
    missing_facts: tuple[str, ...]
    state_index: int
    has_open_question: bool
    holds_until: datetime | None


def derive_object(
    case: ObjectCase,
    *,
    speech: Speech,
    now: datetime,
    known_at: datetime | None = None,
    moment: Moment | None = None,
) -> Derived:
    """Derive an object's statuses as they are at `now`, as known then or at another instant.

    Whoever has looked at the case at these instants already gives that `moment`.
    """
    moment = moment or look(case, speech.tables, t=now, u=known_at or now)
    return Derived(
        moment=moment,
        views=tuple(derive_view(status, speech) for status in statuses(moment)),
        missing_facts=tuple(FACT_WORDS[name] for name in missing_facts(moment.facts)),
        state_index=moment.line.current,
        has_open_question=bool(open_cases(moment)),
        holds_until=next_change(case, now),
    )


def derive_view(status: ViewStatus, speech: Speech) -> DerivedView:
    """Put one status into words."""
    picture = status.reason.picture
    wait = wait_of(status)
    until = status.reason.until
    is_bared = status.view.anchor.kind is AnchorKind.WIN and status.status not in SETTLED
    return DerivedView(
        view_key=status.view.key,
        status=status.status,
        sentence=explain(status, speech),
        reason={
            "code": str(status.reason.code),
            "why": str(status.why) if status.why is not None else "",
            "until": until.isoformat() if until is not None else "",
            "events": [event.key for event in status.reason.events],
            **_preference(status),
        },
        waits_for=wait.what if wait is not None else "",
        waits_for_role=" or ".join(f"the {who}" for who in wait.who) if wait is not None else "",
        is_met=status.status in MET,
        is_present=status.view.anchor.kind is AnchorKind.CUR,
        is_only_now=is_bared or ends_with_a_step(status),
        chain=picture.chain if picture is not None else "",
        picture_version=picture.version if picture is not None else None,
    )


def ends_with_a_step(status: ViewStatus) -> bool:
    """Whether a view prefers a state that lasts, is not shown, and ends with a planned step."""
    better = status.better
    return better is not None and better.stand is Stand.POSSIBLE and bool(better.events)


def _preference(status: ViewStatus) -> dict[str, str]:
    """How a preferred state stands; while a step is to end it, of which treatment and when."""
    better = status.better
    if better is None:
        return {}
    found = {"preferred": str(better.stand)}
    if ends_with_a_step(status) and better.anchor is not None:
        found["treatment"] = better.anchor.treatment or ""
        found["ends"] = better.until.isoformat() if better.until is not None else ""
    return found


def next_change(case: ObjectCase, now: datetime) -> datetime | None:
    """Return the next instant at which a date alone changes something, or None."""
    instants: list[datetime | None] = []
    for waiver in case.waivers:
        instants += [waiver.granted_at, waiver.lapses_at]
    for away in case.unavailable:
        instants += [away.starts_at, away.ends_at]
    for rule in case.not_applicable:
        instants += [rule.starts_at, rule.ends_at]
    for demand in case.demands:
        instants += [demand.starts_at, demand.ends_at]
    for shot in case.planned:
        instants += [shot.confirmed_at, shot.session_ends_at]
    for facts in case.facts:
        instants.append(facts.valid_from)
    for event in case.events:
        instants += [event.started_at, event.ended_at]
    for picture in case.pictures:
        instants.append(picture.captured_at)
    for view in case.views:
        instants.append(view.replaced_at)
    return min((at for at in instants if at is not None and at > now), default=None)


@dataclass(frozen=True)
class DerivedEntry:
    """An entry's grade with everything the board needs."""

    grade: EntryGrade
    why: str
    counts: dict[str, dict[str, int]]
    cells: dict[str, list[str]]
    present: int
    resolved: int
    debt: int
    owed: int
    met: int
    unmet: int
    lost: int


def derive_entry(
    moments: Sequence[Moment], *, catalogue: str, gaps: Iterable[GapStatement] = ()
) -> DerivedEntry:
    """Grade an entry from the moments of its objects and lay its views out for the board."""
    readings = [read_object(moment, catalogue=catalogue) for moment in moments]
    graded = grade_entry(readings, gaps=gaps)
    everything = [status for reading in readings for status in reading.statuses]
    present = [status for status in everything if status.view.anchor.kind is AnchorKind.CUR]
    cells: dict[str, list[str]] = {}
    for status in present:
        view = status.view
        key = f"{view.technique}-{face_of(view.surface)}-{view.variant}"
        if key in KEYS:
            cells.setdefault(key, []).append(str(status.status))
    counted = [status for status in everything if status.status not in NOT_OWED]
    met = sum(status.status in RESOLVED for status in counted)
    return DerivedEntry(
        grade=graded,
        why=why_not_full(graded, present=frozenset(status.view.key for status in present)),
        counts={
            "present": _counted(present),
            "all": _counted(everything),
        },
        cells=cells,
        present=sum(status.status not in NOT_OWED for status in present),
        resolved=sum(status.status in DONE for status in present),
        debt=sum(status.status in DEBT for status in present),
        owed=len(counted),
        met=met,
        unmet=len(counted) - met,
        lost=len(graded.lost),
    )


def _counted(found: Iterable[ViewStatus]) -> dict[str, int]:
    return dict(sorted(Counter(str(status.status) for status in found).items()))


OBSTACLE_WORDS: Mapping[ObstacleCode, tuple[str, str]] = {
    ObstacleCode.FACTS_MISSING: ("fact is missing", "facts are missing"),
    ObstacleCode.VIEW_OPEN: ("view is not met", "views are not met"),
    ObstacleCode.REPLACEMENT_OPEN: ("replaced view is not met", "replaced views are not met"),
    ObstacleCode.REPLACEMENT_CIRCLE: (
        "view is replaced in a circle",
        "views are replaced in a circle",
    ),
    ObstacleCode.CASE_OPEN: ("decision is open", "decisions are open"),
    ObstacleCode.CORRECTION_OPEN: ("correction is open", "corrections are open"),
    ObstacleCode.STEP_UNDER_WAY: ("treatment step is under way", "treatment steps are under way"),
}


def _of_which(of_now: int, of_then: int) -> str:
    if not of_then:
        return ""
    if not of_now:
        return " (a treatment view)" if of_then == 1 else " (all treatment views)"
    return f" ({of_now} present, {number_of(of_then, 'treatment view')})"


def why_not_full(graded: EntryGrade, *, present: Container[str] = ()) -> str:
    """Say in one sentence what stands between an entry and its being whole.

    `present` are the keys of views of the object as it is now. A step of a treatment can undo the
    same picture twice over, as it is now and as it was owed after the treatment, so the sentence
    says how many of the views are which.
    """
    if graded.grade is Grade.FULL:
        return "Every view is filed."
    if graded.grade is Grade.FULL_WAIVED:
        one = graded.waived == 1
        return f"Every view is filed but {graded.waived}, which {'is' if one else 'are'} waived."
    if any(each.code is ObstacleCode.NOTHING_OWED for each in graded.obstacles):
        return "Nothing is owed yet."
    number = Counter(each.code for each in graded.obstacles)
    of_now = sum(
        each.code is ObstacleCode.VIEW_OPEN and each.key in present for each in graded.obstacles
    )
    parts = [
        f"{number[code]} {one if number[code] == 1 else many}"
        + (_of_which(of_now, number[code] - of_now) if code is ObstacleCode.VIEW_OPEN else "")
        for code, (one, many) in OBSTACLE_WORDS.items()
        if number[code]
    ]
    lost = f"; {len(graded.lost)} lost for good" if graded.lost else ""
    return f"{', '.join(parts)}{lost}.".capitalize() if parts else "No object belongs to it yet."
