"""Whether a view can never be made again once a treatment has taken its step."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from datetime import datetime

from imaging_requests.reckoning.truth.ahead import Ahead, look_ahead
from imaging_requests.reckoning.truth.facts import Event
from imaging_requests.reckoning.truth.moment import is_running
from imaging_requests.requesting.material import Material, gather_material
from imaging_requests.requesting.models import Anchor, OwedView
from imaging_requests.requesting.treatment_duties import Course


def last_look_step(view: OwedView, now: datetime) -> str:
    """The step that ends a view for ever, in words; empty if there is none."""
    return last_look_steps([view], now).get(view.pk, "")


def last_look_steps(views: Iterable[OwedView], now: datetime) -> dict[int, str]:
    """The steps that end views for ever, in words, by view; a fixed number of queries.

    Only views that are owed for a treatment are asked about: a view as it is now can be made
    again as it then is. What is owed while a surface can be seen ends with whichever treatment
    ends it, the others with their own.
    """
    asked = [view for view in views if view.treatment_id is not None]
    materials = gather_material({view.object_id for view in asked}, now) if asked else {}
    found = {}
    for view in asked:
        material = materials.get(view.object_id)
        words = "" if material is None else _ending(view, material)
        if words:
            found[view.pk] = words
    return found


def _ending(view: OwedView, material: Material) -> str:
    own = [c for c in material.courses if c.treatment.pk == view.treatment_id]
    others = [c for c in material.courses if c not in own and view.anchor == Anchor.WIN]
    before = [event for course in own for event in _events(course)]
    for course in (*own, *others):
        events = list(_events(course))
        ahead = _ahead(material, before if course in own else [*before, *events])
        for place, event in enumerate(events):
            look = ahead.last_look(event, view.surface, view.technique)
            is_of_later = place > 0 and view.anchor == Anchor.BT
            if look is not None and not (look[0] == "cleaned" and is_of_later):
                return event.label or material.moment.row(event).name
    return ""


def _events(course: Course) -> Iterator[Event]:
    return (course.event(step) for step in course.steps)


def _ahead(material: Material, steps: Iterable[Event]) -> Ahead:
    """The surfaces as they will lie: what is under way comes first, then what is planned."""
    moment = material.moment
    running = [event for event in moment.events if is_running(event, moment.t)]
    keys = {event.key for event in running}
    return look_ahead(moment, [*running, *(step for step in steps if step.key not in keys)])
