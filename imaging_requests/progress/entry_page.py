"""What the page of an entry shows."""

from __future__ import annotations

from collections import defaultdict
from typing import Any
from urllib.parse import urlencode

from django.urls import reverse

from imaging_requests.collection.models import CollectionObject, Entry, ObjectFacts
from imaging_requests.collection.policies import KEEP_CATALOGUE
from imaging_requests.deliverables.policies import SEAL
from imaging_requests.people.counting import noun_of, number_of
from imaging_requests.people.models import User
from imaging_requests.people.policies import may
from imaging_requests.progress.board import GRADE_WORDS
from imaging_requests.progress.entries import members_of
from imaging_requests.progress.fallen import Fallen, fallen_back
from imaging_requests.progress.gap_words import statement_of, with_gaps
from imaging_requests.progress.models import EntryStatus, ObjectStatus
from imaging_requests.progress.settle import settle
from imaging_requests.progress.shown import ShownView, by_face_and_treatment, shown_views
from imaging_requests.protocols.models import EntryPin
from imaging_requests.reckoning.truth.terms import Grade, Status
from imaging_requests.requesting.forms import ticks_for
from imaging_requests.requesting.policies import ASK, SIGN_GAP
from imaging_requests.requesting.words import numbers_of


def facts_line(facts: ObjectFacts | None) -> str:
    """Say the few facts that a reader of an entry wants."""
    if facts is None:
        return "Nothing has been measured yet."
    size = [
        f"{value:g}" if value is not None else "?"
        for value in (facts.height_mm, facts.width_mm, facts.depth_mm)
    ]
    parts = [f"{' × '.join(size)} mm (height, width, depth)"]
    if facts.support:
        parts.insert(0, facts.get_support_display())
    if facts.painted_faces == "FB":
        parts.append("painted on both sides")
    return ", ".join(parts) + "."


def _latest_facts(ids: list[int]) -> dict[int, ObjectFacts]:
    rows = ObjectFacts.objects.filter(object__in=ids).order_by("recorded_at", "pk")
    return {row.object_id: row for row in rows}


def _sentence(entry: Entry, derived: EntryStatus | None, fallen: Fallen | None) -> str:
    if derived is None:
        return f"Entry {entry.number} has not been derived yet"
    grade = Grade(derived.grade)
    if grade is Grade.FULL:
        return f"Entry {entry.number} is fully documented"
    if grade is Grade.FULL_WAIVED:
        return f"Entry {entry.number} is fully documented, with waivers"
    if grade is Grade.GAP:
        return f"Entry {entry.number} has a signed gap"
    if grade is Grade.NOT_STARTED:
        return f"Entry {entry.number} is not started"
    if fallen is not None:
        return f"Entry {entry.number} has fallen back: {fallen.because}"
    return f"Entry {entry.number} is not fully documented: {derived.unmet} of {derived.owed} open"


def _conditions(derived: EntryStatus | None, objects: list[ObjectStatus]) -> list[dict[str, Any]]:
    if derived is None:
        return []
    return [
        {
            "holds": all(each.facts_complete for each in objects),
            "words": "the facts of every object are known",
        },
        {"holds": derived.owed > 0, "words": "something is owed"},
        {
            "holds": derived.owed > 0 and derived.unmet == 0,
            "words": "every view is filed, waived or not applicable",
        },
        {
            "holds": not any(each.has_open_question for each in objects),
            "words": "no decision is open and no treatment step is under way",
        },
    ]


def _unmet_words(unmet: list[ShownView]) -> str:
    """Say how many views are not met, the present ones and those of treatments apart."""
    present = sum(view.is_present for view in unmet)
    past = len(unmet) - present
    parts = [
        number_of(number, f"{kind} view")
        for number, kind in ((present, "present"), (past, "treatment"))
        if number
    ]
    return " and ".join(parts)


def _missing(views: list[ShownView]) -> list[tuple[str, str, str]]:
    """The present views that nobody has made yet, as a wish would name them."""
    return [view.parts for view in views if view.is_present and not view.is_resolved]


def entry_context(entry: Entry, *, user: User) -> dict[str, Any]:
    """Gather the page's answer; the entry's objects are settled first."""
    ids = members_of([entry])[entry.pk]
    settle(ids)
    derived = EntryStatus.objects.filter(entry=entry).first()
    objects = list(CollectionObject.objects.filter(pk__in=ids))
    things = {thing.pk: thing for thing in objects}
    states = {row.object_id: row for row in ObjectStatus.objects.filter(object__in=ids)}
    numbers = numbers_of(ids)
    facts = _latest_facts(ids)
    statement = statement_of(entry.pk)
    views = with_gaps(shown_views(ids), [statement] if statement is not None else [])
    grouped: dict[int, list[ShownView]] = defaultdict(list)
    for view in views:
        grouped[view.object_id].append(view)
    fallen = fallen_back([view for view in views if view.counts_for(entry.catalogue_id)], ids)
    pin = EntryPin.objects.filter(entry=entry, unpinned_at=None).select_related("protocol").first()
    actions = []
    if may(user, ASK):
        asked = [("object", str(pk)) for pk in ids]
        asked += [("views", value) for value in ticks_for(_missing(views))]
        query = urlencode(asked)
        actions.append(
            {"label": "Ask for pictures", "href": f"{reverse('requesting:request_new')}?{query}"}
        )
    if may(user, KEEP_CATALOGUE):
        actions.append(
            {
                "label": "Add an object",
                "href": reverse("progress:object_into_entry", args=[entry.pk]),
            }
        )
    if may(user, SEAL) and any(view.status == Status.ACCEPTED for view in views):
        actions.append(
            {
                "label": "File what is accepted",
                "href": f"{reverse('deliverables:packages')}?entry={entry.pk}",
                "kind": "do",
            }
        )
    lost = [view for view in views if view.status == Status.LOST]
    every_unmet = [view for view in views if not view.is_resolved]
    unmet = [view for view in every_unmet if view.counts_for(entry.catalogue_id)]
    return {
        "entry": entry,
        "answer": _sentence(entry, derived, fallen),
        "sub": f"{entry.title}. {fallen.counted if fallen else ''} "
        f"{derived.why if derived else ''}",
        "counts": _counts(derived),
        "crumbs": [
            {
                "label": entry.catalogue.title,
                "href": reverse("progress:board", args=[entry.catalogue_id]),
            }
        ],
        "actions": actions,
        "unmet": unmet,
        "unmet_words": _unmet_words(unmet),
        "uncounted": [view for view in every_unmet if view not in unmet],
        "objects": [
            {
                "thing": things[pk],
                "number": numbers[pk],
                "href": reverse("progress:object", args=[pk]),
                "facts_line": facts_line(facts.get(pk)),
                "missing": states[pk].missing_facts if pk in states else [],
                "groups": by_face_and_treatment(grouped[pk]),
            }
            for pk in ids
        ],
        "conditions": _conditions(derived, list(states.values())),
        "about": [
            {"label": "Curator", "value": entry.curator or "nobody yet"},
            {"label": "Follows", "value": str(pin.protocol) if pin else "no protocol yet"},
            {"label": "Weight", "value": f"{entry.weight} of 5"},
            {"label": "Grade", "value": GRADE_WORDS[Grade(derived.grade)] if derived else ""},
        ],
        "statement": statement,
        "unsigned": [view for view in lost if not view.gap],
        "may_sign_gap": bool(lost) and may(user, SIGN_GAP),
        "gap_href": reverse("requesting:gap_statement", args=[entry.pk]),
    }


def _counts(derived: EntryStatus | None) -> list[dict[str, Any]]:
    if derived is None:
        return []
    present = derived.counts.get("present", {})
    made = sum(present.get(name, 0) for name in ("filed", "waived"))
    total = sum(present.values())
    everything = derived.counts.get("all", {})
    treatment = sum(everything.values()) - total
    counts: list[dict[str, Any]] = [
        {"figure": f"{made} of {total}", "unit": f"{noun_of(total, 'present view')} resolved"}
    ]
    if treatment:
        counts.append({"figure": treatment, "unit": noun_of(treatment, "treatment view")})
    if derived.lost:
        counts.append({"figure": derived.lost, "unit": "lost for good"})
    return counts
