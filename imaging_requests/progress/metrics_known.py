"""Read what the numbers of a catalogue are made from: the statuses that pages show, and their rows.

Statuses come from the cache; gates and windows are asked of the rules, only for the objects that
can have one. The number of queries does not depend on how large the catalogue is.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from django.db.models import Q
from django.utils import timezone

from imaging_requests.collection.models import Catalogue, Entry
from imaging_requests.deliverables.models import (
    Deliverable,
    DeliverableState,
    Package,
    PackageItem,
)
from imaging_requests.intake.models import Frame, FrameState
from imaging_requests.progress.balance import views_in_force
from imaging_requests.progress.entries import members_of
from imaging_requests.progress.gates import next_step
from imaging_requests.progress.gather import gather_cases
from imaging_requests.progress.models import EntryStatus, ViewStatus
from imaging_requests.progress.names import speech_for
from imaging_requests.progress.rules import MET
from imaging_requests.protocols.queries import periods
from imaging_requests.reckoning.shots.settings import Periods
from imaging_requests.reckoning.truth.moment import Moment, look
from imaging_requests.reckoning.truth.terms import Status
from imaging_requests.reckoning.truth.words import Speech
from imaging_requests.requesting.models import Anchor, Waiver
from imaging_requests.requesting.words import Numbers, numbers_of
from imaging_requests.treatments.models import Treatment, TreatmentState

OUTSIDE = frozenset((Status.NOT_APPLICABLE, Status.REPLACED))


@dataclass(frozen=True)
class Known:
    """Everything that the metrics of a catalogue are made from, read once.

    `query` leads to the pages of the same past day; empty for the numbers of today.
    """

    catalogue: Catalogue
    now: datetime
    entries: tuple[Entry, ...]
    grades: Mapping[int, EntryStatus]
    entries_of: Mapping[int, Sequence[int]]
    views: tuple[ViewStatus, ...]
    filed_once: frozenset[tuple[int, str, str, str]]
    waivers: tuple[Waiver, ...]
    treatments: tuple[Treatment, ...]
    speech: Speech
    moments: Mapping[int, Moment]
    queue: tuple[Deliverable, ...]
    unplaced: tuple[Frame, ...]
    numbers: Numbers
    periods: Periods
    query: str = ""

    @property
    def counted(self) -> list[ViewStatus]:
        """The views that count: in force, neither replaced nor not applicable."""
        return [view for view in self.views if view.status not in OUTSIDE]

    @property
    def present(self) -> list[ViewStatus]:
        """Those of them that are owed as the object is now."""
        return [view for view in self.counted if view.owed_view.anchor == Anchor.CUR]

    def was_filed(self, view: ViewStatus) -> bool:
        """Whether a picture of this view was ever filed, true to the present or not."""
        owed = view.owed_view
        key = (view.object_id, owed.surface, owed.technique, owed.variant)
        return key in self.filed_once


def read_catalogue(catalogue: Catalogue, *, now: datetime) -> Known:
    """Read what the metrics need; the statuses of the catalogue must be settled."""
    entries = tuple(Entry.objects.filter(catalogue=catalogue).order_by("sort_key", "pk"))
    members = members_of(entries)
    entries_of: dict[int, list[int]] = defaultdict(list)
    for entry_id, pks in members.items():
        for pk in pks:
            entries_of[pk].append(entry_id)
    ids = sorted(entries_of)
    counting = views_in_force(catalogue, ids, now)
    views = tuple(
        row
        for row in ViewStatus.objects.filter(object_id__in=ids)
        .select_related("owed_view__treatment")
        .order_by("object_id", "pk")
        if row.owed_view_id in counting
    )
    ahead = periods(now)
    treatments = _treatments_ahead(ids, now + ahead.steps_ahead)
    asked = {each.object_id for each in treatments} | {
        row.object_id
        for row in views
        if row.owed_view.anchor == Anchor.WIN and row.status not in MET
    }
    speech = speech_for(asked)
    cases = gather_cases(asked)
    return Known(
        catalogue=catalogue,
        now=now,
        entries=entries,
        grades={row.entry_id: row for row in EntryStatus.objects.filter(entry__in=entries)},
        entries_of=entries_of,
        views=views,
        filed_once=_filed_once(ids),
        waivers=_waivers(views, now),
        treatments=treatments,
        speech=speech,
        moments={pk: look(case, speech.tables, t=now, u=now) for pk, case in cases.items()},
        queue=tuple(
            Deliverable.objects.filter(
                object_id__in=ids, state=DeliverableState.TO_REVIEW
            ).order_by("handed_in_at", "pk")
        ),
        unplaced=tuple(Frame.objects.filter(state=FrameState.WAITING).order_by("received_at")),
        numbers=numbers_of(ids),
        periods=ahead,
    )


def _filed_once(ids: Collection[int]) -> frozenset[tuple[int, str, str, str]]:
    return frozenset(
        PackageItem.objects.filter(
            package__state=Package.State.SEALED,
            deliverable__object_id__in=ids,
            deliverable__state=DeliverableState.ACCEPTED,
        ).values_list(
            "deliverable__object_id",
            "deliverable__surface",
            "deliverable__technique",
            "deliverable__variant",
        )
    )


def _waivers(views: Iterable[ViewStatus], now: datetime) -> tuple[Waiver, ...]:
    waived = [view.owed_view_id for view in views if view.status == Status.WAIVED]
    return tuple(
        Waiver.objects.filter(Q(ended_at=None) | Q(ended_at__gt=now), owed_view__in=waived)
        .select_related("granted_by", "co_signed_by", "owed_view__treatment")
        .order_by("owed_view__object_id", "owed_view_id")
    )


def _treatments_ahead(ids: Collection[int], end: datetime) -> tuple[Treatment, ...]:
    until = timezone.localdate(end)
    found = (
        Treatment.objects.filter(
            object_id__in=ids,
            state__in=(TreatmentState.PLANNED, TreatmentState.UNDER_WAY, TreatmentState.PAUSED),
        )
        .prefetch_related("interventions")
        .order_by("planned_from", "pk")
    )
    return tuple(
        treatment
        for treatment in found
        if (step := next_step(treatment.interventions.all())) is not None
        and (planned := step.planned_on or treatment.planned_from) is not None
        and planned <= until
    )
