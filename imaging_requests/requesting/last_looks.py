"""Whether a view can never be made again once a treatment has taken its step."""

from __future__ import annotations

from datetime import datetime

from imaging_requests.reckoning.truth.terms import BACK
from imaging_requests.requesting.material import gather_material
from imaging_requests.requesting.models import OwedView


def last_look_step(view: OwedView, now: datetime) -> str:
    """The step of the view's treatment that ends it for ever, in words; empty if there is none.

    Only views that are owed for a treatment are asked about: a view as it is now can be made
    again as it then is.
    """
    if view.treatment_id is None:
        return ""
    material = gather_material([view.object_id], now).get(view.object_id)
    if material is None:
        return ""
    for course in material.courses:
        if course.treatment.pk != view.treatment_id:
            continue
        for step in course.steps:
            event = course.event(step)
            table = course.tables[event.table_version]
            mirrored = material.moment.two_sided and event.face == BACK
            column = table.column(view.technique, view.face, mirrored=mirrored)
            row = table.row(event.row)
            if any(look.column == column for look in row.last_look):
                return event.label or row.name
    return ""
