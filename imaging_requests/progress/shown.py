"""Owed views laid out for people: words, status, reason, picture, who asks."""

from __future__ import annotations

import zoneinfo
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.conf import settings
from django.db.models import Q
from django.urls import reverse
from django.utils import timezone

from imaging_requests.progress.columns import FACE_WORDS
from imaging_requests.progress.models import ViewStatus
from imaging_requests.progress.pictures import Shown, shown_pictures
from imaging_requests.progress.rules import RESOLVED
from imaging_requests.reckoning.truth.status import ReasonCode
from imaging_requests.reckoning.truth.terms import Status
from imaging_requests.requesting.models import Anchor, Demand, OwedView
from imaging_requests.requesting.words import as_of_words, numbers_of, words_of

#: Statuses in which nothing is in hand, so that giving a view up is worth offering.
CAN_WAIVE = frozenset(
    (Status.OPEN, Status.OUT_OF_DATE, Status.BLOCKED, Status.LOST, Status.UNDECIDED)
)
ORDER = {"VF": 0, "VC": 1, "RK": 2, "UV": 3, "IR": 4, "XR": 5}
FACE_ORDER = {"F": 0, "B": 1, "E": 2, "T": 3}


@dataclass(frozen=True)
class ShownView:
    """One owed view as a row or a picture on a page."""

    pk: int
    object_id: int
    number: str
    key: str
    parts: tuple[str, str, str]
    face: str
    words: str
    anchor: str
    is_present: bool
    status: str
    is_resolved: bool
    until: str
    why: str
    waits_for: str
    who: str
    earliest: str
    asked_by: str
    spec: str
    picture: Shown | None
    waive_href: str
    packages_href: str
    catalogues: frozenset[int]
    counts_everywhere: bool
    gap: str = ""

    def counts_for(self, catalogue_id: int) -> bool:
        """Whether the view counts for the object's entry in a catalogue."""
        return self.counts_everywhere or catalogue_id in self.catalogues

    @property
    def src(self) -> str:
        """Address of the thumbnail, or nothing."""
        return self.picture.src if self.picture else ""

    @property
    def href(self) -> str:
        """Address of the picture's own page, or nothing."""
        return self.picture.href if self.picture else ""


def _day(iso: str) -> str:
    if not iso:
        return ""
    local = datetime.fromisoformat(iso).astimezone(zoneinfo.ZoneInfo(settings.STUDIO_ZONE))
    return f"{local:%-d %b %Y}"


def _who_asks(demands: Iterable[Demand]) -> str:
    words: dict[str, None] = {}
    for demand in demands:
        if demand.source == Demand.Source.PROTOCOL and demand.entry is not None:
            words[f"entry {demand.entry.number}"] = None
        elif demand.source == Demand.Source.TREATMENT and demand.treatment is not None:
            words[f"treatment {demand.treatment.code}"] = None
        elif demand.request_line is not None:
            words[f"request {demand.request_line.request.number}"] = None
    return ", ".join(words)


def _spec_words(view: OwedView) -> str:
    tiles = view.spec.get("tiles") or [1, 1]
    exposures = view.spec.get("exposures_ev") or [0]
    parts = [f"{view.px_per_mm:.3g} px/mm"]
    if tiles[0] * tiles[1] > 1:
        parts.append(f"{tiles[0]} × {tiles[1]} tiles")
    if len(exposures) > 1:
        parts.append(f"{len(exposures)} exposures")
    return ", ".join(parts)


def _earliest(row: ViewStatus) -> str:
    """The first day on which the view can go on, where a session or an end of waiting is known."""
    until = row.reason.get("until", "")
    if row.status not in (Status.BLOCKED, Status.PLANNED) or not until:
        return ""
    return _day(until) if datetime.fromisoformat(until) > timezone.now() else ""


def _counts_everywhere(demand: Demand) -> bool:
    """Whether a wish or a treatment counts for every catalogue that speaks of the object."""
    if demand.entry_id is not None:
        return False
    wish, treatment = demand.request_line, demand.treatment
    return bool(
        (wish is not None and wish.request.counts_for_catalogue)
        or (treatment is not None and treatment.counts_for_catalogue)
    )


def shown_views(object_ids: Sequence[int]) -> list[ShownView]:
    """Lay out the derived views of some objects, in the order of the shot list.

    A fixed number of queries for any number of objects.
    """
    rows = list(
        ViewStatus.objects.filter(object_id__in=list(object_ids)).select_related(
            "owed_view", "owed_view__treatment"
        )
    )
    return lay_out(rows, object_ids)


def lay_out(
    rows: Sequence[ViewStatus], object_ids: Sequence[int], *, at: datetime | None = None
) -> list[ShownView]:
    """Lay out derived views, stored or not; `at` asks who wanted them at a past instant."""
    live = Q(until=None) if at is None else Q(Q(until=None) | Q(until__gt=at), since__lte=at)
    demands: dict[int, list[Demand]] = defaultdict(list)
    for demand in Demand.objects.filter(
        live, owed_view__object_id__in=list(object_ids)
    ).select_related("entry", "treatment", "request_line__request"):
        demands[demand.owed_view_id].append(demand)
    pictures = shown_pictures((row.chain, row.picture_version) for row in rows)
    numbers = numbers_of(object_ids)
    found = [_shown(row, demands[row.owed_view_id], pictures, numbers) for row in rows]
    position = {pk: index for index, pk in enumerate(object_ids)}
    by_pk = {row.owed_view_id: row.owed_view for row in rows}
    found.sort(key=lambda view: _place(view, by_pk[view.pk], position))
    return found


def _place(view: ShownView, owed: OwedView, position: dict[int, int]) -> tuple[Any, ...]:
    return (
        position[view.object_id],
        owed.anchor != Anchor.CUR,
        owed.treatment_id or 0,
        FACE_ORDER[owed.face],
        owed.surface,
        ORDER[owed.technique],
        owed.variant,
        owed.anchor_key,
    )


def _shown(
    row: ViewStatus,
    demands: list[Demand],
    pictures: dict[tuple[str, int], Shown],
    numbers: dict[int, str],
) -> ShownView:
    owed = row.owed_view
    is_resolved = row.status in RESOLVED
    return ShownView(
        pk=owed.pk,
        object_id=row.object_id,
        number=numbers[row.object_id],
        key=f"{owed.technique}-{owed.face}-{owed.variant}",
        parts=(owed.technique, owed.face, owed.variant),
        face=owed.face,
        words=words_of(owed),
        anchor=as_of_words(owed),
        is_present=owed.anchor == Anchor.CUR,
        status=row.status,
        is_resolved=is_resolved,
        until=_day(row.reason.get("until", "")) if row.status == "blocked" else "",
        why=row.why,
        waits_for=row.waits_for,
        who=row.waits_for_role,
        earliest=_earliest(row),
        asked_by=_who_asks(demands),
        spec=_spec_words(owed),
        picture=pictures.get((row.chain, row.picture_version or 0)),
        waive_href=reverse("requesting:waive", args=[owed.pk]) if row.status in CAN_WAIVE else "",
        packages_href=reverse("deliverables:packages")
        if row.reason.get("code") == ReasonCode.ACCEPTED
        else "",
        catalogues=frozenset(
            demand.entry.catalogue_id for demand in demands if demand.entry is not None
        ),
        counts_everywhere=any(_counts_everywhere(demand) for demand in demands),
    )


def by_face_and_treatment(views: Iterable[ShownView]) -> list[dict[str, Any]]:
    """Group the present views by face, and after them those owed as of another state."""
    views = list(views)
    groups = by_face(view for view in views if view.is_present)
    past: dict[str, list[ShownView]] = {}
    for view in views:
        if not view.is_present:
            past.setdefault(view.anchor, []).append(view)
    labelled = [
        {"label": anchor[:1].upper() + anchor[1:], "views": found} for anchor, found in past.items()
    ]
    return groups + labelled


def by_face(views: Iterable[ShownView]) -> list[dict[str, Any]]:
    """Group views by face, in order."""
    groups: dict[str, list[ShownView]] = {}
    for view in views:
        groups.setdefault(view.face, []).append(view)
    return [{"label": FACE_WORDS[face], "views": found} for face, found in groups.items()]
