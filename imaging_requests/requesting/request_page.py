"""What the page of a request shows: each wish, where it stands, and what may be done."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from imaging_requests.people.models import User
from imaging_requests.people.policies import may
from imaging_requests.requesting import outlook, queries
from imaging_requests.requesting.models import LineState, OwedView, Request, RequestLine
from imaging_requests.requesting.overlaps import (
    Overlap,
    WishedView,
    asker,
    demands_of,
    find_overlaps,
)
from imaging_requests.requesting.policies import ASK, TRIAGE, WITHDRAW
from imaging_requests.requesting.rules import LineStep, steps_from
from imaging_requests.requesting.words import Numbers, numbers_of, words_of


@dataclass(frozen=True, kw_only=True)
class ShownLine:
    """One wish as a row."""

    line: RequestLine
    number: str
    words: str
    region: str
    standing: outlook.Standing | None
    plan: outlook.Plan | None
    others: tuple[str, ...]
    can_withdraw: bool
    can_answer: bool

    @property
    def is_late(self) -> bool:
        """Whether the day that is planned or promised lies after the day it is wanted by."""
        if self.line.state not in (LineState.SUBMITTED, LineState.AGREED):
            return False
        wanted = self.line.request.wanted_by
        days = (self.line.promised_on, self.plan.planned_on if self.plan else None)
        return wanted is not None and any(day is not None and day > wanted for day in days)


def wish_of(line: RequestLine) -> WishedView:
    """The wish that a line stands for."""
    detail = line.detail_mm
    return WishedView(
        object_id=line.object_id,
        technique=line.technique,
        face=line.face,
        direction=line.variant,
        detail_mm=None if detail is None else (detail[0], detail[1], detail[2], detail[3]),
        px_per_mm=line.px_per_mm,
        entry_id=line.entry_id,
        insists_because=line.insists_because,
    )


def region_words(line: RequestLine) -> str:
    """Where a detail lies and how fine it is, in words."""
    if line.detail_mm is None:
        return ""
    left, top, width, height = line.detail_mm
    return (
        f"{width:g} × {height:g} mm, {left:g} mm from the left and {top:g} mm from the top, "
        f"{line.px_per_mm:g} px/mm"
    )


def shown_lines(lines: Sequence[RequestLine], user: User) -> list[ShownLine]:
    """Rows for lines, with a fixed number of queries for any number of them."""
    numbers: Numbers = numbers_of(line.object_id for line in lines)
    views = {line.pk: _view_of(line) for line in lines}
    waiting = [line for line in lines if views[line.pk] is None]
    overlaps: dict[int, Overlap] = dict(
        zip(
            (line.pk for line in waiting),
            find_overlaps([wish_of(line) for line in waiting]),
            strict=True,
        )
    )
    ids = [view.pk for view in views.values() if view is not None]
    standings, plans, demands = outlook.standing_of(ids), outlook.plans_of(ids), demands_of(ids)
    rows = []
    for line in lines:
        view, overlap = views[line.pk], overlaps.get(line.pk)
        steps = steps_from(line.state)
        others = (
            tuple(asker(each) for each in demands[view.pk] if each.request_line_id != line.pk)
            if view is not None
            else _others(overlap, line)
        )
        rows.append(
            ShownLine(
                line=line,
                number=numbers[line.object_id],
                words=words_of(view or line),
                region=region_words(line),
                standing=standings.get(view.pk) if view else overlap.standing if overlap else None,
                plan=plans.get(view.pk) if view else overlap.plan if overlap else None,
                others=tuple(dict.fromkeys(others)),
                can_withdraw=LineStep.WITHDRAW in steps and may(user, WITHDRAW, line),
                can_answer=LineStep.AGREE in steps and may(user, TRIAGE),
            )
        )
    return rows


def _view_of(line: RequestLine) -> OwedView | None:
    demands = list(line.demands.all())
    return demands[0].owed_view if demands else None


def _others(overlap: Overlap | None, line: RequestLine) -> tuple[str, ...]:
    if overlap is None:
        return ()
    own = f"{line.request.requester} ({line.request.number})"
    return tuple(name for name in overlap.askers if name != own)


def request_context(request: Request, *, user: User) -> dict[str, Any]:
    """Everything the page of a request shows."""
    lines = queries.request_lines(request)
    for line in lines:
        line.request = request
    rows = shown_lines(lines, user)
    states = Counter(line.state for line in lines)
    numbers = numbers_of(
        [pk for _, come, gone in queries.changed_entries(lines) for pk in (*come, *gone)]
    )
    changed = [
        {
            "entry": entry,
            "come": ", ".join(numbers[pk] for pk in come),
            "gone": ", ".join(numbers[pk] for pk in gone),
        }
        for entry, come, gone in queries.changed_entries(lines)
    ]
    return {
        "wish": request,
        "rows": rows,
        "answer": f"{request.number}: {answer_of(states)}",
        "counts": [
            {"figure": states[state], "unit": words}
            for state, words in _UNITS.items()
            if states[state]
        ],
        "changed": changed if may(user, ASK) else [],
        "can_withdraw": any(row.can_withdraw for row in rows),
        "can_answer": any(row.can_answer for row in rows),
        "has_left": not request.requester.is_active,
    }


_UNITS = {
    LineState.FULFILLED: "here",
    LineState.AGREED: "agreed",
    LineState.SUBMITTED: "waiting for the lead",
    LineState.DECLINED: "declined",
    LineState.WITHDRAWN: "withdrawn",
}


def answer_of(states: Counter[str]) -> str:
    """Where a request stands, in a few words."""
    live = states.total() - states[LineState.WITHDRAWN] - states[LineState.DECLINED]
    here, waiting = states[LineState.FULFILLED], states[LineState.SUBMITTED]
    if live == 0:
        return "nothing is asked any more"
    if here == live:
        return "the picture is here" if live == 1 else f"all {live} pictures are here"
    if waiting == live:
        return "waits for the lead's word"
    if here:
        return f"{here} of {live} pictures {'is' if here == 1 else 'are'} here"
    agreed = states[LineState.AGREED]
    return (
        f"{agreed} of {live} {'picture is' if live == 1 else 'pictures are'} agreed, none here yet"
    )
