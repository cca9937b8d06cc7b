"""Check what the database holds of a large museum at its end, all rows at once.

PostgreSQL looks up every reference of every row it takes in, and files the row in every index at
once. For ten million rows that costs more than all the rest. A load begins in an empty database
that nobody else works in; so references, and the plain indexes of the heaviest tables, are set
aside before the first row and put back behind the last. Putting a reference back checks every
row, and fails if one is wrong. Primary keys, unique keys, checks and guards stay on throughout.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from contextlib import contextmanager

from django.db import connection

from imaging_requests.demo.large.rows import (
    CASES,
    DEMANDS,
    ITEMS,
    PICTURES,
    REVIEWS,
    STEP_RECORDS,
    TABLES,
    VERDICTS,
    VIEW_STATUSES,
    VIEWS,
    Table,
)

#: The tables with the most rows. No guard looks anything up in them but by its primary key.
HEAVY = (VIEWS, DEMANDS, VIEW_STATUSES, PICTURES, REVIEWS, ITEMS, CASES, VERDICTS, STEP_RECORDS)

_REFERENCES = """
    SELECT conrelid::regclass::text, quote_ident(conname), pg_get_constraintdef(oid)
    FROM pg_constraint WHERE contype = 'f' AND conrelid::regclass::text = ANY(%s)
    ORDER BY 1, 2
"""
_INDEXES = """
    SELECT indexrelid::regclass::text, pg_get_indexdef(indexrelid)
    FROM pg_index WHERE indrelid::regclass::text = ANY(%s) AND NOT indisunique
        AND NOT EXISTS (SELECT 1 FROM pg_constraint WHERE conindid = indexrelid)
    ORDER BY 1
"""
#: Room for sorting while indexes are made and references are checked.
_ROOM = "SET maintenance_work_mem = '512MB'"


def is_whole() -> bool:
    """Whether the database holds every reference: one where a load was cut short may not."""
    if connection.vendor != "postgresql":
        return True
    expected = sum(
        field.is_relation and getattr(field, "db_constraint", False)
        for table in TABLES
        for field in table.model._meta.concrete_fields
    )
    with connection.cursor() as cursor:
        cursor.execute(_REFERENCES, [_names(TABLES)])
        return len(cursor.fetchall()) >= expected


def _names(tables: Iterable[Table]) -> list[str]:
    return [table.model._meta.db_table for table in tables]


@contextmanager
def checked_at_the_end() -> Iterator[None]:
    """Set references and plain indexes aside meanwhile; they come back whatever happens."""
    if connection.vendor != "postgresql":
        yield
        return
    heavy = _names(HEAVY)
    with connection.cursor() as cursor:
        cursor.execute(_REFERENCES, [_names(TABLES)])
        references = cursor.fetchall()
        cursor.execute(_INDEXES, [heavy])
        indexes = cursor.fetchall()
        for name in heavy:
            cursor.execute(f'ALTER TABLE "{name}" SET (autovacuum_enabled = off)')
        for table, name, _ in references:
            cursor.execute(f"ALTER TABLE {table} DROP CONSTRAINT {name}")
        for name, _ in indexes:
            cursor.execute(f"DROP INDEX {name}")
    try:
        yield
    finally:
        with connection.cursor() as cursor:
            cursor.execute(_ROOM)
            for _, definition in indexes:
                cursor.execute(definition)
            for table, name, definition in references:
                cursor.execute(f"ALTER TABLE {table} ADD CONSTRAINT {name} {definition}")
            for name in heavy:
                cursor.execute(f'ALTER TABLE "{name}" RESET (autovacuum_enabled)')
            cursor.execute("RESET maintenance_work_mem")
