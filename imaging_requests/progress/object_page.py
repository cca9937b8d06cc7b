"""What the page of an object shows."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime
from typing import Any

from django.urls import reverse
from django.utils import timezone

from imaging_requests.collection.models import (
    CollectionObject,
    EntryObject,
    ObjectNumber,
)
from imaging_requests.collection.policies import (
    KEEP_NUMBERS,
    RECORD_FACTS,
    RECORD_WHEREABOUTS,
)
from imaging_requests.collection.queries import facts_now
from imaging_requests.people.counting import number_of
from imaging_requests.people.models import User
from imaging_requests.people.policies import may
from imaging_requests.pictures.pages import whose_eyes
from imaging_requests.progress.facts_part import fact_rows
from imaging_requests.progress.gap_words import statements_about, with_gaps
from imaging_requests.progress.gather import gather_cases
from imaging_requests.progress.names import speech_for
from imaging_requests.progress.policies import LOOK
from imaging_requests.progress.ruler import draw_ruler
from imaging_requests.progress.rules import Derived, derive_object
from imaging_requests.progress.settle import settle
from imaging_requests.progress.shown import ShownView, by_face, shown_views
from imaging_requests.progress.surfaces_part import surfaces_over_time
from imaging_requests.progress.windows_part import window_notices
from imaging_requests.reckoning.truth.words import Speech
from imaging_requests.requesting.models import NotApplicable, RequestLine
from imaging_requests.requesting.policies import ASK
from imaging_requests.requesting.words import numbers_of, view_words
from imaging_requests.treatments.policies import PLAN_TREATMENT, RECORD_INCIDENT


def object_context(thing: CollectionObject, *, user: User, address: str) -> dict[str, Any]:
    """Gather the page's answer; the object is settled first."""
    now = timezone.now()
    settle([thing.pk], now=now)
    speech = speech_for([thing.pk])
    derived = derive_object(gather_cases([thing.pk])[thing.pk], speech=speech, now=now)
    views = with_gaps(shown_views([thing.pk]), statements_about([thing.pk]))
    number = numbers_of([thing.pk])[thing.pk]
    entries = list(
        EntryObject.objects.filter(object=thing, removed_at=None).select_related("entry__catalogue")
    )
    open_views = [view for view in views if not view.is_resolved]
    return {
        "thing": thing,
        "merged_into": _merged_into(thing),
        "can_number": may(user, KEEP_NUMBERS),
        "number": number,
        "answer": _sentence(number, views, open_views),
        "sub": thing.title,
        "crumbs": [
            {
                "label": f"{link.entry.catalogue}, entry {link.entry.number}",
                "href": reverse("progress:entry", args=[link.entry_id]),
            }
            for link in entries
        ],
        "counts": [{"figure": f"s{derived.state_index}", "unit": state_words(derived, speech)}],
        "actions": _actions(thing, user),
        "line": draw_ruler(derived.moment, speech, chosen=derived.state_index, address=address),
        "windows": window_notices(derived.moment, speech),
        "groups": _groups(views),
        "missing": derived.missing_facts,
        "can_record": may(user, RECORD_FACTS),
        "can_place": may(user, RECORD_WHEREABOUTS),
        "about": _about(thing, now),
        "surfaces": surfaces_over_time(derived.moment, speech),
        "eyes": whose_eyes(thing, user, now),
        "stays": thing.stays.order_by("-since")[:4],
        "away": thing.unavailabilities.filter(withdrawn_at=None).order_by("-since")[:4],
        "treatments": thing.treatments.select_related("conservator").order_by("planned_from"),
        "not_applicable": _not_applicable(thing.pk),
        "request_lines": RequestLine.objects.filter(object=thing).count(),
        "request_href": f"{reverse('requesting:request_new')}?object={thing.pk}",
    }


def state_words(derived: Derived, speech: Speech) -> str:
    """What the present state is called: since the last event, or as the object came."""
    openers = derived.moment.line.openers
    since = f"since {speech.dated(openers[-1])}" if openers else "as it came"
    return f"is the present state, {since}"


def _merged_into(thing: CollectionObject) -> dict[str, str] | None:
    """The record that a double was merged into, with its number and address."""
    if thing.merged_into_id is None:
        return None
    return {
        "number": numbers_of([thing.merged_into_id])[thing.merged_into_id],
        "href": reverse("progress:object", args=[thing.merged_into_id]),
    }


def _sentence(number: str, views: list[ShownView], open_views: list[ShownView]) -> str:
    if not views:
        return f"{number} is owed nothing"
    if not open_views:
        return f"{number} has every view it is owed"
    return (
        f"{number} still lacks {len(open_views)} of the {number_of(len(views), 'view')} it is owed"
    )


def _actions(thing: CollectionObject, user: User) -> list[dict[str, str]]:
    actions = []
    if may(user, ASK):
        actions.append(
            {
                "label": "Ask for pictures",
                "href": f"{reverse('requesting:request_new')}?object={thing.pk}",
                "kind": "do",
            }
        )
    if may(user, LOOK):
        actions.append(
            {"label": "Look and compare", "href": reverse("progress:look", args=[thing.pk])}
        )
    if may(user, PLAN_TREATMENT):
        actions.append(
            {
                "label": "Plan a treatment",
                "href": reverse("progress:treatment_new", args=[thing.pk]),
            }
        )
    if may(user, RECORD_INCIDENT):
        actions.append(
            {
                "label": "Record an incident",
                "href": reverse("progress:incident_new", args=[thing.pk]),
            }
        )
    if may(user, RECORD_FACTS):
        actions.append(
            {"label": "Record facts", "href": reverse("collection:facts", args=[thing.pk])}
        )
    return actions


def _groups(views: Iterable[ShownView]) -> list[dict[str, Any]]:
    present = [view for view in views if view.is_present]
    past = [view for view in views if not view.is_present]
    groups = []
    if present:
        groups.append({"label": "As it is now", "is_past": False, "faces": by_face(present)})
    if past:
        groups.append({"label": "For treatments", "is_past": True, "faces": _past_faces(past)})
    return groups


def _past_faces(past: list[ShownView]) -> list[dict[str, Any]]:
    """What is still to be done first; what stands may be folded away."""
    unmet = [view for view in past if not view.is_resolved]
    settled = [view for view in past if view.is_resolved]
    number = len(settled)
    fold = (
        f"{number} views that need nothing more" if number > 1 else "1 view that needs nothing more"
    )
    faces: list[dict[str, Any]] = [{"label": "", "views": unmet}] if unmet else []
    return [*faces, {"label": "", "views": settled, "fold": fold}] if settled else faces


def _number_words(row: ObjectNumber) -> str:
    return row.number if row.in_force_to is None else f"{row.number} (until {row.in_force_to:%Y})"


def _about(thing: CollectionObject, now: datetime) -> list[dict[str, Any]]:
    rows: list[dict[str, Any]] = [
        {
            "label": "Numbers",
            "value": ", ".join(_number_words(row) for row in thing.numbers.all()),
        }
    ]
    rows += [
        {
            "label": "Double",
            "value": ", ".join(_number_words(row) for row in double.numbers.all()),
            "href": reverse("progress:object", args=[double.pk]),
        }
        for double in thing.merged_from.prefetch_related("numbers")
    ]
    if thing.owner:
        rows.append({"label": "Owner", "value": thing.owner})
    if thing.consent_needed:
        rows.append({"label": "Consent", "value": thing.consent_needed})
    return [*rows, *fact_rows(facts_now(thing.pk, now))]


def _not_applicable(object_id: int) -> list[dict[str, str]]:
    return [
        {"words": view_words(row.technique, row.face, row.variant), "reason": row.reason}
        for row in NotApplicable.objects.filter(object=object_id, until=None)
    ]
