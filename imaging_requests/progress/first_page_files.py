"""Answers about files that are owed by lines that were shot."""

from __future__ import annotations

from datetime import datetime

from django.db.models import Count, Exists, F, OuterRef, Q, Subquery, Sum
from django.db.models.functions import Coalesce
from django.urls import reverse

from imaging_requests.campaigns.awaited import files_words, nothing_came
from imaging_requests.campaigns.models import ShotLine, ShotLineState
from imaging_requests.campaigns.words import line_words
from imaging_requests.deliverables.models import Deliverable, DeliverableState
from imaging_requests.intake.models import Frame, FrameRole, FrameState
from imaging_requests.people.models import User
from imaging_requests.progress.answers import ROWS, Row, Section, day
from imaging_requests.requesting.words import numbers_of


def _awaited(user: User, *, own: bool) -> Section:
    """Lines that are done and that no files, or not all, have come for; three queries."""
    unfinished = Deliverable.objects.filter(
        shot_line=OuterRef("pk"), state=DeliverableState.BUILDING, is_complete=False
    )
    lines = ShotLine.objects.filter(
        Q(pk__in=nothing_came().order_by().values("pk")) | Exists(unfinished),
        state=ShotLineState.DONE,
    )
    if own:
        lines = lines.filter(session__photographer=user)
    lying = Frame.objects.filter(
        shot_line=OuterRef("pk"), state=FrameState.PLACED, role=FrameRole.VIEW
    )
    counted = lying.order_by().values("shot_line").annotate(number=Count("pk")).values("number")
    lines = lines.annotate(awaited=F("expected_files") - Coalesce(Subquery(counted), 0)).filter(
        awaited__gt=0
    )
    number = lines.order_by().aggregate(files=Sum("awaited"))["files"] or 0
    first = list(lines.select_related("session__photographer").order_by("decided_at", "pk")[:ROWS])
    numbers = numbers_of(line.object_id for line in first)
    rows = [
        Row(
            text=f"{numbers[line.object_id]}: {line_words(line)}",
            href=reverse("campaigns:shot_line", args=[line.pk]),
            note=f"shot on {day(line.decided_at)}"
            + ("" if own else f" by {line.session.photographer}")
            + f", {files_words(line.awaited)}",
        )
        for line in first
    ]
    return Section(
        answer=f"{files_words(number)} from lines that were shot" if rows else "No file is awaited",
        rows=rows,
        empty="The files of every line that was shot have come.",
        is_pressing=bool(rows),
        is_hidden=not rows,
    )


def own_awaited(user: User, now: datetime) -> Section:
    """Files that the photographer still has to bring."""
    return _awaited(user, own=True)


def all_awaited(user: User, now: datetime) -> Section:
    """Files that any photographer still has to bring."""
    return _awaited(user, own=False)
