"""Check what the database holds of a large museum at its end, all rows at once.

PostgreSQL looks up every reference of every row it takes in, and files the row in every index at
once. For ten million rows that costs more than all the rest. A load begins in an empty database
that nobody else works in; so references, and the plain indexes of the heaviest tables, are set
aside before the first row and put back behind the last, several at once. A reference counts as
back when it is validated: that checks every row, and fails if one is wrong. Primary keys, unique
keys, checks and guards stay on throughout.
"""

from __future__ import annotations

import os
from collections import defaultdict
from collections.abc import Iterable, Iterator
from concurrent.futures import ThreadPoolExecutor
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
    FROM pg_constraint
    WHERE contype = 'f' AND convalidated AND conrelid::regclass::text = ANY(%s)
    ORDER BY 1, 2
"""
_INDEXES = """
    SELECT indexrelid::regclass::text, pg_get_indexdef(indexrelid)
    FROM pg_index WHERE indrelid::regclass::text = ANY(%s) AND NOT indisunique
        AND NOT EXISTS (SELECT 1 FROM pg_constraint WHERE conindid = indexrelid)
    ORDER BY 1
"""
#: Room for sorting while indexes are made and references are checked. The processors are kept
#: busy by several statements at once, not by several workers for each.
_ROOM = "SET maintenance_work_mem = '512MB'; SET max_parallel_maintenance_workers = 0"
_NO_ROOM = "RESET maintenance_work_mem; RESET max_parallel_maintenance_workers"
#: Statements at once; each may take the room above.
_AT_ONCE = max(2, min(4, os.cpu_count() or 1))


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
        _at_once([definition] for _, definition in indexes)
        checks: dict[str, list[str]] = defaultdict(list)
        with connection.cursor() as cursor:
            for table, name, definition in references:
                cursor.execute(f"ALTER TABLE {table} ADD CONSTRAINT {name} {definition} NOT VALID")
                checks[table].append(f"ALTER TABLE {table} VALIDATE CONSTRAINT {name}")
            for name in heavy:
                cursor.execute(f'ALTER TABLE "{name}" RESET (autovacuum_enabled)')
        _at_once(sorted(checks.values(), key=len, reverse=True))


def _at_once(groups: Iterable[list[str]]) -> None:
    """Run groups of statements beside each other, those of a group one after the other.

    Inside a transaction all of them run here: no other connection sees what it has done.
    """
    if connection.in_atomic_block:
        for group in groups:
            _run(group)
        return
    with ThreadPoolExecutor(_AT_ONCE) as pool:
        for _ in pool.map(_run_apart, groups):
            pass


def _run_apart(group: list[str]) -> None:
    """Run statements in a thread, on its own connection."""
    try:
        _run(group)
    finally:
        connection.close()


def _run(group: list[str]) -> None:
    with connection.cursor() as cursor:
        cursor.execute(_ROOM)
        for statement in group:
            cursor.execute(statement)
        cursor.execute(_NO_ROOM)
