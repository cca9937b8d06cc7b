"""Reads of requests, waivers and what can be wished for."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence

from django.db.models import Count, F, Max, Prefetch, Q, QuerySet

from imaging_requests.collection.models import (
    CollectionObject,
    Entry,
    EntryObject,
    RecordState,
)
from imaging_requests.people.models import User
from imaging_requests.requesting.models import (
    Demand,
    GapStatement,
    LineState,
    NotApplicable,
    OwedView,
    Request,
    RequestLine,
    Waiver,
    WaiverAnswer,
    WaiverProposal,
)

#: Never more than this in an answer to a search; the words are then narrowed.
FOUND_AT_MOST = 40


def request_list() -> QuerySet[Request]:
    """Requests with their requester and how many lines stand where."""
    counts = {
        state.value: Count("lines", filter=Q(lines__state=state), distinct=True)
        for state in LineState
    }
    return (
        Request.objects.select_related("requester")
        .annotate(line_count=Count("lines", distinct=True), promised=Max("lines__promised_on"))
        .annotate(**{f"count_{name}": count for name, count in counts.items()})
        .order_by("-filed_at", "-pk")
    )


def request_lines(request: Request) -> list[RequestLine]:
    """The lines of a request with their objects, and the views their demands were for."""
    return list(
        request.lines.select_related("object", "decided_by", "entry")
        .prefetch_related(_demands())
        .order_by("object", "pk")
    )


def _demands() -> Prefetch[str, QuerySet[Demand], str]:
    """Demands of lines with their views, the newest first."""
    return Prefetch(
        "demands",
        queryset=Demand.objects.select_related("owed_view__treatment").order_by("-pk"),
    )


def waiting_lines() -> list[RequestLine]:
    """Every line that waits for the lead, object by object, the oldest object first."""
    return list(
        RequestLine.objects.filter(state=LineState.SUBMITTED)
        .select_related("request__requester", "object", "entry")
        .prefetch_related(_demands())
        .order_by("request__filed_at", "pk")
    )


def find_objects(words: str) -> list[CollectionObject]:
    """Objects whose number (present, past or of a merged double) or title holds the words."""
    objects = CollectionObject.objects.exclude(
        record_state__in=(RecordState.MERGED, RecordState.WITHDRAWN)
    )
    for word in words.split():
        objects = objects.filter(
            Q(numbers__number__icontains=word)
            | Q(merged_from__numbers__number__icontains=word)
            | Q(title__icontains=word)
        )
    return list(
        objects.annotate(first_number=Max("numbers__number"))
        .order_by("first_number", "pk")
        .distinct()[:FOUND_AT_MOST]
    )


def find_entries(words: str) -> list[Entry]:
    """Entries whose number is the words or whose title holds them, with their objects."""
    return _with_objects(Entry.objects.filter(Q(number__iexact=words) | Q(title__icontains=words)))


def entries_of(curator: User) -> list[Entry]:
    """The entries that a curator writes, with their objects."""
    return _with_objects(Entry.objects.filter(curator=curator))


def _with_objects(entries: QuerySet[Entry]) -> list[Entry]:
    present = EntryObject.objects.filter(removed_at=None).select_related("object")
    return list(
        entries.select_related("catalogue")
        .prefetch_related(Prefetch("entry_objects", queryset=present, to_attr="present"))
        .order_by("catalogue", "sort_key")[:FOUND_AT_MOST]
    )


def objects_by_id(object_ids: Iterable[int]) -> list[CollectionObject]:
    """Some objects in the order of their ids."""
    return list(CollectionObject.objects.filter(pk__in=list(object_ids)).order_by("pk"))


def entry_objects(entry_ids: Iterable[int]) -> dict[int, list[int]]:
    """The objects of some entries today."""
    found: dict[int, list[int]] = defaultdict(list)
    rows = EntryObject.objects.filter(entry_id__in=list(entry_ids), removed_at=None)
    for entry_id, object_id in rows.values_list("entry_id", "object_id"):
        found[entry_id].append(object_id)
    return found


def changed_entries(lines: Sequence[RequestLine]) -> list[tuple[Entry, list[int], list[int]]]:
    """Entries named in waiting lines whose objects are others today: entry, come, gone."""
    waiting = [line for line in lines if line.entry is not None]
    present = entry_objects({line.entry_id for line in waiting if line.entry_id is not None})
    named: dict[int, tuple[Entry, set[int]]] = {}
    for line in lines:
        if line.entry is not None:
            named.setdefault(line.entry.pk, (line.entry, set()))[1].add(line.object_id)
    open_entries = {line.entry_id for line in waiting if line.state == LineState.SUBMITTED}
    changed = []
    for entry_id, (entry, known) in named.items():
        today = set(present.get(entry_id, ()))
        gone = {
            line.object_id
            for line in waiting
            if line.entry_id == entry_id
            and line.state == LineState.SUBMITTED
            and line.object_id not in today
        }
        come = today - known
        if entry_id in open_entries and (come or gone):
            changed.append((entry, sorted(come), sorted(gone)))
    return changed


def waiver_list() -> QuerySet[Waiver]:
    """Waivers with their views and signatories; those in force first."""
    return Waiver.objects.select_related(
        "owed_view__object", "owed_view__treatment", "granted_by", "co_signed_by"
    ).order_by(F("ended_at").desc(nulls_first=True), "-granted_at")


def open_proposals() -> list[WaiverProposal]:
    """Proposed waivers that wait for a signature."""
    return list(
        WaiverProposal.objects.filter(state=WaiverAnswer.ASKED).select_related(
            "owed_view__object", "owed_view__treatment", "asked_by", "first_signed_by"
        )
    )


def signed_gaps() -> list[GapStatement]:
    """Gap statements in force."""
    return list(GapStatement.objects.filter(ended_at=None).select_related("entry", "signed_by"))


def owed_view(pk: int) -> OwedView | None:
    """One owed view with its object and treatment."""
    return OwedView.objects.select_related("object", "treatment").filter(pk=pk).first()


def not_applicable_of(object_id: int) -> list[NotApplicable]:
    """What does not apply to an object now."""
    return list(
        NotApplicable.objects.filter(object=object_id, until=None)
        .select_related("by")
        .order_by("technique", "face", "variant")
    )


def views_in_force(object_id: int) -> list[OwedView]:
    """The views that are owed of an object now."""
    return list(
        OwedView.objects.filter(object=object_id, ended_at=None)
        .select_related("treatment")
        .order_by("anchor", "technique", "face", "variant", "pk")
    )


def open_wishes_of(user: User) -> int:
    """How many wishes of a person are waiting or agreed."""
    return RequestLine.objects.filter(
        request__requester=user, state__in=(LineState.SUBMITTED, LineState.AGREED)
    ).count()
