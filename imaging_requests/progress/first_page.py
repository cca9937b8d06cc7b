"""What each role wants to know on arriving: a few answers, each with the rows behind it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta

from django.db.models import Count, Min, Q
from django.urls import reverse
from django.utils import timezone

from imaging_requests.campaigns.models import Session, SessionState, ShotLineState
from imaging_requests.collection.models import Catalogue, Entry
from imaging_requests.deliverables.models import Deliverable, DeliverableState
from imaging_requests.intake.models import Frame, FrameState, Job, JobState
from imaging_requests.people.models import Role, User
from imaging_requests.progress.board import GRADE_WORDS, headline
from imaging_requests.progress.models import ViewStatus
from imaging_requests.reckoning.truth.terms import Grade, Status
from imaging_requests.requesting.models import LineState, RequestLine
from imaging_requests.requesting.words import numbers_of, view_words
from imaging_requests.treatments.models import (
    DecisionCase,
    Intervention,
    InterventionState,
    Treatment,
    TreatmentState,
)

ROWS = 8
OPEN_STATUSES = (
    Status.OPEN,
    Status.OUT_OF_DATE,
    Status.UNDECIDED,
    Status.SENT_BACK,
    Status.RECALLED,
    Status.BLOCKED,
)
DEBT = (Status.OUT_OF_DATE, Status.UNDECIDED)
SHORTLY = timedelta(days=14)


@dataclass(frozen=True)
class Row:
    """One line below an answer."""

    text: str
    href: str = ""
    note: str = ""
    status: str = ""


@dataclass(frozen=True)
class Section:
    """One answer with its rows, and what to do when there are none."""

    answer: str
    rows: list[Row] = field(default_factory=list)
    empty: str = ""
    more_label: str = ""
    more_href: str = ""
    is_pressing: bool = False


def _count(number: int, noun: str, plural: str = "") -> str:
    if number == 0:
        return f"No {noun}"
    return f"{number} {noun if number == 1 else plural or noun + 's'}"


def _day(instant: datetime | None) -> str:
    return timezone.localtime(instant).strftime("%-d %b %Y") if instant else ""


def _clock(instant: datetime) -> str:
    return timezone.localtime(instant).strftime("%a %-d %b, %H:%M")


def own_entries(user: User, now: datetime) -> Section:
    """Which of the curator's entries are not whole yet, and how much each still owes."""
    entries = Entry.objects.filter(curator=user).select_related("derived").order_by("sort_key")
    rows = [
        Row(
            text=str(entry),
            href=reverse("progress:entry", args=[entry.pk]),
            note=f"{GRADE_WORDS[Grade(entry.derived.grade)]}: {entry.derived.why}",
        )
        for entry in entries
        if hasattr(entry, "derived") and entry.derived.grade not in (Grade.FULL, Grade.FULL_WAIVED)
    ]
    verb = "is" if len(rows) == 1 else "are"
    return Section(
        answer=f"{_count(len(rows), 'entry', 'entries')} of yours {verb} not fully documented",
        rows=rows,
        empty="All entries in your charge are fully documented today.",
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
        answer=f"{_count(len(lines), 'wish', 'wishes')} of yours under way"
        if len(lines) <= ROWS
        else f"More than {ROWS} wishes of yours under way",
        rows=rows,
        empty="You have no open request.",
        more_label="File a request" if not rows else "All requests",
        more_href=reverse("requesting:request_new" if not rows else "requesting:requests"),
    )


def own_treatments(user: User, now: datetime) -> Section:
    """The conservator's treatments with the next step of each."""
    treatments = list(
        Treatment.objects.filter(
            conservator=user,
            state__in=(TreatmentState.PLANNED, TreatmentState.UNDER_WAY, TreatmentState.PAUSED),
        ).order_by("planned_from", "pk")[:ROWS]
    )
    numbers = numbers_of([treatment.object_id for treatment in treatments])
    rows = [
        Row(
            text=f"{numbers[treatment.object_id]}: {treatment}",
            href=reverse("progress:treatment", args=[treatment.pk]),
            note=f"{treatment.get_state_display().lower()}"
            + (f", from {treatment.planned_from:%-d %b %Y}" if treatment.planned_from else ""),
        )
        for treatment in treatments
    ]
    return Section(
        answer=f"{_count(len(rows), 'treatment')} of yours planned or under way",
        rows=rows,
        empty="You have no treatment planned. Open an object to plan one.",
        more_label="All treatments",
        more_href=reverse("progress:treatments"),
    )


def own_decisions(user: User, now: datetime) -> Section:
    """Questions that wait for this conservator."""
    cases = list(
        DecisionCase.objects.filter(assigned_to=user, state=DecisionCase.State.OPEN).order_by(
            "opened_at"
        )[: ROWS + 1]
    )
    numbers = numbers_of([case.object_id for case in cases])
    rows = [
        Row(
            text=f"{numbers[case.object_id]}: "
            f"{view_words(case.technique, case.face, case.variant)}",
            href=f"{reverse('progress:decisions')}#case-{case.pk}",
            note=f"proposal: {case.get_proposal_display().lower()}, "
            f"open since {_day(case.opened_at)}",
            status=Status.UNDECIDED,
        )
        for case in cases[:ROWS]
    ]
    return Section(
        answer=f"{_count(len(cases), 'older picture')} "
        f"{'waits' if len(cases) == 1 else 'wait'} for your decision",
        rows=rows,
        empty="No decision waits for you.",
        more_label="Decisions",
        more_href=reverse("progress:decisions"),
        is_pressing=bool(cases),
    )


def own_sessions(user: User, now: datetime) -> Section:
    """The photographer's next sessions with what is still to shoot."""
    sessions = (
        Session.objects.filter(
            photographer=user,
            state__in=(SessionState.CONFIRMED, SessionState.RUNNING),
            ends_at__gte=now - timedelta(hours=12),
        )
        .select_related("station", "campaign")
        .annotate(to_shoot=Count("shot_lines", filter=Q(shot_lines__state=ShotLineState.PLANNED)))
        .order_by("starts_at")[:ROWS]
    )
    rows = [
        Row(
            text=f"{_clock(session.starts_at)}, {session.station}",
            href=reverse("campaigns:session", args=[session.pk]),
            note=f"{_count(session.to_shoot, 'line')} to shoot",
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
        answer=f"{_count(len(rows), 'picture')} of yours came back",
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
                text=f"{_count(waiting['number'], 'file')} on the sorting table",
                href=reverse("intake:sorting_table"),
                note=f"oldest since {_clock(waiting['since'])}",
            )
        ]
        if waiting["number"]
        else []
    )
    return Section(
        answer="Files wait for a place" if rows else "Every file has its place",
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
            note=f"since {_day(picture.handed_in_at)}",
            status=Status.TO_REVIEW,
        )
        for picture in pictures
    ]
    return Section(
        answer=f"{_count(total, 'picture')} {'waits' if total == 1 else 'wait'} for review",
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
            + (f", wanted by {line.request.wanted_by:%-d %b}" if line.request.wanted_by else ""),
        )
        for line in first
    ]
    return Section(
        answer=f"{_count(total, 'wish', 'wishes')} "
        f"{'waits' if total == 1 else 'wait'} for your word",
        rows=rows,
        empty="Every wish has been answered.",
        more_label="Triage",
        more_href=reverse("requesting:triage"),
        is_pressing=bool(rows),
    )


def steps_ahead(user: User, now: datetime) -> Section:
    """Treatment steps planned within two weeks."""
    today: date = timezone.localdate(now)
    steps = list(
        Intervention.objects.filter(
            state=InterventionState.PLANNED,
            planned_on__isnull=False,
            planned_on__lte=today + SHORTLY,
        )
        .select_related("treatment__conservator")
        .order_by("planned_on", "treatment", "step")
    )
    first: dict[int, Intervention] = {}
    for step in steps:
        first.setdefault(step.treatment_id, step)
    numbers = numbers_of([step.object_id for step in first.values()])
    rows = [
        Row(
            text=f"{numbers[step.object_id]}: {step.treatment}",
            href=reverse("progress:treatment", args=[step.treatment_id]),
            note=f"planned for {step.planned_on:%-d %b %Y}, {step.treatment.conservator}",
        )
        for step in list(first.values())[:ROWS]
        if step.planned_on is not None
    ]
    return Section(
        answer=f"{_count(len(first), 'treatment')} "
        f"{'has' if len(first) == 1 else 'have'} a step planned within 14 days",
        rows=rows,
        empty="No treatment step is planned for the next two weeks.",
        more_label="Treatments",
        more_href=reverse("progress:treatments"),
    )


def sessions_ahead(user: User, now: datetime) -> Section:
    """All sessions of the next ten working days."""
    sessions = (
        Session.objects.filter(
            state__in=(SessionState.DRAFT, SessionState.CONFIRMED, SessionState.RUNNING),
            starts_at__gte=now - timedelta(hours=12),
            starts_at__lte=now + SHORTLY,
        )
        .select_related("station", "photographer")
        .order_by("starts_at")[:ROWS]
    )
    rows = [
        Row(
            text=f"{_clock(session.starts_at)}, {session.station}",
            href=reverse("campaigns:session", args=[session.pk]),
            note=f"{session.photographer}, {session.get_state_display().lower()}",
        )
        for session in sessions
    ]
    return Section(
        answer=f"{_count(len(rows), 'session')} in the next ten working days"
        if len(rows) < ROWS
        else f"The next {ROWS} sessions",
        rows=rows,
        empty="No session is planned for the next ten working days.",
        more_label="Campaigns",
        more_href=reverse("campaigns:campaigns"),
    )


def debt(user: User, now: datetime) -> Section:
    """What treatments have made untrue or doubtful."""
    views = (
        ViewStatus.objects.filter(status__in=DEBT, owed_view__anchor="CUR")
        .select_related("owed_view")
        .order_by("object_id", "pk")
    )
    total = views.count()
    first = list(views[:ROWS])
    numbers = numbers_of([view.object_id for view in first])
    rows = [
        Row(
            text=f"{numbers[view.object_id]}: "
            + view_words(view.owed_view.technique, view.owed_view.face, view.owed_view.variant),
            href=reverse("progress:object", args=[view.object_id]),
            note=view.why,
            status=view.status,
        )
        for view in first
    ]
    return Section(
        answer=f"{_count(total, 'picture')} no longer true, or waiting for a decision",
        rows=rows,
        empty="No treatment has made a picture untrue.",
        is_pressing=bool(rows),
    )


def lost_for_good(user: User, now: datetime) -> Section:
    """Views that can never be made again."""
    views = list(
        ViewStatus.objects.filter(status=Status.LOST)
        .select_related("owed_view")
        .order_by("object_id", "pk")[:ROWS]
    )
    numbers = numbers_of([view.object_id for view in views])
    return Section(
        answer=f"{_count(len(views), 'view')} lost for good",
        rows=[
            Row(
                text=f"{numbers[view.object_id]}: "
                + view_words(view.owed_view.technique, view.owed_view.face, view.owed_view.variant),
                href=reverse("progress:object", args=[view.object_id]),
                note=view.why,
                status=view.status,
            )
            for view in views
        ],
        empty="Nothing has been lost.",
    )


def catalogues(user: User, now: datetime) -> Section:
    """How far each catalogue is, in one line, and where all its numbers stand."""
    found = list(Catalogue.objects.order_by("title")[:ROWS])
    rows = [
        Row(
            text=catalogue.title,
            href=reverse("progress:board", args=[catalogue.pk]),
            note=headline(catalogue).sentence
            + (
                f"; pictures lock on {catalogue.image_lock_on:%-d %b %Y}"
                if catalogue.image_lock_on
                else ""
            ),
        )
        for catalogue in found
    ]
    only = found[0] if len(found) == 1 else None
    return Section(
        answer=rows[0].note if only else "How far the catalogues are",
        rows=rows,
        empty="No catalogue has been entered yet.",
        more_label="All numbers, each with its rows" if only else "All catalogues",
        more_href=reverse("progress:numbers", args=[only.pk])
        if only
        else reverse("progress:catalogues"),
    )


def failed_jobs(user: User, now: datetime) -> Section:
    """Background work that needs a person."""
    jobs = list(Job.objects.filter(state=JobState.FAILED).order_by("-ended_at")[:ROWS])
    return Section(
        answer=f"{_count(len(jobs), 'background job')} failed for good",
        rows=[Row(text=str(job), note=job.last_error) for job in jobs],
        empty="All background work is done or under way.",
        is_pressing=bool(jobs),
    )


Maker = Callable[[User, datetime], Section]

#: What each role sees, in this order; a person with two roles sees both, each section once.
SECTIONS: dict[str, tuple[Maker, ...]] = {
    Role.CURATOR: (own_entries, own_requests),
    Role.CONSERVATOR: (own_decisions, own_treatments, own_requests),
    Role.PHOTOGRAPHER: (own_sessions, came_back, unplaced),
    Role.LEAD: (review_queue, triage_queue, steps_ahead, sessions_ahead, unplaced, debt),
    Role.HEAD: (catalogues, debt, lost_for_good, steps_ahead, sessions_ahead),
    Role.KEEPER: (failed_jobs, unplaced),
}


def sections_for(user: User, now: datetime) -> list[Section]:
    """Return the answers for a person's roles."""
    makers: dict[Maker, None] = {}
    for role in Role.values:
        if role in user.roles:
            makers.update(dict.fromkeys(SECTIONS[role]))
    return [maker(user, now) for maker in makers]
