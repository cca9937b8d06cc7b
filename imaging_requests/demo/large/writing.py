"""Write rows in bulk: by COPY on PostgreSQL, many at once on SQLite. Every constraint stays on."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Iterable
from datetime import UTC, date, datetime
from functools import lru_cache
from itertools import repeat
from operator import attrgetter
from typing import Any
from uuid import UUID

from django.core.management.color import no_style
from django.db import connection, models
from django.db.models import F

from imaging_requests.deliverables.models import Package
from imaging_requests.demo.large.rows import PACKAGES, TABLES, Row, Rows, Table

EMPTY_MANIFEST = hashlib.sha256(b"[]").hexdigest()


def write(rows: Rows) -> None:
    """Write everything of one chunk inside the caller's transaction."""
    write_table = _copy if connection.vendor == "postgresql" else _insert
    for table in TABLES:
        if rows.by_table[table]:
            write_table(table, rows.by_table[table])
    _seal([row[0] for row in rows.by_table[PACKAGES]])


def _seal(packages: list[int]) -> None:
    """Seal packages once everything lies in them: the database lets nothing in afterwards."""
    Package.objects.filter(pk__in=packages).update(
        state=Package.State.SEALED, sealed_at=F("made_at"), manifest_sha256=EMPTY_MANIFEST
    )


def _names(table: Table) -> tuple[str, str]:
    quote = connection.ops.quote_name
    columns = ", ".join(quote(str(f.column)) for f in table.fields)
    return quote(table.model._meta.db_table), columns


def _rest(table: Table) -> Row:
    """Defaults of the columns that rows do not give; JSON as text, as rows bring theirs."""
    fields = table.fields[len(table.columns) :]
    return tuple(
        json.dumps(value) if isinstance(each, models.JSONField) and value is not None else value
        for each, value in zip(fields, table.defaults, strict=True)
    )


def _copy(table: Table, rows: list[Row]) -> None:
    """Write rows by COPY, with whole columns made ready at once."""
    name, names = _names(table)
    columns = [
        _column(field, values)
        for field, values in zip(table.fields, zip(*rows, strict=True), strict=False)
    ]
    columns += [repeat(value, len(rows)) for value in _rest(table)]
    with (
        connection.cursor() as cursor,
        cursor.copy(f"COPY {name} ({names}) FROM STDIN") as copy,
    ):
        for row in zip(*columns, strict=True):
            copy.write_row(row)


@lru_cache(maxsize=50_000)
def _said(value: date | None) -> str | None:
    """Write out a date or instant once: they repeat, and the driver makes each anew."""
    return None if value is None else str(value)


#: How a column of values is made ready for COPY, where the driver would take long over each.
_READY: tuple[tuple[type[models.Field[Any, Any]], Callable[[Any], str | None]], ...] = (
    (models.DateField, _said),
    (models.UUIDField, attrgetter("hex")),
)


def _column(field: models.Field[Any, Any], values: Iterable[Any]) -> Iterable[Any]:
    for kind, ready in _READY:
        if isinstance(field, kind):
            return map(ready, values)
    return values


def _insert(table: Table, rows: list[Row]) -> None:
    name, columns = _names(table)
    rest = _rest(table)
    marks = ", ".join("%s" for _ in table.fields)
    with connection.cursor() as cursor:
        cursor.executemany(
            f"INSERT INTO {name} ({columns}) VALUES ({marks})",
            [tuple(map(_plain, row + rest)) for row in rows],
        )


def _plain(value: Any) -> Any:
    """Turn a value into what SQLite keeps, as Django writes it."""
    if isinstance(value, datetime):
        return _instant(value)
    if isinstance(value, date):
        return value.isoformat()
    return value.hex if isinstance(value, UUID) else value


@lru_cache(maxsize=50_000)
def _instant(value: datetime) -> str:
    return str(value.astimezone(UTC).replace(tzinfo=None))


def count_on(tables: Iterable[Table] = TABLES) -> None:
    """Let the database give keys from behind the ones that were written, and look at its data."""
    found = [table.model for table in tables]
    with connection.cursor() as cursor:
        for statement in connection.ops.sequence_reset_sql(no_style(), found):
            cursor.execute(statement)
        cursor.execute("ANALYZE")
