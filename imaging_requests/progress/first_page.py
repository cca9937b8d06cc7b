"""What each role wants to know on arriving: a few answers, each with the rows behind it."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime, timedelta

from django.db.models import Count, Min, Q
from django.urls import reverse

from imaging_requests.campaigns.models import Session, SessionState, ShotLineState
from imaging_requests.collection.models import Entry
from imaging_requests.deliverables.models import Deliverable, DeliverableState
from imaging_requests.intake.models import Frame, FrameState
from imaging_requests.people.models import Role, User
from imaging_requests.progress.answers import ROWS, Row, Section, clock, count, day
from imaging_requests.progress.board import GRADE_WORDS
from imaging_requests.progress.board_reads import catalogues_with_numbers, totals_of
from imaging_requests.progress.emergencies import emergencies_owed
from imaging_requests.progress.first_page_files import all_awaited, own_awaited
from imaging_requests.progress.first_page_keeping import (
    accounts,
    failed_jobs,
    kept_refused,
    lost_masters,
    missing_places,
    overdue_proofs,
    waiting_drops,
)
from imaging_requests.progress.first_page_treatments import (
    debt,
    lost_for_good,
    own_decisions,
    own_treatments,
    proposed_times,
    steps_ahead,
)
from imaging_requests.progress.preferred_part import preferred_now
from imaging_requests.progress.windows_part import only_now
from imaging_requests.protocols.queries import periods
from imaging_requests.reckoning.truth.terms import Grade, Status
from imaging_requests.requesting.models import LineState, RequestLine
from imaging_requests.requesting.words import numbers_of, view_words

#: A session counts as the next one until this long after its end; then somebody must close it.
A_WHILE = timedelta(hours=12)
#: How many of a curator's entries the first page lists.
ENTRIES = 40


def own_entries(user: User, now: datetime) -> Section:
    """Which of the curator's entries are not whole yet, and how much each still owes."""
    entries = Entry.objects.filter(curator=user, derived__isnull=False).exclude(
        derived__grade__in=(Grade.FULL, Grade.FULL_WAIVED)
    )
    number = entries.count()
    rows = [
        Row(
            text=str(entry),
            href=reverse("progress:entry", args=[entry.pk]),
            note=f"{GRADE_WORDS[Grade(entry.derived.grade)]}: {entry.derived.why}",
        )
        for entry in entries.select_related("derived").order_by("sort_key", "pk")[:ENTRIES]
    ]
    verb = "is" if number <= 1 else "are"
    return Section(
        answer=f"{count(number, 'entry', 'entries')} of yours {verb} not fully documented",
        rows=rows,
        empty="All entries in your charge are fully documented today.",
        more_label="" if number <= ENTRIES else "All catalogues",
        more_href="" if number <= ENTRIES else reverse("progress:catalogues"),
    )


def own_requests(user: User, now: datetime) -> Section:
    """Where the person's own wishes stand."""
    lines = list(
        RequestLine.objects.filter(
            request__requester=user, state__in=(LineState.SUBMITTED, LineState.AGREED)
        )
        .select_related("request", "object")
        .order_by("promised_on", "request__filed_at")[: ROWS + 1]
    )
    numbers = numbers_of([line.object_id for line in lines])
    rows = [
        Row(
            text=f"{numbers[line.object_id]}: "
            f"{view_words(line.technique, line.face, line.variant)}",
            href=reverse("requesting:request", args=[line.request_id]),
            note=f"promised for {line.promised_on:%-d %b %Y}"
            if line.promised_on
            else line.get_state_display().lower(),
        )
        for line in lines[:ROWS]
    ]
    return Section(
        answer=f"{count(len(lines), 'wish', 'wishes')} of yours under way"
        if len(lines) <= ROWS
        else f"More than {ROWS} wishes of yours under way",
        rows=rows,
        empty="You have no open request.",
        more_label="File a request" if not rows else "All requests",
        more_href=reverse("requesting:request_new" if not rows else "requesting:requests"),
    )


def own_sessions(user: User, now: datetime) -> Section:
    """The photographer's next sessions with what is still to shoot."""
    sessions = (
        Session.objects.filter(
            photographer=user,
            state__in=(SessionState.CONFIRMED, SessionState.RUNNING),
            ends_at__gte=now - A_WHILE,
        )
        .select_related("station", "campaign")
        .annotate(to_shoot=Count("shot_lines", filter=Q(shot_lines__state=ShotLineState.PLANNED)))
        .order_by("starts_at")[:ROWS]
    )
    rows = [
        Row(
            text=f"{clock(session.starts_at)}, {session.station}",
            href=reverse("campaigns:session", args=[session.pk]),
            note=f"{count(session.to_shoot, 'line')} to shoot",
        )
        for session in sessions
    ]
    return Section(
        answer=f"Next: {rows[0].text}" if rows else "No session of yours is confirmed",
        rows=rows,
        empty="The imaging lead confirms sessions; yours will be listed here.",
        more_label="Today's shot list",
        more_href=reverse("campaigns:shot_list"),
    )


def _left_open(user: User, now: datetime, *, own: bool) -> Section:
    sessions = Session.objects.filter(
        state__in=(SessionState.CONFIRMED, SessionState.RUNNING), ends_at__lt=now - A_WHILE
    )
    if own:
        sessions = sessions.filter(photographer=user)
    total = sessions.count()
    first = (
        sessions.select_related("station", "photographer")
        .annotate(to_shoot=Count("shot_lines", filter=Q(shot_lines__state=ShotLineState.PLANNED)))
        .order_by("starts_at")[:ROWS]
    )
    rows = [
        Row(
            text=f"{clock(session.starts_at)}, {session.station}",
            href=reverse("campaigns:session", args=[session.pk]),
            note=f"{session.photographer}, {count(session.to_shoot, 'line')} to shoot",
        )
        for session in first
    ]
    return Section(
        answer=f"{count(total, 'session')} {'is' if total <= 1 else 'are'} over and not closed",
        rows=rows,
        empty="Every session that is over has been closed.",
        is_pressing=bool(rows),
    )


def own_left_open(user: User, now: datetime) -> Section:
    """The photographer's sessions whose time is over and that nobody closed."""
    return _left_open(user, now, own=True)


def left_open(user: User, now: datetime) -> Section:
    """All sessions whose time is over and that nobody closed."""
    return _left_open(user, now, own=False)


def came_back(user: User, now: datetime) -> Section:
    """Pictures of this photographer that were sent back, with the words of why."""
    pictures = list(
        Deliverable.objects.filter(photographer=user, state=DeliverableState.SENT_BACK)
        .prefetch_related("reviews")
        .order_by("-captured_at")[:ROWS]
    )
    numbers = numbers_of([picture.object_id for picture in pictures])
    rows = []
    for picture in pictures:
        reviews = list(picture.reviews.all())
        rows.append(
            Row(
                text=f"{numbers[picture.object_id]}: "
                f"{view_words(picture.technique, picture.face, picture.variant)}",
                href=reverse("deliverables:review", args=[picture.pk]),
                note=reviews[-1].note if reviews else "",
                status=Status.SENT_BACK,
            )
        )
    return Section(
        answer=f"{count(len(rows), 'picture')} of yours came back",
        rows=rows,
        empty="Nothing of yours was sent back.",
        is_pressing=bool(rows),
    )


def unplaced(user: User, now: datetime) -> Section:
    """Frames the program would not guess about."""
    waiting = Frame.objects.filter(state=FrameState.WAITING).aggregate(
        number=Count("pk"), since=Min("received_at")
    )
    rows = (
        [
            Row(
                text="On the sorting table",
                href=reverse("intake:sorting_table"),
                note=f"the oldest since {clock(waiting['since'])}",
            )
        ]
        if waiting["number"]
        else []
    )
    return Section(
        answer=f"{count(waiting['number'], 'file')} "
        f"{'waits' if waiting['number'] == 1 else 'wait'} for a place"
        if rows
        else "Every file has its place",
        rows=rows,
        empty="The sorting table is empty.",
        is_pressing=bool(rows),
    )


def review_queue(user: User, now: datetime) -> Section:
    """What waits for review, the oldest first."""
    queue = Deliverable.objects.filter(state=DeliverableState.TO_REVIEW)
    total = queue.count()
    pictures = list(queue.order_by("handed_in_at")[:ROWS])
    numbers = numbers_of([picture.object_id for picture in pictures])
    rows = [
        Row(
            text=f"{numbers[picture.object_id]}: "
            f"{view_words(picture.technique, picture.face, picture.variant)}",
            href=reverse("deliverables:review", args=[picture.pk]),
            note=f"since {day(picture.handed_in_at)}",
            status=Status.TO_REVIEW,
        )
        for picture in pictures
    ]
    return Section(
        answer=f"{count(total, 'picture')} {'waits' if total <= 1 else 'wait'} for review",
        rows=rows,
        empty="Nothing waits for review.",
        more_label="Review",
        more_href=reverse("deliverables:reviews"),
        is_pressing=bool(rows),
    )


def triage_queue(user: User, now: datetime) -> Section:
    """Wishes that wait for the lead's word."""
    lines = RequestLine.objects.filter(state=LineState.SUBMITTED)
    total = lines.count()
    first = list(lines.select_related("request__requester").order_by("request__filed_at")[:ROWS])
    numbers = numbers_of([line.object_id for line in first])
    rows = [
        Row(
            text=f"{numbers[line.object_id]}: "
            f"{view_words(line.technique, line.face, line.variant)}",
            href=reverse("requesting:request", args=[line.request_id]),
            note=f"{line.request.requester}, {line.request.get_purpose_display().lower()}"
            + (f", wanted by {line.request.wanted_by:%-d %b %Y}" if line.request.wanted_by else ""),
        )
        for line in first
    ]
    return Section(
        answer=f"{count(total, 'wish', 'wishes')} "
        f"{'waits' if total <= 1 else 'wait'} for your word",
        rows=rows,
        empty="Every wish has been answered.",
        more_label="Triage",
        more_href=reverse("requesting:triage"),
        is_pressing=bool(rows),
    )


def sessions_ahead(user: User, now: datetime) -> Section:
    """All sessions that are near, as far ahead as the studio looks."""
    ahead = periods(now).sessions_ahead
    sessions = (
        Session.objects.filter(
            state__in=(SessionState.DRAFT, SessionState.CONFIRMED, SessionState.RUNNING),
            ends_at__gte=now - A_WHILE,
            starts_at__lte=now + ahead,
        )
        .select_related("station", "photographer")
        .order_by("starts_at")[:ROWS]
    )
    rows = [
        Row(
            text=f"{clock(session.starts_at)}, {session.station}",
            href=reverse("campaigns:session", args=[session.pk]),
            note=f"{session.photographer}, {session.get_state_display().lower()}",
        )
        for session in sessions
    ]
    return Section(
        answer=f"{count(len(rows), 'session')} in the next {ahead.days} days"
        if len(rows) < ROWS
        else f"The next {ROWS} sessions",
        rows=rows,
        empty="No session is planned for the next ten working days.",
        more_label="Campaigns",
        more_href=reverse("campaigns:campaigns"),
    )


def catalogues(user: User, now: datetime) -> Section:
    """How far each catalogue is, in one line, and where all its numbers stand."""
    found = list(catalogues_with_numbers().order_by("title")[:ROWS])
    locks = {
        catalogue.pk: f"pictures lock on {catalogue.image_lock_on:%-d %b %Y}"
        for catalogue in found
        if catalogue.image_lock_on
    }
    only = found[0] if len(found) == 1 else None
    rows = [
        Row(
            text=catalogue.title,
            href=reverse("progress:board", args=[catalogue.pk]),
            note="; ".join(
                words
                for words in (
                    "" if only else totals_of(catalogue).sentence,
                    locks.get(catalogue.pk, ""),
                )
                if words
            ),
        )
        for catalogue in found
    ]
    return Section(
        answer=totals_of(only).sentence if only else "How far the catalogues are",
        rows=rows,
        is_headline=True,
        empty="No catalogue has been entered yet.",
        more_label="All numbers, each with its rows" if only else "All catalogues",
        more_href=reverse("progress:numbers", args=[only.pk])
        if only
        else reverse("progress:catalogues"),
    )


Maker = Callable[[User, datetime], Section]

#: What each role sees, in this order; a person with two roles sees both, each section once.
SECTIONS: dict[str, tuple[Maker, ...]] = {
    Role.CURATOR: (own_entries, own_requests),
    Role.CONSERVATOR: (
        only_now,
        preferred_now,
        emergencies_owed,
        own_treatments,
        own_decisions,
        own_requests,
    ),
    Role.PHOTOGRAPHER: (own_sessions, came_back, own_awaited, own_left_open, unplaced),
    Role.LEAD: (
        only_now,
        preferred_now,
        emergencies_owed,
        review_queue,
        triage_queue,
        proposed_times,
        steps_ahead,
        sessions_ahead,
        all_awaited,
        left_open,
        unplaced,
        debt,
    ),
    Role.HEAD: (
        catalogues,
        only_now,
        emergencies_owed,
        debt,
        lost_for_good,
        steps_ahead,
        sessions_ahead,
    ),
    Role.KEEPER: (
        missing_places,
        lost_masters,
        failed_jobs,
        waiting_drops,
        overdue_proofs,
        kept_refused,
        accounts,
    ),
}


def sections_for(user: User, now: datetime) -> list[Section]:
    """Return the answers for a person's roles; those with nothing to do come last."""
    makers: dict[Maker, None] = {}
    for role in Role.values:
        if role in user.roles:
            makers.update(dict.fromkeys(SECTIONS[role]))
    shown = [made for maker in makers if not (made := maker(user, now)).is_hidden]
    return sorted(shown, key=lambda section: not section.rows)
