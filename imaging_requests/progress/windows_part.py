"""Only-now windows on pages: how long a bared surface can still be seen, and what is not shot.

A preferred state that lasts only until a planned step is told in the same place.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime

from django.db.models import Count, Q
from django.urls import reverse
from django.utils import timezone

from imaging_requests.people.models import Role, User
from imaging_requests.progress.answers import ROWS, Row, Section, count
from imaging_requests.progress.models import ViewStatus
from imaging_requests.progress.rules import MET, SETTLED
from imaging_requests.protocols.queries import periods
from imaging_requests.reckoning.truth.moment import Moment
from imaging_requests.reckoning.truth.preferred_looks import preferred_looks
from imaging_requests.reckoning.truth.status import ViewStatus as StandingView
from imaging_requests.reckoning.truth.status import statuses
from imaging_requests.reckoning.truth.terms import CLEANED
from imaging_requests.reckoning.truth.windows import Window, WindowState, views_in, windows
from imaging_requests.reckoning.truth.words import (
    PREFERRED_WORDS,
    STATUS_WORDS,
    Speech,
    capital,
    inside,
    name_anchor,
    name_view,
)
from imaging_requests.requesting.words import numbers_of


@dataclass(frozen=True, slots=True)
class WindowNotice:
    """What is said of one window: `kind` is that of a notice (stop, caution, done)."""

    kind: str
    words: str
    sentence: str


def window_notices(
    moment: Moment, speech: Speech, *, treatment_id: int | None = None
) -> list[WindowNotice]:
    """Say of every window that is open or planned, and of which views are owed, how it stands."""
    found = []
    for window in windows(moment):
        if window.state is WindowState.CLOSED:
            continue
        if treatment_id is not None and window.opened_by.treatment != str(treatment_id):
            continue
        owed = views_in(window, statuses(moment))
        if owed:
            found.append(_notice(window, owed, speech, moment.t))
    return [*found, *_preferred_notices(moment, speech, treatment_id)]


def _preferred_notices(
    moment: Moment, speech: Speech, treatment_id: int | None
) -> Iterator[WindowNotice]:
    """Say of preferred states that a planned step will end which pictures of them are missing."""
    for look in preferred_looks(moment):
        if look.ending is None:
            continue
        if treatment_id is not None and look.anchor.treatment != str(treatment_id):
            continue
        starts = look.ending.planned_start_at
        when = f", planned for {speech.day(starts)}" if starts is not None else ""
        views = ", ".join(inside(name_view(each.view)) for each in look.views)
        yield WindowNotice(
            kind="caution",
            words="Only now:",
            sentence=(
                f"{capital(PREFERRED_WORDS[CLEANED])}, {name_anchor(look.anchor, speech)}, lasts "
                f"until “{speech.event(look.ending)}”{when}. Preferred, with no accepted picture "
                f"of it: {views}."
            ),
        )


def _notice(
    window: Window, owed: Sequence[StandingView], speech: Speech, now: datetime
) -> WindowNotice:
    is_open = window.state is WindowState.OPEN
    lacking = [inside(name_view(each.view)) for each in owed if each.status not in SETTLED]
    if lacking:
        kind = "stop" if is_open else "caution"
        missing = ", ".join(lacking)
        said = (
            f"{len(lacking)} of {count(len(owed), 'view')} {_are(len(lacking))} not accepted: "
            f"{missing}."
        )
    else:
        kind = "done"
        said = _settled(owed)
    return WindowNotice(
        kind=kind,
        words="Only now:" if is_open else "Only for a while:",
        sentence=f"{window.surface} can be seen {_how_long(window, speech, now)}. {said}",
    )


def _how_long(window: Window, speech: Speech, now: datetime) -> str:
    closes = window.closes_at
    until = f"until {speech.day(closes)}" if closes else "until a step without a date hides it"
    if window.state is WindowState.OPEN:
        if closes is None:
            return until
        return f"{until}, {how_long_left(timezone.localdate(closes), timezone.localdate(now))}"
    opens = f"planned for {speech.day(window.opens_at)}" if window.opens_at else "no date yet"
    return f"once “{speech.event(window.opened_by)}” is done ({opens}), {until}"


def how_long_left(closes: date, today: date, *, ended: str = "planned to be hidden") -> str:
    """Say how many days are left until one, or how long ago it was that something had `ended`."""
    days = (closes - today).days
    if days < 0:
        return f"{ended} {count(-days, 'day')} ago"
    return "the last day" if days == 0 else f"{count(days, 'day')} left"


def _are(number: int) -> str:
    return "is" if number == 1 else "are"


def _settled(owed: Sequence[StandingView]) -> str:
    """Say how the views of a window that nobody has to shoot any more stand, way by way."""
    words = ("accepted" if each.status in MET else STATUS_WORDS[each.status] for each in owed)
    ways = Counter(words)
    if len(ways) == 1:
        every = (
            "The one view it owes is" if len(owed) == 1 else f"All {len(owed)} views it owes are"
        )
        return f"{every} {next(iter(ways))}."
    told = [f"{number} {_are(number)} {way}" for way, number in ways.items()]
    return f"Of the {len(owed)} views it owes {', '.join(told[:-1])} and {told[-1]}."


def only_now(user: User, now: datetime) -> Section:
    """Windows with a view not accepted; a conservator's own, unless another role sees all."""
    today = timezone.localdate(now)
    ahead = periods(now).windows_ahead
    bared = Q(owed_view__anchor_event__finished_at__lte=now)
    soon = Q(owed_view__anchor_event__planned_on__lte=today + ahead)
    views = ViewStatus.objects.filter(bared | soon, is_only_now=True)
    if not {Role.LEAD, Role.HEAD} & set(user.roles):
        views = views.filter(owed_view__treatment__conservator=user)
    groups = list(
        views.values(
            "object_id",
            "owed_view__surface",
            "owed_view__due_on",
            "owed_view__treatment_id",
            "owed_view__anchor_event__finished_at",
        )
        .annotate(lacking=Count("pk"))
        .order_by("owed_view__due_on", "object_id")
    )
    numbers = numbers_of([group["object_id"] for group in groups[:ROWS]])
    lacking = sum(group["lacking"] for group in groups)
    return Section(
        answer=f"Only now: {count(lacking, 'view')} to be made before a surface is hidden again",
        rows=[
            Row(
                text=f"{numbers[group['object_id']]}: {group['owed_view__surface']} "
                + _span(group, today),
                href=reverse("progress:treatment", args=[group["owed_view__treatment_id"]]),
                note=f"{count(group['lacking'], 'view')} not accepted",
            )
            for group in groups[:ROWS]
        ],
        is_pressing=True,
        is_hidden=not groups,
    )


def _span(group: Mapping[str, object], today: date) -> str:
    closes = group["owed_view__due_on"]
    seen = "can be seen" if group["owed_view__anchor_event__finished_at"] else "will be bared,"
    if not isinstance(closes, date):
        return f"{seen} until a step without a date hides it"
    return f"{seen} until {closes:%-d %b %Y}, {how_long_left(closes, today)}"
