"""Gather everything recorded about objects, in a fixed number of queries, as plain facts.

Each record keeps both its times: when it was true and when the house learnt it. What counts at a
given pair of times is decided by the pure rules, never here.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import replace
from datetime import datetime
from typing import Any, TypeVar

from django.db.models import F
from django.utils import timezone

from imaging_requests.campaigns.models import SessionState, ShotLine
from imaging_requests.collection.models import (
    CollectionObject,
    EntryObject,
    ObjectFacts,
    Unavailability,
)
from imaging_requests.collection.rules import layers_of
from imaging_requests.deliverables.models import (
    Correction,
    Deliverable,
    DeliverableFrame,
    PackageItem,
    Review,
)
from imaging_requests.deliverables.queries import numbers
from imaging_requests.intake.models import Copy
from imaging_requests.reckoning.truth import facts as truth
from imaging_requests.reckoning.truth.terms import Validity, Verdict
from imaging_requests.requesting.anchors import anchor_of
from imaging_requests.requesting.models import Demand, NotApplicable, OwedView, Waiver
from imaging_requests.treatments.events import (
    event_key,
    incident_event,
    incident_key,
    published_tables,
    step_event,
)
from imaging_requests.treatments.models import (
    DecisionCase,
    DecisionVerdict,
    EmergencyOverride,
    Incident,
    Intervention,
    InterventionRecord,
    InterventionState,
)

T = TypeVar("T")
ByObject = dict[int, list[T]]


def gather_cases(object_ids: Iterable[int]) -> dict[int, truth.ObjectCase]:
    """Return the case file of each object; the number of queries does not depend on how many.

    Records that were merged into an object bring their pictures and events with them.
    """
    ids = sorted(set(object_ids))
    doubles = _doubles(ids)
    everyone = sorted({*ids, *doubles})
    views = list(OwedView.objects.defer("spec").filter(object_id__in=ids))
    parts: dict[str, Mapping[int, list[Any]]] = {
        "facts": _facts(ids),
        "events": _joined(_events(everyone), doubles),
        "pictures": _joined(_pictures(everyone), doubles),
        "reviews": _joined(_reviews(everyone), doubles),
        "filings": _joined(_filings(everyone), doubles),
        "views": _views(views),
        "demands": _demands(ids),
        "waivers": _waivers(ids),
        "not_applicable": _not_applicable(ids, views),
        "decisions": _joined(_decisions(everyone), doubles),
        "planned": _planned(ids),
        "unavailable": _unavailable(ids),
        "overrides": _joined(_overrides(everyone), doubles),
        "corrections": _joined(_corrections(everyone), doubles),
    }
    return {
        pk: truth.ObjectCase(
            object_id=str(pk),
            **{name: tuple(part.get(pk, ())) for name, part in parts.items()},
        )
        for pk in ids
    }


def _doubles(ids: list[int]) -> dict[int, int]:
    """Return the records merged into some objects, each with the object that it is."""
    rows = CollectionObject.objects.filter(merged_into__in=ids).values_list("pk", "merged_into_id")
    return {pk: kept for pk, kept in rows if kept is not None}


def _joined(found: ByObject[T], doubles: Mapping[int, int]) -> ByObject[T]:
    joined = dict(found)
    for double, kept in doubles.items():
        joined[kept] = [*joined.get(kept, ()), *found.get(double, ())]
    return joined


def _facts(ids: list[int]) -> ByObject[truth.ObjectFacts]:
    found: ByObject[truth.ObjectFacts] = defaultdict(list)
    for row in ObjectFacts.objects.filter(object_id__in=ids).annotate(kind=F("object__kind")):
        found[row.object_id].append(
            truth.ObjectFacts(
                key=f"f-{row.pk}",
                recorded_at=row.recorded_at,
                valid_from=row.valid_from,
                kind=row.kind,
                two_sided=row.painted_faces == "FB",
                height_mm=row.height_mm,
                width_mm=row.width_mm,
                depth_mm=row.depth_mm,
                warp_mm=row.warp_mm,
                support=row.support or None,
                framed=row.framed,
                glazed=row.glazed,
                light_class=row.light_class or None,
                layers=layers_of(is_lined=row.is_lined),
            )
        )
    return found


def _events(ids: list[int]) -> ByObject[truth.Event]:
    published = published_tables()
    found: ByObject[truth.Event] = defaultdict(list)
    records: dict[int, list[InterventionRecord]] = defaultdict(list)
    for record in InterventionRecord.objects.filter(intervention__object_id__in=ids):
        records[record.intervention_id].append(record)
    for step in Intervention.objects.filter(object_id__in=ids):
        found[step.object_id].append(step_event(step, published))
        for record in records.get(step.pk, ()):
            dropped = record.state == InterventionState.DROPPED
            found[step.object_id].append(
                step_event(
                    step,
                    published,
                    recorded_at=record.recorded_at,
                    started_at=record.started_at,
                    ended_at=record.finished_at,
                    dropped_at=record.recorded_at if dropped else None,
                )
            )
    for incident in Incident.objects.filter(object_id__in=ids):
        found[incident.object_id].append(incident_event(incident, published))
    return found


def _pictures(ids: list[int]) -> ByObject[truth.Picture]:
    found: ByObject[truth.Picture] = defaultdict(list)
    for row in Deliverable.objects.filter(object_id__in=ids):
        found[row.object_id].append(
            truth.Picture(
                chain=str(row.chain),
                version=row.version,
                recorded_at=row.created_at,
                surface=row.surface,
                technique=row.technique,
                variant=row.variant,
                captured_at=row.captured_at,
                px_per_mm=row.px_per_mm,
                coverage=row.coverage_percent / 100,
                complete=row.is_complete,
                handed_in_at=row.handed_in_at,
                photographer=str(row.photographer_id),
            )
        )
    return found


def _reviews(ids: list[int]) -> ByObject[truth.Review]:
    found: ByObject[truth.Review] = defaultdict(list)
    rows = Review.objects.filter(deliverable__object_id__in=ids).select_related("deliverable")
    for row in rows:
        found[row.deliverable.object_id].append(
            truth.Review(
                key=f"r-{row.pk}",
                recorded_at=row.recorded_at,
                chain=str(row.deliverable.chain),
                version=row.deliverable.version,
                verdict=Verdict(row.verdict),
                at=row.recorded_at,
                by=str(row.by_id),
                frames_good=row.frames_good,
            )
        )
    return found


def _filings(ids: list[int]) -> ByObject[truth.Filing]:
    """A version is filed once it lies in a sealed package and every frame's copies are proven."""
    items = PackageItem.objects.filter(
        deliverable__object_id__in=ids, package__sealed_at__isnull=False
    ).select_related("deliverable", "package")
    sealed: dict[int, tuple[Deliverable, datetime]] = {}
    for item in items:
        sealed_at = item.package.sealed_at
        known = sealed.get(item.deliverable_id)
        if sealed_at is not None and (known is None or sealed_at < known[1]):
            sealed[item.deliverable_id] = (item.deliverable, sealed_at)
    if not sealed:
        return {}
    needed = numbers(timezone.now()).proven_copies
    proven: dict[int, dict[int, list[datetime]]] = defaultdict(lambda: defaultdict(list))
    copies = Copy.objects.filter(
        frame__deliverable_frames__deliverable__in=sealed, is_good=True, verified_at__isnull=False
    ).values_list("frame__deliverable_frames__deliverable", "frame_id", "verified_at")
    for deliverable_id, frame_id, verified_at in copies:
        if verified_at is not None:
            proven[deliverable_id][frame_id].append(verified_at)
    frames: dict[int, set[int]] = defaultdict(set)
    pairs = DeliverableFrame.objects.filter(deliverable__in=sealed).values_list(
        "deliverable_id", "frame_id"
    )
    for deliverable_id, frame_id in pairs:
        frames[deliverable_id].add(frame_id)
    found: ByObject[truth.Filing] = defaultdict(list)
    for pk, (deliverable, sealed_at) in sealed.items():
        instants = [sealed_at]
        for frame_id in frames[pk]:
            verified = sorted(proven[pk].get(frame_id, ()))
            if len(verified) < needed:
                break
            instants.append(verified[needed - 1])
        else:
            starts_at = max(instants)
            found[deliverable.object_id].append(
                truth.Filing(
                    key=f"p-{pk}",
                    recorded_at=starts_at,
                    chain=str(deliverable.chain),
                    version=deliverable.version,
                    starts_at=starts_at,
                )
            )
    return found


def _views(views: list[OwedView]) -> ByObject[truth.OwedView]:
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


def _catalogues(ids: list[int]) -> dict[int, list[str]]:
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


def _demands(ids: list[int]) -> ByObject[truth.Demand]:
    catalogues = _catalogues(ids)
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
                "ref": row.protocol_line,
                "catalogue": catalogue,
            }
            found[row.object_id].append(truth.Demand(recorded_at=row.since, **common))
            if row.until is not None:
                found[row.object_id].append(
                    truth.Demand(recorded_at=row.until, ends_at=row.until, **common)
                )
    return found


def _waivers(ids: list[int]) -> ByObject[truth.Waiver]:
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
            "conservator": str(row.co_signed_by_id or ""),
        }
        found[row.object_id].append(truth.Waiver(recorded_at=row.recorded_at, **common))
        if row.ended_at is not None:
            found[row.object_id].append(
                truth.Waiver(recorded_at=row.ended_at, ended_at=row.ended_at, **common)
            )
    return found


def _not_applicable(ids: list[int], views: list[OwedView]) -> ByObject[truth.NotApplicable]:
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


def _decisions(ids: list[int]) -> ByObject[truth.Decision]:
    verdicts: dict[int, list[DecisionVerdict]] = defaultdict(list)
    for verdict in DecisionVerdict.objects.filter(case__object_id__in=ids):
        verdicts[verdict.case_id].append(verdict)
    found: ByObject[truth.Decision] = defaultdict(list)
    for case in DecisionCase.objects.filter(object_id__in=ids):
        event = (
            event_key(case.intervention_id)
            if case.intervention_id is not None
            else incident_key(case.incident_id or 0)
        )
        common: dict[str, Any] = {
            "chain": str(case.chain),
            "event": event,
            "opened_at": case.opened_at,
        }
        opening = truth.Decision(key=f"c-{case.pk}", recorded_at=case.opened_at, **common)
        found[case.object_id].append(opening)
        for verdict in verdicts.get(case.pk, ()):
            reopened = verdict.verdict == "reopened"
            found[case.object_id].append(
                truth.Decision(
                    key=f"c-{case.pk}-{verdict.pk}",
                    recorded_at=verdict.recorded_at,
                    verdict=None if reopened else Validity(verdict.verdict),
                    decided_at=verdict.recorded_at,
                    by=str(verdict.by_id),
                    reason=verdict.reason,
                    **common,
                )
            )
    return found


def _planned(ids: list[int]) -> ByObject[truth.PlannedShot]:
    found: ByObject[truth.PlannedShot] = defaultdict(list)
    through = ShotLine.owed_views.through
    rows = (
        through._default_manager.filter(
            shotline__object_id__in=ids, shotline__session__confirmed_at__isnull=False
        )
        .values_list(
            "pk",
            "owedview_id",
            "shotline__object_id",
            "shotline__state",
            "shotline__decided_at",
            "shotline__session_id",
            "shotline__session__confirmed_at",
            "shotline__session__starts_at",
            "shotline__session__state",
            "shotline__session__cancelled_at",
            "shotline__session__closed_at",
        )
        .order_by("pk")
    )
    for (
        pk,
        view_id,
        object_id,
        line_state,
        decided_at,
        session_id,
        confirmed_at,
        starts_at,
        session_state,
        cancelled_at,
        closed_at,
    ) in rows:
        if confirmed_at is None:
            continue
        released = [instant for instant in (cancelled_at, closed_at) if instant is not None]
        if line_state != "planned" and decided_at is not None:
            released.append(decided_at)
        if session_state == SessionState.CANCELLED and not released:
            released.append(confirmed_at)
        common: dict[str, Any] = {
            "key": f"s-{pk}",
            "view": str(view_id),
            "session": f"session {session_id}",
            "confirmed_at": confirmed_at,
            "session_starts_at": starts_at,
        }
        found[object_id].append(truth.PlannedShot(recorded_at=confirmed_at, **common))
        if released:
            ended = min(released)
            found[object_id].append(
                truth.PlannedShot(recorded_at=ended, released_at=ended, **common)
            )
    return found


def _unavailable(ids: list[int]) -> ByObject[truth.Unavailable]:
    found: ByObject[truth.Unavailable] = defaultdict(list)
    for row in Unavailability.objects.filter(object_id__in=ids, blocks_capture=True):
        common: dict[str, Any] = {
            "key": f"u-{row.pk}",
            "kind": row.reason,
            "starts_at": row.since,
            "ends_at": row.until,
        }
        found[row.object_id].append(truth.Unavailable(recorded_at=row.recorded_at, **common))
        if row.withdrawn_at is not None:
            found[row.object_id].append(
                truth.Unavailable(recorded_at=row.withdrawn_at, withdrawn=True, **common)
            )
    return found


def _overrides(ids: list[int]) -> ByObject[truth.Override]:
    found: ByObject[truth.Override] = defaultdict(list)
    rows = EmergencyOverride.objects.filter(intervention__object_id__in=ids).select_related(
        "intervention"
    )
    for row in rows:
        step = row.intervention
        found[step.object_id].append(
            truth.Override(
                key=f"o-{row.pk}",
                recorded_at=row.recorded_at,
                event=event_key(step.pk),
                at=step.started_at or row.recorded_at,
                conservator=str(row.conservator_id),
                witness=str(row.witness_id or ""),
                witness_named_at=row.witnessed_at,
            )
        )
    return found


def _corrections(ids: list[int]) -> ByObject[truth.Correction]:
    """What is being put right; that it was closed is learnt when it was closed."""
    found: ByObject[truth.Correction] = defaultdict(list)
    rows = Correction.objects.filter(deliverable__object_id__in=ids).exclude(
        kind=Correction.Kind.WORDS
    )
    for row in rows.select_related("deliverable"):
        opened = truth.Correction(
            key=f"c-{row.pk}",
            recorded_at=row.found_at,
            chain=str(row.deliverable.chain),
            opened_at=row.found_at,
        )
        found[row.deliverable.object_id].append(opened)
        if row.closed_at is not None:
            closed = replace(opened, recorded_at=row.closed_at, closed_at=row.closed_at)
            found[row.deliverable.object_id].append(closed)
    return found
