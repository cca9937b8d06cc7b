"""Merge two records of one object only when nothing is under way on the double."""

from __future__ import annotations

from datetime import datetime

from django.db import transaction

from imaging_requests.campaigns.models import SessionState, ShotLine, ShotLineState
from imaging_requests.collection.actions_merging import merge_objects
from imaging_requests.collection.models import CollectionObject
from imaging_requests.people.errors import DomainError
from imaging_requests.people.models import User
from imaging_requests.requesting.models import LineState, RequestLine
from imaging_requests.treatments.models import Treatment, TreatmentState


@transaction.atomic
def merge(
    *,
    actor: User,
    double_id: int,
    read_version: int,
    into_id: int,
    reason: str,
    now: datetime | None = None,
) -> CollectionObject:
    """Merge a double into another record; wishes, sessions and treatments are ended first."""
    CollectionObject.objects.select_for_update().get(pk=double_id)
    under_way = _under_way(double_id)
    if under_way:
        raise DomainError(
            f"The double still has {', '.join(under_way)}.",
            code="progress.double_in_use",
            next_step="End or finish them there, and enter them anew on the record that stays.",
        )
    return merge_objects(
        actor=actor,
        double_id=double_id,
        read_version=read_version,
        into_id=into_id,
        reason=reason,
        now=now,
    )


def _under_way(object_id: int) -> list[str]:
    found = (
        (
            RequestLine.objects.filter(
                object=object_id, state__in=(LineState.SUBMITTED, LineState.AGREED)
            ).count(),
            "wishes that are not answered or fulfilled",
        ),
        (
            ShotLine.objects.filter(
                object=object_id,
                state=ShotLineState.PLANNED,
                session__state__in=(
                    SessionState.DRAFT,
                    SessionState.CONFIRMED,
                    SessionState.RUNNING,
                ),
            ).count(),
            "shots in sessions to come",
        ),
        (
            Treatment.objects.filter(
                object=object_id,
                state__in=(
                    TreatmentState.PLANNED,
                    TreatmentState.UNDER_WAY,
                    TreatmentState.PAUSED,
                ),
            ).count(),
            "treatments planned or under way",
        ),
    )
    return [f"{number} {words}" for number, words in found if number]
