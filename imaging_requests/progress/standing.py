"""Tell inner rooms, which may not look outward, where owed views stand."""

from __future__ import annotations

from collections.abc import Collection, Mapping

from django.db.models import QuerySet
from django.utils import timezone

from imaging_requests.progress.models import ViewStatus
from imaging_requests.progress.pictures import shown_pictures
from imaging_requests.progress.settle import settle
from imaging_requests.reckoning.truth.terms import Status
from imaging_requests.requesting.models import OwedView
from imaging_requests.requesting.outlook import Standing

#: Views of which nothing more is to be shot: met, given up, or in somebody's hands.
NOT_TO_SHOOT = (
    Status.FILED,
    Status.ACCEPTED,
    Status.WAIVED,
    Status.NOT_APPLICABLE,
    Status.REPLACED,
    Status.LOST,
    Status.TO_REVIEW,
    Status.CAPTURED,
)


def standings(view_ids: Collection[int]) -> Mapping[int, Standing]:
    """Return status, reason and picture of some views; stale ones are settled first."""
    objects = set(OwedView.objects.filter(pk__in=view_ids).values_list("object_id", flat=True))
    settle(objects)
    rows = list(ViewStatus.objects.filter(owed_view__in=view_ids))
    pictures = shown_pictures((row.chain, row.picture_version) for row in rows)
    found = {}
    for row in rows:
        picture = pictures.get((row.chain, row.picture_version or 0))
        found[row.owed_view_id] = Standing(
            status=row.status,
            is_met=row.is_met,
            why=row.why,
            met_on=timezone.localdate(picture.captured_at) if picture and row.is_met else None,
            picture_href=picture.href if picture else "",
        )
    return found


def open_only(views: QuerySet[OwedView]) -> QuerySet[OwedView]:
    """Narrow views to those that are still to be shot; a view without a status is one of them."""
    settle()
    return views.exclude(derived__status__in=NOT_TO_SHOOT)
