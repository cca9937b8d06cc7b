"""Read what a board shows: its numbers and its rows, in two short queries at any size.

The board is the page that most people open most often, so its queries are put together once for
each process and not for each view. How many entries a catalogue has, whether anything is stale and
who may have entries is read together with its numbers.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from datetime import datetime
from functools import lru_cache
from itertools import starmap

from django.db import connection
from django.db.models import BigIntegerField, IntegerField, OuterRef, QuerySet, Subquery, TextField
from django.db.models.expressions import RawSQL
from django.db.models.functions import Cast

from imaging_requests.collection.models import Catalogue, Entry
from imaging_requests.people.models import Role, RoleHolding, User
from imaging_requests.progress.adding_up import ADDED_UP
from imaging_requests.progress.board import BoardRow, Totals
from imaging_requests.progress.models import CatalogueStatus
from imaging_requests.progress.settle import STALE
from imaging_requests.requesting.models import GapStatement

_CATALOGUE, _ENTRY = Catalogue._meta.db_table, Entry._meta.db_table
_COUNT = f"SELECT COUNT(*) FROM {_ENTRY} WHERE catalogue_id = {_CATALOGUE}.id"
_ENTRIES = RawSQL(_COUNT, (), output_field=IntegerField())
#: What is signed about an entry's lost views; at most one statement is in force.
_GAP = GapStatement.objects.filter(entry=OuterRef("pk"), ended_at=None).values("text")[:1]
#: A list of keys and names as JSON text.
_GATHERED = {
    "postgresql": "CAST(JSON_AGG(JSON_BUILD_ARRAY(found.id, found.name)) AS TEXT)",
    "sqlite": "JSON_GROUP_ARRAY(JSON_ARRAY(found.id, found.name))",
}
_CURATORS = f"""
    SELECT person.id, person.name
    FROM {User._meta.db_table} AS person
    JOIN {RoleHolding._meta.db_table} AS holding ON holding.user_id = person.id
    WHERE holding.role = %s AND holding.held_until IS NULL AND person.is_active
    ORDER BY person.name, person.id
"""
_HEAD = f"""
    SELECT {_CATALOGUE}.title, EXISTS ({STALE}), ({_COUNT}),
        (SELECT {{gathered}} FROM ({_CURATORS}) AS found),
        {", ".join(f'COALESCE(sums."{name}", 0)' for name in ADDED_UP)}
    FROM {_CATALOGUE}
    LEFT JOIN {CatalogueStatus._meta.db_table} AS sums ON sums.catalogue_id = {_CATALOGUE}.id
    WHERE {_CATALOGUE}.id = %s
"""
#: Queries of single pages of boards that a process remembers.
PAGES = 100


@dataclass(frozen=True)
class Head:
    """What stands above a board; `may_be_stale` tells whether anything in the house is.

    `curators` are the keys and names of those who may have entries, by name.
    """

    title: str
    may_be_stale: bool
    totals: Totals
    curators: tuple[tuple[int, str], ...]


def read_head(catalogue_id: int, now: datetime) -> Head | None:
    """Read the title and the numbers of a catalogue, or None if there is no such catalogue."""
    if catalogue_id > BigIntegerField.MAX_BIGINT:
        return None  # no row has such a number, and the database cannot be asked for it
    with connection.cursor() as cursor:
        at = connection.ops.adapt_datetimefield_value(now)
        statement = _HEAD.format(gathered=_GATHERED[connection.vendor])
        cursor.execute(statement, [at, Role.CURATOR.value, catalogue_id])
        found = cursor.fetchone()
    if found is None:
        return None
    title, may_be_stale, total, curators, *sums = found
    return Head(
        title=title,
        may_be_stale=bool(may_be_stale),
        totals=Totals(total, *sums),
        curators=tuple((pk, name) for pk, name in json.loads(curators or "[]")),
    )


def catalogues_with_numbers() -> QuerySet[Catalogue]:
    """Return catalogues with what is cached of them and the number of their entries."""
    return Catalogue.objects.select_related("derived").annotate(entries_number=_ENTRIES)


def totals_of(catalogue: Catalogue) -> Totals:
    """Return the numbers of a catalogue read by `catalogues_with_numbers`."""
    total: int = catalogue.entries_number  # type: ignore[attr-defined]
    derived: CatalogueStatus | None = getattr(catalogue, "derived", None)
    if derived is None:
        return Totals(total)
    return Totals(total, **{name: getattr(derived, name) for name in ADDED_UP})


def headline(catalogue: Catalogue) -> Totals:
    """Return the numbers of one catalogue, read anew."""
    return totals_of(catalogues_with_numbers().get(pk=catalogue.pk))


def board_entries(catalogue_id: int) -> QuerySet[Entry]:
    """Return the entries of a catalogue in their order."""
    return Entry.objects.filter(catalogue=catalogue_id).order_by("sort_key", "pk")


def rows_of(entries: QuerySet[Entry]) -> tuple[BoardRow, ...]:
    """Read what the board shows of some entries."""
    return tuple(starmap(BoardRow, _as_shown(entries)))


def rows_between(catalogue_id: int, start: int, end: int) -> tuple[BoardRow, ...]:
    """Read what the board shows of the entries from one place in the order to another."""
    if start >= end:
        return ()
    with connection.cursor() as cursor:
        cursor.execute(_rows_between(start, end), [catalogue_id])
        return tuple(starmap(BoardRow, cursor.fetchall()))


@lru_cache(maxsize=PAGES)
def _rows_between(start: int, end: int) -> str:
    """The query of `rows_of` for one page; its only parameter is the catalogue."""
    statement, _ = _as_shown(board_entries(0))[start:end].query.sql_with_params()
    return statement


def _as_shown(entries: QuerySet[Entry]) -> QuerySet[Entry, tuple[object, ...]]:
    return entries.values_list(
        "pk",
        "number",
        "title",
        "derived__grade",
        "derived__unmet",
        Cast("derived__cells", TextField()),
        "derived__lost",
        Subquery(_GAP),
    )
