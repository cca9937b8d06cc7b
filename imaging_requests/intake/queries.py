"""Reads of the intake: drops and how they stand, the sorting table, pictures, waiting work."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

from django.db.models import Case, Count, Exists, Min, OuterRef, Prefetch, Q, QuerySet, Value, When
from django.utils import timezone

from imaging_requests.campaigns.models import Session, SessionState, ShotLine
from imaging_requests.collection.models import ObjectNumber
from imaging_requests.intake import store
from imaging_requests.intake.actions.layout import ANSWERED, SORT, is_restless
from imaging_requests.intake.jobs import KINDS
from imaging_requests.intake.layout import Spot
from imaging_requests.intake.limits import file_checks, recipe
from imaging_requests.intake.models import (
    Arrival,
    ArrivalState,
    CameraClock,
    Copy,
    Derivative,
    Drop,
    FileCheck,
    Frame,
    FrameRole,
    FrameState,
    Job,
    JobState,
    SortingStep,
)
from imaging_requests.intake.rules import UNDER_WAY, DropCount
from imaging_requests.intake.sheets import RECOGNITION, WHOLE, LineSheet, line_sheets, spot_of
from imaging_requests.intake.words import gap_words, name_order
from imaging_requests.people.models import AuditEvent

NO_TIME = datetime.min.replace(tzinfo=UTC)
#: Events that say where a frame lies from then on.
MOVES = ("intake.frame_placed", "intake.frame_set_aside", "intake.frame_taken_back")
#: What a received file lacks: every good copy, or one of both.
LOST, ONE_COPY = "lost", "one copy"
STALLED_AFTER = timedelta(minutes=1)
STANDSTILL_AFTER = timedelta(seconds=60)
OPEN_SESSIONS = (SessionState.CONFIRMED, SessionState.RUNNING)


def drops() -> QuerySet[Drop]:
    """Every drop, newest first, with how many files it has and how many need a person."""
    answered = Q(arrivals__state__in=ANSWERED)
    return (
        drops_with_names()
        .annotate(
            files=Count(
                "arrivals", filter=~Q(arrivals__state=ArrivalState.GIVEN_UP), distinct=True
            ),
            under_way=Count("arrivals", filter=Q(arrivals__state__in=UNDER_WAY), distinct=True),
            refused=Count(
                "arrivals", filter=Q(arrivals__state=ArrivalState.REFUSED), distinct=True
            ),
            placed=Count(
                "arrivals",
                filter=answered & Q(arrivals__frame__state=FrameState.PLACED),
                distinct=True,
            ),
            waiting=Count(
                "arrivals",
                filter=answered & Q(arrivals__frame__state=FrameState.WAITING),
                distinct=True,
            ),
        )
        .order_by("-opened_at", "-pk")
    )


def drops_with_names() -> QuerySet[Drop]:
    """Drops with what saying their origin needs: who, session, and the names of their line."""
    numbers = ObjectNumber.objects.filter(in_force_to=None)
    return Drop.objects.select_related(
        "brought_by", "session__station", "shot_line__object"
    ).prefetch_related(
        Prefetch("shot_line__object__numbers", queryset=numbers, to_attr="numbers_in_force")
    )


def frames_of(drop_id: int) -> QuerySet[Frame]:
    """The frames that came in a drop, new or known already."""
    return Frame.objects.filter(
        pk__in=Arrival.objects.filter(drop=drop_id, state__in=ANSWERED).values("frame")
    )


def waiting_of(drop: Drop) -> tuple[int, int]:
    """How many frames of a drop lie on the sorting table, and how many of them fit no line."""
    found = (
        frames_of(drop.pk)
        .filter(state=FrameState.WAITING)
        .aggregate(all=Count("pk"), without=Count("pk", filter=Q(proposal=[])))
    )
    return found["all"], 0 if drop.shot_line_id is not None else found["without"]


def of_another_object(drop_id: int) -> int:
    """How many frames of a drop show another object than that of their shot line, by their look."""
    failed = FileCheck.objects.filter(rule=RECOGNITION, verdict=FileCheck.Verdict.FAIL)
    return failed.filter(frame__in=frames_of(drop_id)).values("frame").distinct().count()


def count_of(drop_id: int) -> DropCount:
    """How the files of a drop stand, for the sentence about the card.

    A frame that is not whole holds the card up, set aside or not, until its file was copied again:
    with the same bytes, for then the card has no better ones, or as a whole file of its name.
    """
    found = Arrival.objects.filter(drop=drop_id).aggregate(
        offered=Count("pk", filter=~Q(state=ArrivalState.GIVEN_UP)),
        under_way=Count("pk", filter=Q(state__in=UNDER_WAY)),
        refused=Count("pk", filter=Q(state=ArrivalState.REFUSED)),
    )
    proven = _in_all_places(_good_copies("pk"))
    frames = frames_of(drop_id)
    is_spare = Q(state=FrameState.SET_ASIDE) & _copied_again(drop_id)
    broken = frames.filter(_is_broken("pk")).aggregate(
        all=Count("pk"), spare=Count("pk", filter=is_spare)
    )
    return DropCount(
        **found,
        unproven=(frames if store.are_one_folder() else frames.exclude(proven)).count(),
        unread=frames.filter(read_at=None).count(),
        broken=broken["all"] - broken["spare"],
        spare_broken=broken["spare"],
    )


def _is_broken(frame: str) -> Exists:
    failed = FileCheck.objects.filter(
        frame=OuterRef(frame),
        rule=WHOLE,
        rule_version=file_checks().version,
        verdict=FileCheck.Verdict.FAIL,
    )
    return Exists(failed)


def _copied_again(drop_id: int) -> Q:
    """Whether the file of a frame came again: the same bytes anywhere, or whole in the drop."""
    same = Arrival.objects.filter(frame=OuterRef("pk"), state=ArrivalState.ALREADY_HERE)
    whole = Arrival.objects.filter(
        ~_is_broken("frame"),
        drop=drop_id,
        name=OuterRef("first_name"),
        state__in=ANSWERED,
        frame__read_at__isnull=False,
    ).exclude(frame=OuterRef("pk"))
    return Q(Exists(same)) | Q(Exists(whole))


def _good_copies(frame: str) -> QuerySet[Copy]:
    """Copies of the frame of an outer row that matched when they were last read."""
    return Copy.objects.filter(frame=OuterRef(frame), is_good=True, verified_at__isnull=False)


def _in_all_places(good: QuerySet[Copy]) -> Q:
    return Q(*[Exists(good.filter(place=place)) for place in store.PLACES])


@dataclass(frozen=True, slots=True)
class LineProgress:
    """How far the frames of one shot line have come.

    `waiting` frames are likely to fill a place of the line; `loose` ones were brought for it, or
    are like its others, and it is not known what they fill.
    """

    sheet: LineSheet
    placed: int
    waiting: int
    gaps: tuple[str, ...]
    loose: int = 0

    @property
    def to_sort(self) -> int:
        """How many frames of the line lie on the sorting table."""
        return self.waiting + self.loose

    @property
    def expected(self) -> int:
        """How many frames the line asks for."""
        return len(self.sheet.expected)

    @property
    def is_complete(self) -> bool:
        """Whether every place of the line has its frame."""
        return self.placed >= self.expected

    @property
    def sentence(self) -> str:
        """What is missing, in words; likely places of waiting frames count as filled."""
        if self.is_complete:
            return "complete"
        if not self.gaps:
            return f"complete once the {_frames(self.waiting)} on the sorting table are placed"
        words = "; ".join(self.gaps)
        if not self.to_sort:
            return words
        if not self.placed + self.waiting:
            words = "nothing is placed yet"
        return f"{words} (as far as the files tell; {_frames(self.to_sort)} on the sorting table)"


def _frames(number: int) -> str:
    return "1 frame" if number == 1 else f"{number} frames"


def progress_by_line(lines: QuerySet[ShotLine]) -> list[LineProgress]:
    """Expected minus received, line by line; frames on the sorting table count as likely."""
    sheets = line_sheets(lines)
    line_ids = [sheet.line_id for sheet in sheets]
    likely, brought = _likely_spots(line_ids), _without_proposal(line_ids)
    progress = []
    for sheet in sheets:
        proposed = likely.get(sheet.line_id, [])
        waiting = [spot for spot in proposed if spot not in sheet.taken]
        loose = len(proposed) - len(waiting) + brought.get(sheet.line_id, 0)
        filled = {*sheet.taken, *waiting}
        gaps = tuple(gap_words(sheet.expected, filled, sheet.grid))
        progress.append(LineProgress(sheet, len(sheet.taken), len(waiting), gaps, loose))
    return progress


def placed_on_lines(line_ids: Collection[int]) -> dict[int, int]:
    """Count the views that lie on each of some lines; one query."""
    frames = Frame.objects.filter(
        shot_line__in=line_ids, state=FrameState.PLACED, role=FrameRole.VIEW
    )
    counted = frames.order_by().values("shot_line").annotate(number=Count("pk"))
    return dict(counted.values_list("shot_line", "number"))


def _without_proposal(line_ids: Sequence[int]) -> dict[int, int]:
    """Count the waiting frames without any likely place, by the line they were brought for."""
    brought = Frame.objects.filter(
        state=FrameState.WAITING, proposal=[], arrivals__drop__shot_line__in=line_ids
    )
    counted = brought.values("arrivals__drop__shot_line").annotate(
        frames=Count("pk", distinct=True)
    )
    return dict(counted.values_list("arrivals__drop__shot_line", "frames"))


def _likely_spots(line_ids: Sequence[int]) -> dict[int, list[Spot]]:
    """Return the first proposed place of each waiting frame, by line."""
    likely: dict[int, list[Spot]] = {}
    waiting = Frame.objects.filter(state=FrameState.WAITING).exclude(proposal=[])
    sessions = ShotLine.objects.filter(pk__in=line_ids).values("session")
    in_play = waiting.filter(arrivals__drop__session__in=sessions).distinct()
    for proposal in in_play.values_list("proposal", flat=True):
        spot = spot_of_proposal(proposal[0])
        if spot.line_id in line_ids:
            likely.setdefault(spot.line_id, []).append(spot)
    return likely


def spot_of_proposal(proposal: dict[str, object]) -> Spot:
    """Return the place that a stored proposal names."""
    return Spot(
        line_id=int(str(proposal["line"])),
        tile_y=int(str(proposal["tile_y"])),
        tile_x=int(str(proposal["tile_x"])),
        focus_slice=int(str(proposal["focus_slice"])),
        ev=float(str(proposal["ev"])),
    )


def lines_of(drop: Drop) -> QuerySet[ShotLine]:
    """The shot lines that a drop is for, in the order of the list."""
    if drop.shot_line_id is not None:
        return ShotLine.objects.filter(pk=drop.shot_line_id)
    return ShotLine.objects.filter(session=drop.session_id).order_by("position")


def arrivals_of(drop_id: int) -> QuerySet[Arrival]:
    """The files of a drop with their frames: what needs a person first, then in order.

    Lost files come first, then refused ones, then those with one good copy and those that failed a
    check and may have to be shot again while the object is there, then those that only wait for
    their place. `lack` says which copies do not match any more.
    """
    failed = FileCheck.objects.filter(frame=OuterRef("frame"), verdict=FileCheck.Verdict.FAIL)
    good = _good_copies("frame")
    is_stored = Exists(Copy.objects.filter(frame=OuterRef("frame")))
    is_lost = is_stored & ~Exists(good)
    return (
        Arrival.objects.filter(drop=drop_id)
        .annotate(
            lack=Case(
                When(is_lost, then=Value(LOST)),
                When(is_stored & ~_in_all_places(good), then=Value(ONE_COPY)),
                default=Value(""),
            ),
            urgency=Case(
                When(lack=LOST, then=0),
                When(state=ArrivalState.REFUSED, then=1),
                When(lack=ONE_COPY, then=2),
                When(Exists(failed), then=2),
                When(frame__state=FrameState.WAITING, then=3),
                default=4,
            ),
        )
        .select_related("frame__shot_line")
        .prefetch_related(
            Prefetch("frame__checks", queryset=FileCheck.objects.order_by("rule")),
            thumbnails("frame__derivatives"),
        )
        .order_by("urgency", "pk")
    )


def thumbnails(path: str) -> Prefetch[str]:
    """Prefetch the small picture of frames as `small`."""
    return Prefetch(path, queryset=Derivative.objects.filter(kind="256"), to_attr="small")


def is_final(drop_id: int) -> bool:
    """Whether nothing about a drop will change by itself any more."""
    if is_restless(drop_id):
        return False
    return not Job.objects.filter(
        kind=SORT, subject_id=drop_id, state__in=(JobState.DUE, JobState.CLAIMED)
    ).exists()


def is_stalled(drop_id: int, *, now: datetime | None = None) -> bool:
    """Whether the only thing to wait for are uploads that have stopped."""
    now = now or timezone.now()
    moving = Q(state=ArrivalState.ARRIVING, touched_at__gte=now - STALLED_AFTER)
    working = Q(state=ArrivalState.RECEIVED)
    return not Arrival.objects.filter(moving | working, drop=drop_id).exists()


def standstill(*, now: datetime | None = None) -> tuple[int, datetime] | None:
    """Return how many jobs are due and since when, if no worker has taken any for a while."""
    now = now or timezone.now()
    due = Job.objects.filter(state=JobState.DUE, due_at__lte=now, kind__in=list(KINDS))
    if Job.objects.filter(state=JobState.CLAIMED, claimed_until__gte=now).exists():
        return None
    found = due.aggregate(number=Count("pk"), since=Min("due_at"))
    if not found["number"] or found["since"] > now - STANDSTILL_AFTER:
        return None
    return found["number"], found["since"]


def failed_jobs(*, drop_id: int | None = None) -> QuerySet[Job]:
    """Work that was given up and waits for a person; of one drop, or all."""
    failed = Job.objects.filter(state=JobState.FAILED)
    if drop_id is None:
        return failed.order_by("-ended_at")
    return failed.filter(work_of(drop_id))


def why_held_up(arrival_ids: Collection[int]) -> dict[int, str]:
    """Return what was last in the way of receiving files that have no answer yet."""
    held = Job.objects.filter(
        kind="receive",
        subject_id__in=arrival_ids,
        state__in=(JobState.DUE, JobState.CLAIMED),
    )
    return dict(held.exclude(last_error="").values_list("subject_id", "last_error"))


def work_of(drop_id: int) -> Q:
    """The jobs that work for a drop."""
    of_arrivals = Q(
        kind="receive", subject_id__in=Arrival.objects.filter(drop=drop_id).values("pk")
    )
    of_frames = Q(kind="derive", subject_id__in=frames_of(drop_id).values("pk"))
    return of_arrivals | of_frames | Q(kind=SORT, subject_id=drop_id)


def drops_of_jobs(jobs: Sequence[Job]) -> dict[int, int]:
    """The drop that each job works for, by the job's key; work of other rooms has none."""
    by_kind: dict[str, dict[int, int]] = {
        "receive": dict(
            Arrival.objects.filter(
                pk__in=[job.subject_id for job in jobs if job.kind == "receive"]
            ).values_list("pk", "drop")
        ),
        "derive": dict(
            Arrival.objects.filter(
                frame__in=[job.subject_id for job in jobs if job.kind == "derive"]
            )
            .order_by("-pk")
            .values_list("frame", "drop")
        ),
        SORT: {job.subject_id: job.subject_id for job in jobs if job.kind == SORT},
    }
    found = {job.pk: by_kind.get(job.kind, {}).get(job.subject_id) for job in jobs}
    return {pk: drop for pk, drop in found.items() if drop is not None}


def frames_without_pictures(folder: Path, *, everything: bool = False) -> list[int]:
    """Return frames that were read once and whose pictures are missing or of another recipe.

    `folder` is where derived files lie. Frames whose pixels cannot be read have no pictures and
    are left out, unless `everything` is wanted.
    """
    if everything:
        return list(Frame.objects.order_by("pk").values_list("pk", flat=True))
    wanted: list[int] = []
    last, is_there = 0, True
    rows = Derivative.objects.order_by("frame").values_list(
        "frame", "frame__sha256", "recipe", "path"
    )
    for frame_id, sha256, key, path in rows.iterator(chunk_size=2_000):
        if frame_id != last:
            last, is_there = frame_id, True
        if is_there and (key != recipe().key(sha256) or not (folder / path).is_file()):
            is_there = False
            wanted.append(frame_id)
    return wanted


def waiting_frames() -> QuerySet[Frame]:
    """The sorting table: frames that wait for a person."""
    return Frame.objects.filter(state=FrameState.WAITING).order_by("pk")


def in_order_of_table(frames: QuerySet[Frame]) -> list[int]:
    """Return frames in the order of the sorting table: the oldest drop first, then by time.

    Frames that do not say when they were taken, and those of one instant, follow their names as a
    camera counts them up: files arrive several at once, so the order of arrival says nothing.
    """
    rows = frames.annotate(first_drop=Min("arrivals__drop")).values_list(
        "pk", "first_drop", "captured_at", "first_name"
    )
    keyed = (
        (drop or 0, at is None, at or NO_TIME, name_order(name), pk) for pk, drop, at, name in rows
    )
    return [key[-1] for key in sorted(keyed)]


def rows_of_table(frame_ids: Sequence[int]) -> list[Frame]:
    """Return frames in the order given, with what rows of the sorting table show."""
    found = (
        Frame.objects.filter(pk__in=frame_ids)
        .select_related("shot_line")
        .prefetch_related(
            "checks",
            thumbnails("derivatives"),
            Prefetch("arrivals", queryset=Arrival.objects.select_related("drop__session__station")),
        )
        .in_bulk()
    )
    return [found[pk] for pk in frame_ids if pk in found]


def last_moves(frame_ids: Collection[int]) -> dict[int, AuditEvent]:
    """Return the event with which each frame came to where it is now."""
    events = AuditEvent.objects.filter(
        subject_type=Frame._meta.label_lower,
        subject_id__in=[str(pk) for pk in frame_ids],
        code__in=MOVES,
    )
    return {int(event.subject_id): event for event in events.select_related("actor").order_by("pk")}


def recent_steps() -> QuerySet[SortingStep]:
    """What people did at the sorting table and may still be undone, newest first."""
    return SortingStep.objects.filter(undone_at=None).select_related("done_by")


def clocks_of(drop_id: int) -> QuerySet[CameraClock]:
    """The clocks of the cameras of a drop."""
    return CameraClock.objects.filter(drop=drop_id).select_related("decided_by")


def proposed_clocks() -> QuerySet[CameraClock]:
    """Clocks that a person is asked about."""
    proposed = CameraClock.objects.filter(state=CameraClock.State.PROPOSED)
    return proposed.select_related("drop").order_by("found_at", "pk")


def refused_files(drop_number: str = "") -> QuerySet[Arrival]:
    """Files that gave no picture and that nobody has dealt with yet, newest drop first."""
    refused = Arrival.objects.filter(state=ArrivalState.REFUSED).select_related("drop")
    if drop_number:
        refused = refused.filter(drop__number=drop_number)
    return refused.order_by("-drop", "pk")


def spare_frames() -> QuerySet[Frame]:
    """Frames set aside as spares, newest first."""
    return Frame.objects.filter(state=FrameState.SET_ASIDE).order_by("-pk")


def open_sessions() -> QuerySet[Session]:
    """Sessions that a drop may be for, the latest first."""
    return (
        Session.objects.exclude(state__in=(SessionState.DRAFT, SessionState.CANCELLED))
        .select_related("station")
        .order_by("-starts_at")
    )


def picture(frame_id: int, kind: str) -> Derivative | None:
    """Return the newest derived picture of a kind."""
    return (
        Derivative.objects.filter(frame=frame_id, kind=kind)
        .select_related("frame")
        .order_by("-made_at")
        .first()
    )


def placed_spot_words(frame: Frame, sheets: dict[int, LineSheet]) -> str:
    """Say where a frame lies."""
    sheet = sheets.get(frame.shot_line_id or 0)
    if sheet is None:
        return ""
    if frame.role != FrameRole.VIEW:
        return f"{frame.get_role_display().lower()} of {sheet.words}"
    return f"{sheet.spot_words(spot_of(frame))} of {sheet.words}"
