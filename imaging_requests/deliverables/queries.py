"""Reads of pictures: what frames make, what was decided before, what waits for review."""

from __future__ import annotations

import uuid
from collections import Counter
from collections.abc import Collection, Iterable
from datetime import datetime

from django.db.models import Count, Exists, F, Max, OuterRef, Prefetch, Q, QuerySet
from django.urls import reverse

from imaging_requests.campaigns.models import ShotLine
from imaging_requests.collection.models import Entry, ObjectNumber
from imaging_requests.deliverables.composing import Composition, Placed, compose
from imaging_requests.deliverables.models import (
    Deliverable,
    DeliverableFrame,
    DeliverableState,
    LoneWorker,
    Package,
    Review,
)
from imaging_requests.deliverables.rules import ReviewNumbers, review_numbers
from imaging_requests.intake.limits import placing_limits
from imaging_requests.intake.models import (
    Copy,
    FileCheck,
    Frame,
    FrameRole,
    FrameState,
    Job,
    JobState,
)
from imaging_requests.intake.sheets import RECOGNITION, exif_of, expected_spots, grid_of
from imaging_requests.people.clock import studio_time
from imaging_requests.people.models import AuditEvent
from imaging_requests.protocols.queries import studio_settings_in_force
from imaging_requests.requesting.models import Anchor, OwedView
from imaging_requests.requesting.words import as_of_words
from imaging_requests.treatments.models import Incident, Intervention

Verdict = FileCheck.Verdict
#: The kind of work that measures the newest picture of a shot line.
MEASURE = "measure"
REGISTER = "register"


def numbers(at: datetime) -> ReviewNumbers:
    """Return what the studio's settings in force say about reviews and filing."""
    return review_numbers(studio_settings_in_force(at))


def locked_line(line_id: int) -> ShotLine:
    """Lock a shot line: the row that keeps two assemblies of one picture apart."""
    return (
        ShotLine.objects.select_for_update(of=("self",))
        .select_related("session", "object")
        .get(pk=line_id)
    )


def composition_of(line: ShotLine) -> Composition:
    """Return what the frames placed on a line make now."""
    limits = placing_limits()
    frames = Frame.objects.filter(
        shot_line=line, state=FrameState.PLACED, role=FrameRole.VIEW
    ).order_by("pk")
    return compose(
        expected_spots(line),
        grid_of(line),
        [_placed(frame) for frame in frames],
        tolerance_ev=limits.tolerance_ev,
        span_min=limits.bracket_span_min(line.technique),
    )


def _placed(frame: Frame) -> Placed:
    exif = exif_of(frame)
    return Placed(
        frame_id=frame.pk,
        tile_x=frame.tile_x,
        tile_y=frame.tile_y,
        focus_slice=frame.focus_slice,
        ev=frame.ev,
        captured_at=frame.captured_at,
        f_number=None if exif is None else exif.f_number,
        iso=None if exif is None else exif.iso,
    )


def fingerprint_of(row: Deliverable) -> frozenset[tuple[int, int, int, int, float]]:
    """Return which frame sits where in a version, as `Composition.fingerprint` does."""
    return frozenset(
        DeliverableFrame.objects.filter(deliverable=row).values_list(
            "frame_id", "tile_x", "tile_y", "focus_slice", "ev"
        )
    )


def newest_of_line(line_id: int) -> Deliverable | None:
    """Return the version that was begun last from a line."""
    return Deliverable.objects.filter(shot_line=line_id).order_by("-created_at", "-pk").first()


def without_picture(lines: QuerySet[ShotLine]) -> QuerySet[ShotLine]:
    """Narrow lines to those of which no picture was begun."""
    return lines.filter(~Exists(Deliverable.objects.filter(shot_line=OuterRef("pk"))))


def _same_target(shot: ShotLine | Deliverable) -> Q:
    """Match pictures of the same surface of the same object in the same way, detail included."""
    detail = Q(detail_mm__isnull=True) if shot.detail_mm is None else Q(detail_mm=shot.detail_mm)
    return detail & Q(
        object_id=shot.object_id,
        surface=shot.surface,
        technique=shot.technique,
        variant=shot.variant,
    )


def newest_for_same_views(line: ShotLine) -> Deliverable | None:
    """Return the newest version made for the same target: same line, or a view in common."""
    return (
        Deliverable.objects.filter(_same_target(line))
        .filter(Q(shot_line=line) | Q(shot_line__owed_views__in=line.owed_views.values("pk")))
        .order_by("-created_at", "-pk")
        .first()
    )


def next_version(chain: uuid.UUID) -> int:
    """Return the number after the highest version of a chain."""
    last = Deliverable.objects.filter(chain=chain).aggregate(last=Max("version"))["last"]
    return (last or 0) + 1


def has_event_between(object_id: int, one: datetime, two: datetime) -> bool:
    """Tell whether something opened a new state of the object between two instants."""
    start, end = min(one, two), max(one, two)
    return (
        Intervention.objects.filter(
            object_id=object_id, finished_at__gt=start, finished_at__lte=end
        ).exists()
        or Incident.objects.filter(
            object_id=object_id, occurred_at__gt=start, occurred_at__lte=end
        ).exists()
    )


def unread_frames(row: Deliverable) -> int:
    """Count the frames of a picture that have not been read or measured yet."""
    return unread_of([row])[row.pk]


def unread_of(rows: Iterable[Deliverable]) -> Counter[int]:
    """Count for each picture the frames that have not been read or measured yet.

    While the job that measures a picture, or the one that says which way round it is, is due or
    under way, all of its frames count.
    """
    under_way = Job.objects.filter(state__in=(JobState.DUE, JobState.CLAIMED))
    measuring = under_way.filter(
        kind=MEASURE,
        key__startswith=f"{MEASURE}:",
        subject_id=OuterRef("deliverable__shot_line"),
    )
    turning = under_way.filter(kind=REGISTER, subject_id=OuterRef("deliverable"))
    seats = DeliverableFrame.objects.filter(deliverable__in=list(rows)).filter(
        Q(frame__read_at=None) | Exists(measuring) | Exists(turning)
    )
    return Counter(seats.values_list("deliverable_id", flat=True))


def checks_of(rows: Iterable[Deliverable]) -> dict[int, list[FileCheck]]:
    """Return for each picture what was measured on its frames, each rule in its newest version."""
    found: dict[int, dict[tuple[int, str], FileCheck]] = {}
    checks = (
        FileCheck.objects.filter(frame__deliverable_frames__deliverable__in=list(rows))
        .annotate(deliverable_id=F("frame__deliverable_frames__deliverable"))
        .select_related("frame")
        .order_by("frame", "rule", "rule_version")
    )
    for check in checks:
        own = found.setdefault(check.deliverable_id, {})
        own[check.frame_id, check.rule] = check
    return {pk: list(own.values()) for pk, own in found.items()}


def failures(row: Deliverable) -> list[str]:
    """Return everything that failed on a picture, in sentences; another object before all else."""
    failed = [c for c in checks_of([row]).get(row.pk, ()) if c.verdict == Verdict.FAIL]
    others = [check.sentence for check in failed if check.rule == RECOGNITION]
    rest = [check.sentence for check in failed if check.rule != RECOGNITION]
    return [*dict.fromkeys(others), *row.faults, *rest]


def reviews_of_month(now: datetime) -> tuple[int, int]:
    """Count this calendar month's acceptances: of own pictures, and all; the studio's month."""
    first = studio_time(now).replace(day=1, hour=0, minute=0, second=0, microsecond=0)
    counted = Review.objects.filter(
        verdict=Review.Verdict.ACCEPTED, recorded_at__gte=first, recorded_at__lte=now
    ).aggregate(lone=Count("pk", filter=Q(is_lone_worker=True)), total=Count("pk"))
    return int(counted["lone"]), int(counted["total"])


def views_too_late_for(row: Deliverable) -> list[OwedView]:
    """Return the views "before treatment" a picture was made for although the work had begun."""
    if row.shot_line_id is None:
        return []
    before = OwedView.objects.filter(shot_lines=row.shot_line_id, anchor=Anchor.BT).select_related(
        "treatment"
    )
    return [view for view in before if _has_begun(view, row.captured_at)]


def _has_begun(view: OwedView, at: datetime) -> bool:
    steps = Intervention.objects.filter(treatment=view.treatment_id, started_at__lte=at)
    if view.anchor_phase is not None:
        steps = steps.filter(phase=view.anchor_phase)
    return steps.exists()


def as_of(view: OwedView) -> str:
    """Say as of which state a view is owed."""
    return as_of_words(view)


def leaves_at(row: Deliverable, now: datetime) -> str:
    """Say until when the object is at the station, if its session is still going on."""
    session = None if row.shot_line is None else row.shot_line.session
    if session is None or not session.starts_at <= now < session.ends_at:
        return ""
    return f" The session ends at {studio_time(session.ends_at):%H:%M}."


def packages() -> QuerySet[Package]:
    """List packages, the newest first, with how many pictures they hold and how many recalled."""
    recalled = Q(items__deliverable__state=DeliverableState.RECALLED)
    return (
        Package.objects.select_related("entry", "made_by")
        .defer("manifest")
        .annotate(pictures=Count("items"), recalled=Count("items", filter=recalled))
        .order_by("-made_at", "-pk")
    )


def proven_copies_of(frame_ids: Iterable[int]) -> Counter[int]:
    """Count the proven copies of each frame."""
    rows = Copy.objects.filter(
        frame__in=list(frame_ids), is_good=True, verified_at__isnull=False
    ).values_list("frame_id", flat=True)
    return Counter(rows)


def packages_with(row: Deliverable) -> list[Package]:
    """Return the sealed packages that hold a picture."""
    return list(
        Package.objects.filter(items__deliverable=row, state=Package.State.SEALED)
        .select_related("made_by")
        .defer("manifest")
    )


def replaceable(entry: Entry | None) -> QuerySet[Package]:
    """List the sealed packages of an entry that no other one has replaced yet."""
    return Package.objects.filter(
        entry=entry, state=Package.State.SEALED, replaced_by=None
    ).order_by("-sealed_at")


def package_address(package: Package) -> str:
    """Return where a package is shown."""
    return reverse("deliverables:package", args=[package.pk])


def with_names(rows: QuerySet[Deliverable]) -> QuerySet[Deliverable]:
    """Add what naming a picture needs: object, number in force, photographer."""
    in_force = ObjectNumber.objects.filter(scheme="inventory", in_force_to=None)
    return rows.select_related("object", "photographer").prefetch_related(
        Prefetch("object__numbers", queryset=in_force, to_attr="numbers_in_force")
    )


def number_of(row: Deliverable) -> str:
    """Return the object's number of a picture read by `with_names`."""
    in_force = row.object.numbers_in_force  # type: ignore[attr-defined]
    return in_force[0].number if in_force else str(row.object)


def review_queue() -> QuerySet[Deliverable]:
    """List what waits for review, the oldest first."""
    return with_names(
        Deliverable.objects.filter(state=DeliverableState.TO_REVIEW).order_by("handed_in_at", "pk")
    )


def must_be_shot_again(row: Deliverable) -> bool:
    """Whether the last refusal of a version says that desk work cannot mend it."""
    refused = row.reviews.exclude(verdict=Review.Verdict.ACCEPTED).order_by("-pk").first()
    return refused is not None and not refused.frames_good


def begun_because(row: Deliverable) -> AuditEvent | None:
    """Return who began a version from frames that were to be shot again, with the reason."""
    begun = AuditEvent.objects.filter(
        subject_type=Deliverable._meta.label_lower,
        subject_id=str(row.pk),
        code="deliverables.begun",
    )
    return begun.exclude(reason="").select_related("actor").first()


def next_in_queue(row: Deliverable) -> Deliverable | None:
    """Return what waits next after a picture: the next younger one, else the oldest."""
    waiting = Deliverable.objects.filter(state=DeliverableState.TO_REVIEW).exclude(pk=row.pk)
    later = waiting.filter(handed_in_at__gte=row.handed_in_at or row.created_at)
    for rows in (later, waiting):
        found = rows.order_by("handed_in_at", "pk").first()
        if found is not None:
            return found
    return None


def versions_of(row: Deliverable) -> QuerySet[Deliverable]:
    """List the versions of a picture's chain, the newest first, with what people decided."""
    reviews = Review.objects.select_related("by").order_by("recorded_at", "pk")
    return (
        Deliverable.objects.filter(chain=row.chain)
        .select_related("photographer", "cover")
        .prefetch_related(Prefetch("reviews", queryset=reviews))
        .order_by("-version")
    )


def accepted_before(row: Deliverable) -> Deliverable | None:
    """Return the accepted or once accepted picture of the same view that was made before."""
    return (
        Deliverable.objects.filter(
            _same_target(row), state__in=(DeliverableState.ACCEPTED, DeliverableState.RECALLED)
        )
        .exclude(pk=row.pk)
        .filter(captured_at__lte=row.captured_at)
        .order_by("-captured_at", "-version")
        .select_related("cover")
        .first()
    )


def lone_stretches() -> QuerySet[LoneWorker]:
    """List stretches of lone work, the latest first."""
    return LoneWorker.objects.select_related("person", "allowed_by").order_by("-until", "-pk")


def why_frame_stays(frame: Frame) -> str:
    """Return why a frame may not be moved: a picture made of it is handed in or accepted."""
    row = (
        Deliverable.objects.filter(
            deliverable_frames__frame=frame,
            state__in=(DeliverableState.TO_REVIEW, DeliverableState.ACCEPTED),
        )
        .order_by("pk")
        .first()
    )
    if row is None:
        return ""
    return f"This frame is part of {row}, which is {row.get_state_display().lower()}."


def why_sent_back(view_ids: Collection[int]) -> str:
    """Return the reviewer's words on the newest picture of these views, if it was sent back."""
    newest = (
        Deliverable.objects.filter(shot_line__owed_views__in=list(view_ids))
        .order_by("-captured_at", "-pk")
        .first()
    )
    if newest is None or newest.state != DeliverableState.SENT_BACK:
        return ""
    verdict = (
        newest.reviews.filter(verdict=Review.Verdict.SENT_BACK).order_by("-recorded_at").first()
    )
    return verdict.note if verdict is not None else ""
