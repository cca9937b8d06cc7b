"""Bring owed views and their demands in line with what protocols and treatments ask for now.

Derived rows only: people's requests, waivers and decisions stay untouched. A view lives as long
as somebody demands it; when the last demand ends, the view ends, and it comes back to life under
its old row, with its waivers, when it is demanded again. Running this twice changes nothing the
second time, and the number of queries does not depend on the number of objects.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime

from django.db import transaction

from imaging_requests.collection.models import CollectionObject
from imaging_requests.requesting.changes import Change, read_stored
from imaging_requests.requesting.duties import Duties, by_protocol
from imaging_requests.requesting.material import Material, gather_material
from imaging_requests.requesting.treatment_duties import by_treatment

#: Objects that share one transaction: long enough to save queries, short enough to let others in.
BATCH = 200


def sync_owed_views(object_ids: Iterable[int], now: datetime) -> None:
    """Derive the duties of some objects and store what changed."""
    ids = sorted(set(object_ids))
    for start in range(0, len(ids), BATCH):
        _sync_batch(ids[start : start + BATCH], now)


@transaction.atomic
def _sync_batch(ids: list[int], now: datetime) -> None:
    list(CollectionObject.objects.select_for_update().filter(pk__in=ids).order_by("pk"))
    material = gather_material(ids, now)
    if not material:
        return
    change = Change(stored=read_stored(ids), now=now)
    for each in material.values():
        change.compare(each, duties_of(each))
    change.store()


def duties_of(material: Material) -> Duties:
    """Everything that protocols and treatments ask of one object."""
    if material.is_gone:
        return Duties()
    duties = by_protocol(material.known)
    for course in material.courses:
        for want in by_treatment(material.known, course).wants.values():
            if (want.technique, want.face, want.variant) not in duties.not_applicable:
                duties.add(want)
    return duties
