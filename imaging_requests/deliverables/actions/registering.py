"""Keeping where pictures lie on their faces, and asking for what has not been computed yet."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime

from django.db import transaction
from django.db.models import Case, Exists, F, IntegerField, OuterRef, Q, Subquery, Value, When
from django.utils import timezone

from imaging_requests.deliverables import queries
from imaging_requests.deliverables.models import Deliverable, DeliverableState, Registration
from imaging_requests.deliverables.owed import owed_by
from imaging_requests.intake.actions.deriving import PYRAMID
from imaging_requests.intake.jobs import enqueue
from imaging_requests.intake.models import Derivative, FileCheck

REGISTER = queries.REGISTER


@transaction.atomic
def keep_registration(
    *, row: Registration, checks: Iterable[FileCheck], now: datetime | None = None
) -> Registration:
    """Keep a computed map in place of the earlier one of the same code, with what checks found."""
    now = now or timezone.now()
    kept, _ = Registration.objects.update_or_create(
        deliverable_id=row.deliverable_id,
        code_version=row.code_version,
        defaults={
            "reference": row.reference,
            "frame_id": row.frame_id,
            "join_id": row.join_id,
            "means": row.means,
            "width_px": row.width_px,
            "height_px": row.height_px,
            "px_to_face_mm": row.px_to_face_mm,
            "residual_mm": row.residual_mm,
            "verdict": row.verdict,
            "reason": row.reason,
            "computed_at": now,
        },
    )
    for check in checks:
        FileCheck.objects.update_or_create(
            frame_id=check.frame_id,
            rule=check.rule,
            rule_version=check.rule_version,
            defaults={
                "value": check.value,
                "unit": check.unit,
                "limit": check.limit,
                "verdict": check.verdict,
                "sentence": check.sentence,
                "checked_at": now,
            },
        )
    return kept


@transaction.atomic
def ask_for_registrations(*, code_version: int, most: int) -> int:
    """Ask for the maps that are missing or have become untrue, what waits for review first.

    Missing: none of this version of the code, or made from another frame. Untrue: nothing could
    be told for want of a visible picture, and one of the same object has been laid out since.
    """
    made = Registration.objects.filter(deliverable=OuterRef("pk"), code_version=code_version)
    laid = Registration.objects.filter(
        deliverable__object=OuterRef("object"),
        code_version=code_version,
        means=Registration.Means.OUTLINE,
    ).order_by("-computed_at")
    open_first = Case(
        When(state__in=(DeliverableState.BUILDING, DeliverableState.TO_REVIEW), then=Value(0)),
        default=Value(1),
        output_field=IntegerField(),
    )
    visible_first = Case(
        When(technique__in=("VF", "VC"), then=Value(0)),
        default=Value(1),
        output_field=IntegerField(),
    )
    rows = (
        Deliverable.objects.filter(
            Exists(Derivative.objects.filter(frame=OuterRef("cover"), kind=PYRAMID))
        )
        .exclude(state__in=(DeliverableState.SENT_BACK, DeliverableState.RECALLED))
        .annotate(
            made_of=Subquery(made.values("frame")[:1]),
            said=Subquery(made.values("verdict")[:1]),
            laid_over=Subquery(made.values("reference")[:1]),
            said_at=Subquery(made.values("computed_at")[:1]),
            laid_at=Subquery(laid.values("computed_at")[:1]),
        )
        .filter(
            Q(made_of=None)
            | ~Q(made_of=F("cover"))
            | Q(said="cannot_tell", laid_over=None, laid_at__gt=F("said_at"))
        )
        .order_by(open_first, visible_first, "-captured_at", "pk")
        .values_list("pk", flat=True)
    )
    chosen = list(rows[:most])
    for pk in chosen:
        enqueue(REGISTER, pk, again=True)
    return len(chosen)


@transaction.atomic
def ask_for_owed(row: Deliverable, *, now: datetime | None = None) -> int:
    """Ask for everything that a picture owes and nobody has asked for; return how much."""
    missing = [each for each in owed_by(row) if not each.is_under_way and not each.failed_because]
    for each in missing:
        enqueue(each.kind, each.subject_id, key=each.key, again=True, now=now)
    return len(missing)


def ask_for_what_reviews_wait_for(*, most: int) -> int:
    """Ask again for what pictures before a reviewer owe, as after a lost job or an update."""
    waiting = Deliverable.objects.filter(state=DeliverableState.TO_REVIEW)
    return sum(ask_for_owed(row) for row in waiting.order_by("handed_in_at", "pk")[:most])
