"""What is owed of an object, who wants it, and what was let go."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import replace
from typing import Any

from django.db.models import F

from imaging_requests.collection.models import EntryObject
from imaging_requests.progress.gather.by_object import ByObject
from imaging_requests.reckoning.truth import facts as truth
from imaging_requests.requesting.anchors import anchor_of
from imaging_requests.requesting.models import Demand, NotApplicable, OwedView, Waiver


def views_of(views: list[OwedView]) -> ByObject[truth.OwedView]:
    """Return the duties, those that were replaced also as such."""
    found: ByObject[truth.OwedView] = defaultdict(list)
    for view in views:
        common: dict[str, Any] = {
            "key": str(view.pk),
            "surface": view.surface,
            "technique": view.technique,
            "variant": view.variant,
            "anchor": anchor_of(view),
            "px_per_mm": view.px_per_mm,
            "tolerance": view.tolerance_percent / 100,
            "min_coverage": view.min_coverage_percent / 100,
        }
        found[view.object_id].append(truth.OwedView(recorded_at=view.created_at, **common))
        if view.replaced_by_id is not None and view.replaced_at is not None:
            found[view.object_id].append(
                truth.OwedView(
                    recorded_at=view.replaced_at,
                    replaced_by=str(view.replaced_by_id),
                    replaced_at=view.replaced_at,
                    **common,
                )
            )
    return found


def catalogues_of(ids: list[int]) -> dict[int, list[str]]:
    """Return the catalogues that each object counts for, itself or as a part of an ensemble."""
    found: dict[int, list[str]] = defaultdict(list)
    present = EntryObject.objects.filter(removed_at=None).order_by()
    own = present.filter(object__in=ids).values_list("object", "entry__catalogue")
    of_wholes = present.filter(object__parts__in=ids).values_list(
        "object__parts", "entry__catalogue"
    )
    for object_id, catalogue_id in own.union(of_wholes):
        found[object_id].append(str(catalogue_id))
    return found


def demand_ref(entry_id: int | None, protocol_line: str) -> str:
    """Name what asks: a line of the protocol that an entry follows."""
    return f"{entry_id}: {protocol_line}" if entry_id is not None else protocol_line


def demands_of(ids: list[int]) -> ByObject[truth.Demand]:
    """Return who wants each duty, once for each catalogue it counts for."""
    catalogues = catalogues_of(ids)
    found: ByObject[truth.Demand] = defaultdict(list)
    rows = Demand.objects.filter(owed_view__object_id__in=ids).annotate(
        object_id=F("owed_view__object_id"),
        catalogue_id=F("entry__catalogue_id"),
        request_counts=F("request_line__request__counts_for_catalogue"),
        treatment_counts=F("treatment__counts_for_catalogue"),
    )
    for row in rows:
        counted: list[str | None] = [str(row.catalogue_id)] if row.catalogue_id else []
        if not counted and (row.request_counts or row.treatment_counts):
            counted = list(catalogues.get(row.object_id, ()))
        for catalogue in counted or [None]:
            common: dict[str, Any] = {
                "key": f"d-{row.pk}-{catalogue or ''}",
                "view": str(row.owed_view_id),
                "kind": row.source,
                "starts_at": row.since,
                "ref": demand_ref(row.entry_id, row.protocol_line),
                "catalogue": catalogue,
                "preferred": row.preferred,
            }
            found[row.object_id].append(truth.Demand(recorded_at=row.since, **common))
            if row.until is not None:
                found[row.object_id].append(
                    truth.Demand(recorded_at=row.until, ends_at=row.until, **common)
                )
    return found


def waivers_of(ids: list[int]) -> ByObject[truth.Waiver]:
    """Return the duties that were let go, and those taken up again.

    A second signature that came later counts from then on, beside the one that stood before.
    """
    found: ByObject[truth.Waiver] = defaultdict(list)
    rows = Waiver.objects.filter(owed_view__object_id__in=ids).annotate(
        object_id=F("owed_view__object_id")
    )
    for row in rows:
        common: dict[str, Any] = {
            "key": f"w-{row.pk}",
            "view": str(row.owed_view_id),
            "granted_at": row.granted_at,
            "lapses_at": row.lapses_at,
            "reason_code": row.reason_code,
            "text": row.text,
            "lead": str(row.granted_by_id),
        }
        second = str(row.co_signed_by_id or "")
        signatures = [(common, row.recorded_at, "" if row.co_signed_at else second)]
        if row.co_signed_at is not None:
            both = common | {"key": f"w-{row.pk}-2", "granted_at": row.co_signed_at}
            signatures.append((both, row.co_signed_at, second))
        for said, recorded_at, conservator in signatures:
            waiver = truth.Waiver(recorded_at=recorded_at, conservator=conservator, **said)
            found[row.object_id].append(waiver)
            if row.ended_at is not None:
                ended = replace(waiver, recorded_at=row.ended_at, ended_at=row.ended_at)
                found[row.object_id].append(ended)
    return found


def not_applicable_of(ids: list[int], views: list[OwedView]) -> ByObject[truth.NotApplicable]:
    """Return the duties that do not apply, by rule or by decision."""
    by_place: dict[tuple[int, str, str, str], list[OwedView]] = defaultdict(list)
    for view in views:
        by_place[view.object_id, view.face, view.technique, view.variant].append(view)
    found: ByObject[truth.NotApplicable] = defaultdict(list)
    for row in NotApplicable.objects.filter(object_id__in=ids):
        for view in by_place.get((row.object_id, row.face, row.technique, row.variant), ()):
            common: dict[str, Any] = {
                "key": f"a-{row.pk}-{view.pk}",
                "view": str(view.pk),
                "starts_at": row.since,
                "reason": row.reason,
                "by_rule": bool(row.rule),
            }
            found[row.object_id].append(truth.NotApplicable(recorded_at=row.since, **common))
            if row.until is not None:
                found[row.object_id].append(
                    truth.NotApplicable(recorded_at=row.until, ends_at=row.until, **common)
                )
    return found
