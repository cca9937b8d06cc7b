"""SQLite takes a row away to make room for another; here is how a guard comes to see it.

`INSERT OR REPLACE` and `UPDATE OR REPLACE` delete every row that has a unique key in common with
the new one. The triggers on DELETE are not asked, unless the connection says `recursive_triggers`,
as this program's do and those of a tool at the side do not. So beside each guard on DELETE stand
two more, before a row is added or changed, that look for a kept row under any key of the new one.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass

from django.db.backends.base.base import BaseDatabaseWrapper

#: What a guard's twin is called after it, by the event that it stands before.
TWINS = {"INSERT": "_nor_replaced", "UPDATE": "_nor_displaced"}


@dataclass(frozen=True, slots=True)
class UniqueKey:
    """Columns that two rows never share; `among` is SQL for the rows it holds of, empty for all."""

    columns: tuple[str, ...]
    among: str = ""


def unique_keys(connection: BaseDatabaseWrapper, table: str) -> tuple[UniqueKey, ...]:
    """Return every unique key of a table in a SQLite database, the primary one first."""
    with connection.cursor() as cursor:
        cursor.execute(f"PRAGMA table_info({table})")
        names = [(place, name) for _, name, *_, place in cursor.fetchall() if place]
        keys = [UniqueKey(tuple(name for _, name in sorted(names)))]
        cursor.execute(
            f"SELECT listed.name, listed.partial, made.sql FROM pragma_index_list('{table}') "
            "AS listed JOIN sqlite_master AS made ON made.name = listed.name "
            'WHERE listed."unique" ORDER BY listed.name'
        )
        for index, partial, sql in cursor.fetchall():
            cursor.execute(f"PRAGMA index_info({index})")
            columns = tuple(name for _, _, name in cursor.fetchall())
            if None in columns:
                raise ValueError(f"{index} is over an expression, which no guard can look up.")
            among = re.split(r"\bWHERE\b", sql, maxsplit=1)[1].strip() if partial else ""
            keys.append(UniqueKey(columns, among))
    return tuple(keys)


def displaces(
    connection: BaseDatabaseWrapper, table: str, test: str
) -> Iterator[tuple[str, str, str]]:
    """Yield, by event and key, a name's ending, the event, and when NEW takes a kept row's place.

    `test` is the condition on OLD under which the guard refuses to delete it.
    """
    kept = re.sub(r"\bOLD\.", "kept.", test) or "TRUE"
    with connection.cursor() as cursor:
        cursor.execute(f"PRAGMA table_info({table})")
        columns = [name for _, name, *_ in cursor.fetchall()]
    row = ", ".join(f'NEW."{name}" AS "{name}"' for name in columns)
    for number, key in enumerate(unique_keys(connection, table)):
        same = " AND ".join(f'kept."{name}" = NEW."{name}"' for name in key.columns)
        for event, ending in TWINS.items():
            other = " AND kept.id <> OLD.id" if event == "UPDATE" else ""
            found = f"EXISTS (SELECT 1 FROM {table} AS kept WHERE {same}{other}"
            if key.among:
                concerned = f"EXISTS (SELECT 1 FROM (SELECT {row}) WHERE {key.among})"
                found = f"{concerned} AND {found} AND ({key.among})"
            yield f"{ending}_{number}" if number else ending, event, f"{found} AND ({kept}))"
