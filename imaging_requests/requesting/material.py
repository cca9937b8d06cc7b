"""Gather what the duties of objects follow from, in a fixed number of queries for many objects."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from imaging_requests.collection.models import (
    CollectionObject,
    EntryObject,
    ObjectFacts,
    RecordState,
)
from imaging_requests.collection.rules import layers_of
from imaging_requests.protocols.models import TriggerTableVersion, VersionState
from imaging_requests.protocols.queries import (
    protocol_of,
    protocols_pinned,
    settings_for_words,
    trigger_table_of,
)
from imaging_requests.reckoning.shots import StudioSettings
from imaging_requests.reckoning.truth import facts as truth
from imaging_requests.reckoning.truth.moment import Moment, look
from imaging_requests.reckoning.truth.owing import seen_at
from imaging_requests.reckoning.truth.triggers import TriggerTable
from imaging_requests.requesting.duties import Known, Pin
from imaging_requests.requesting.known_facts import latest_facts, shot_facts
from imaging_requests.requesting.treatment_duties import Course
from imaging_requests.treatments.events import step_event
from imaging_requests.treatments.models import Intervention, InterventionState, Treatment

#: How far up the tree of parts an entry is looked for: fragment, wing, ensemble.
_LEVELS = ("pk", "part_of_id", "part_of__part_of_id", "part_of__part_of__part_of_id")
Published = tuple[datetime, TriggerTable]

_GONE = frozenset((RecordState.MERGED, RecordState.WITHDRAWN))


@dataclass(frozen=True, kw_only=True)
class Material:
    """Everything known about one object for its duties. Without a trigger table no `courses`."""

    known: Known
    is_gone: bool
    moment: Moment
    courses: tuple[Course, ...]


def gather_material(object_ids: Iterable[int], now: datetime) -> dict[int, Material]:
    """Read everything about some objects; empty while the studio has no published settings."""
    settings = settings_for_words(now)
    if settings is None:
        return {}
    ids = sorted(set(object_ids))
    objects = list(CollectionObject.objects.filter(pk__in=ids))
    facts = latest_facts(ids, now)
    pins = _pins(ids, now)
    published = _published_tables()
    treatments = _treatments(ids)
    steps = _steps(ids)
    return {
        row.pk: material_of(
            row,
            facts=facts.get(row.pk),
            settings=settings,
            pins=pins.get(row.pk, ()),
            treatments=treatments.get(row.pk, ()),
            steps=steps.get(row.pk, ()),
            published=published,
            now=now,
        )
        for row in objects
    }


def material_of(
    row: CollectionObject,
    *,
    facts: ObjectFacts | None,
    settings: StudioSettings,
    pins: tuple[Pin, ...],
    treatments: Sequence[Treatment],
    steps: Sequence[Intervention],
    published: Sequence[Published],
    now: datetime,
) -> Material:
    """Put the rows of one object together; the database is not asked."""
    tables = {table.version: table for _, table in published}
    numbers = [(published_at, table.version) for published_at, table in published]
    own_steps = steps if tables else ()
    case = truth.ObjectCase(
        object_id=str(row.pk),
        published=tuple(numbers),
        facts=_true_facts(row, facts),
        events=tuple(
            step_event(step, numbers, started_at=step.started_at, ended_at=step.finished_at)
            for step in own_steps
        ),
    )
    moment = look(case, tables, t=now, u=now)
    moments = {now: moment}
    by_treatment: dict[int, list[Intervention]] = defaultdict(list)
    for step in own_steps:
        by_treatment[step.treatment_id].append(step)
    return Material(
        known=Known(
            object_id=row.pk,
            kind=row.kind,
            facts=shot_facts(facts, kind=row.kind, title=row.title),
            settings=settings,
            pins=pins,
            surfaces=seen_at(moment.surfaces),
        ),
        is_gone=row.record_state in _GONE,
        moment=moment,
        courses=tuple(
            Course(
                treatment=treatment,
                steps=tuple(by_treatment[treatment.pk]),
                case=case,
                tables=tables,
                now=now,
                moments=moments,
            )
            for treatment in treatments
        ),
    )


def _pins(ids: list[int], now: datetime) -> dict[int, tuple[Pin, ...]]:
    """Protocol versions that ask for each object, through its own entries and its wholes'."""
    wholes: dict[int, set[int]] = {}
    for chain in CollectionObject.objects.filter(pk__in=ids).values_list(*_LEVELS):
        wholes[chain[0]] = {pk for pk in chain if pk is not None}
    memberships = EntryObject.objects.filter(
        object_id__in={pk for chain in wholes.values() for pk in chain},
        added_at__lte=now,
        removed_at=None,
    ).values_list("object_id", "entry_id")
    entries: dict[int, set[int]] = defaultdict(set)
    for object_id, entry_id in memberships:
        entries[object_id].add(entry_id)
    versions = protocols_pinned({pk for found in entries.values() for pk in found}, now)
    protocols = {row.pk: protocol_of(row) for row in versions.values()}
    pins: dict[int, tuple[Pin, ...]] = {}
    for object_id, chain in wholes.items():
        asking: dict[int, list[int]] = defaultdict(list)
        for entry_id in sorted({entry for pk in chain for entry in entries.get(pk, ())}):
            if entry_id in versions:
                asking[versions[entry_id].pk].append(entry_id)
        pins[object_id] = tuple(
            Pin(protocol=protocols[version], entry_ids=tuple(asked))
            for version, asked in asking.items()
        )
    return pins


def _treatments(ids: list[int]) -> Mapping[int, list[Treatment]]:
    found: dict[int, list[Treatment]] = defaultdict(list)
    for treatment in Treatment.objects.filter(object_id__in=ids).order_by("pk"):
        found[treatment.object_id].append(treatment)
    return found


def _steps(ids: list[int]) -> Mapping[int, list[Intervention]]:
    found: dict[int, list[Intervention]] = defaultdict(list)
    steps = Intervention.objects.filter(object_id__in=ids).exclude(state=InterventionState.DROPPED)
    for step in steps.order_by("treatment_id", "step"):
        found[step.object_id].append(step)
    return found


def _published_tables() -> list[Published]:
    """Every published trigger table in the order of publication."""
    rows = TriggerTableVersion.objects.exclude(state=VersionState.DRAFT).order_by("published_at")
    return [
        (row.published_at, trigger_table_of(row)) for row in rows if row.published_at is not None
    ]


def _true_facts(row: CollectionObject, facts: ObjectFacts | None) -> tuple[truth.ObjectFacts, ...]:
    if facts is None:
        return ()
    return (
        truth.ObjectFacts(
            key=f"f-{facts.pk}",
            recorded_at=facts.recorded_at,
            valid_from=facts.valid_from,
            kind=row.kind,
            two_sided=facts.painted_faces == "FB",
            height_mm=facts.height_mm,
            width_mm=facts.width_mm,
            layers=layers_of(is_lined=facts.is_lined),
        ),
    )
