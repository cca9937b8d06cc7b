"""Rows on their way into the database: which columns are named, and what the others hold.

A table names only the columns in which its rows differ; every other column gets its default.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import cached_property
from itertools import count
from typing import Any

from django.db import models

from imaging_requests.campaigns.models import Booking, Resource, Session, ShotLine
from imaging_requests.collection.models import (
    CollectionObject,
    Entry,
    EntryObject,
    Face,
    ObjectFacts,
    ObjectNumber,
    Unavailability,
)
from imaging_requests.deliverables.models import Deliverable, Package, PackageItem, Review
from imaging_requests.progress.models import EntryStatus, ObjectStatus, ViewStatus
from imaging_requests.protocols.models import EntryPin
from imaging_requests.requesting.models import (
    Demand,
    NotApplicable,
    OwedView,
    Request,
    RequestLine,
    Waiver,
)
from imaging_requests.treatments.models import (
    DecisionCase,
    DecisionVerdict,
    Intervention,
    InterventionRecord,
    Treatment,
)

Row = tuple[Any, ...]

#: Free keys of each table for each object of a chunk; many more than are ever used.
KEYS_PER_OBJECT = 400


@dataclass(eq=False)
class Table:
    """A model and the columns that rows give, in their order."""

    model: type[models.Model]
    columns: tuple[str, ...]

    @cached_property
    def fields(self) -> tuple[models.Field[Any, Any], ...]:
        """The fields of the named columns, then those of the others that hold anything."""
        by_column = {field.attname: field for field in self.model._meta.concrete_fields}
        named = [by_column.pop(column) for column in self.columns]
        return (*named, *(f for f in by_column.values() if _needs_value(f)))

    @cached_property
    def defaults(self) -> Row:
        """What the columns hold that rows do not give."""
        return tuple(f.get_default() for f in self.fields[len(self.columns) :])


def _needs_value(field: models.Field[Any, Any]) -> bool:
    """Whether a column that rows do not give holds more than nothing; a key comes by itself."""
    return not field.primary_key and field.get_default() is not None


def _table(model: type[models.Model], columns: str) -> Table:
    return Table(model, tuple(columns.split()))


OBJECTS = _table(CollectionObject, "id uuid kind title created_at")
NUMBERS = _table(ObjectNumber, "id object_id number in_force_from")
FACES = _table(Face, "id object_id code")
FACTS = _table(
    ObjectFacts,
    "id object_id valid_from recorded_at height_mm width_mm depth_mm warp_mm weight_kg support "
    "painted_faces framed glazed sealed flash_allowed uv_allowed light_class flaking",
)
AWAY = _table(Unavailability, "id object_id reason since until recorded_at")
ENTRIES = _table(Entry, "id catalogue_id number sort_key title curator_id weight")
MEMBERS = _table(EntryObject, "id entry_id object_id position added_at removed_at")
PINS = _table(EntryPin, "id entry_id protocol_id pinned_at recorded_at")
TREATMENTS = _table(
    Treatment,
    "id object_id code title conservator_id state planned_from planned_to scope recorded_at "
    "signed_off_at",
)
STEPS = _table(
    Intervention,
    "id treatment_id object_id step type_row state planned_on started_at finished_at recorded_at",
)
STEP_RECORDS = _table(
    InterventionRecord, "id intervention_id recorded_at recorded_by_id state started_at finished_at"
)
VIEWS = _table(
    OwedView,
    "id object_id face surface technique variant anchor treatment_id anchor_phase anchor_step "
    "anchor_event_id anchor_key px_per_mm tolerance_percent min_coverage_percent spec due_on "
    "created_at ended_at end_reason",
)
DEMANDS = _table(
    Demand,
    "id owed_view_id source entry_id protocol_line treatment_id request_line_id preferred "
    "since until",
)
NOT_APPLICABLE = _table(NotApplicable, "id object_id face technique variant rule reason since")
WAIVERS = _table(
    Waiver, "id owed_view_id reason_code text granted_by_id granted_at recorded_at lapses_at"
)
REQUESTS = _table(Request, "id number requester_id purpose why wanted_by filed_at")
LINES = _table(
    RequestLine,
    "id request_id object_id face technique variant state decided_by_id decided_at promised_on",
)
SESSIONS = _table(
    Session,
    "id campaign_id station_id photographer_id starts_at ends_at zone state confirmed_at",
)
SHOTS = _table(
    ShotLine,
    "id session_id object_id position face surface technique variant px_per_mm tiles_across "
    "tiles_down exposures_ev minutes expected_files cautions",
)
SHOT_VIEWS = _table(ShotLine.owed_views.through, "id shotline_id owedview_id")
RESOURCES = _table(Resource, "id kind object_id name")
BOOKINGS = _table(Booking, "id resource_id session_id starts_at ends_at")
PICTURES = _table(
    Deliverable,
    "id chain version object_id face surface technique variant kind state captured_at px_per_mm "
    "is_complete polarity photographer_id created_at handed_in_at",
)
REVIEWS = _table(Review, "id deliverable_id verdict by_id note recorded_at")
PACKAGES = _table(Package, "id number purpose entry_id made_by_id made_at")
ITEMS = _table(PackageItem, "id package_id deliverable_id")
CASES = _table(
    DecisionCase,
    "id object_id intervention_id chain technique face variant proposal reason assigned_to_id "
    "state opened_at",
)
VERDICTS = _table(DecisionVerdict, "id case_id verdict reason by_id recorded_at")
VIEW_STATUSES = _table(
    ViewStatus,
    "owed_view_id object_id status why reason waits_for waits_for_role is_met is_present "
    "is_only_now chain picture_version",
)
OBJECT_STATUSES = _table(
    ObjectStatus,
    "object_id derived_at holds_until facts_complete missing_facts state_index has_open_question",
)
ENTRY_STATUSES = _table(
    EntryStatus,
    "entry_id grade why counts cells present resolved debt owed met unmet lost derived_at",
)

#: In the order in which they are written: what is referred to comes first.
TABLES: tuple[Table, ...] = (
    OBJECTS,
    NUMBERS,
    FACES,
    FACTS,
    AWAY,
    ENTRIES,
    MEMBERS,
    PINS,
    TREATMENTS,
    STEPS,
    STEP_RECORDS,
    VIEWS,
    REQUESTS,
    LINES,
    DEMANDS,
    NOT_APPLICABLE,
    WAIVERS,
    SESSIONS,
    SHOTS,
    SHOT_VIEWS,
    RESOURCES,
    BOOKINGS,
    PICTURES,
    REVIEWS,
    PACKAGES,
    ITEMS,
    CASES,
    VERDICTS,
    VIEW_STATUSES,
    OBJECT_STATUSES,
    ENTRY_STATUSES,
)


@dataclass
class Rows:
    """The rows of one chunk by table, and the keys that are free for it."""

    first_key: int
    by_table: dict[Table, list[Row]] = field(default_factory=lambda: {t: [] for t in TABLES})
    _keys: dict[Table, Iterator[int]] = field(init=False)

    def __post_init__(self) -> None:
        """Begin to count every table's keys."""
        self._keys = {table: count(self.first_key) for table in TABLES}

    def key(self, table: Table) -> int:
        """Return the next free key of a table in this chunk."""
        return next(self._keys[table])

    def keys(self, table: Table) -> Iterator[int]:
        """Return the free keys of a table in this chunk, from where they were left."""
        return self._keys[table]

    def add(self, table: Table, *values: Any) -> None:
        """Add one row; the values stand in the order of the table's columns."""
        self.by_table[table].append(values)
