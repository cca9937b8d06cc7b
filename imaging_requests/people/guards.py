"""What the database refuses by itself: triggers, put up after every migration.

A constraint says what a row must be; a guard says what may not happen to it. Guards are kept here
and not in migrations because SQLite rebuilds a table when a migration changes it: triggers on the
table would be dropped without a word, and triggers that look into it would stop the migration. So
all guards are taken down before a migration begins and put up when it has ended; on PostgreSQL
they stay up and are only renewed.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from django.core.checks import CheckMessage, Warning
from django.db import connections
from django.db.backends.base.base import BaseDatabaseWrapper

from imaging_requests.people.displacing import displaces

#: The name of every guard begins so, so that one that is no longer wanted can be found.
PREFIX = "guard_"
EVENTS = ("INSERT", "UPDATE", "DELETE")
NOR_EMPTIED = "_at_once"
#: PostgreSQL cuts longer names off without a word (its manual, "Identifiers and Key Words").
LONGEST_NAME = 63 - len(NOR_EMPTIED)


@dataclass(frozen=True, slots=True, kw_only=True)
class Guard:
    """One refusal: on which table, at which event, under which condition, in which words.

    `when` is SQL over the rows OLD and NEW; `{differs}` stands for "is not the same as", with
    nothing known counting as a value. An empty condition refuses always. A guard with `then`
    refuses nothing: after the event it writes what has to follow.
    """

    name: str
    table: str
    event: str
    message: str = ""
    when: str = ""
    then: str = ""


_guards: dict[str, Guard] = {}


def add_guard(*, table: str, name: str, event: str, message: str, when: str = "") -> None:
    """Declare a guard; called once at start, in an app's `ready`."""
    if event not in EVENTS:
        raise ValueError(f"{event} is no event; choose one of {', '.join(EVENTS)}.")
    if "'" in message:
        raise ValueError("The words of a guard stand between quotation marks in SQL.")
    full = f"{PREFIX}{table}_{name}"
    if len(full) > LONGEST_NAME:
        raise ValueError(f"{full} is longer than the {LONGEST_NAME} signs a guard's name may have.")
    _guards[full] = Guard(name=full, table=table, event=event, message=message, when=when)


def add_consequence(*, table: str, name: str, then: str) -> None:
    """Declare what the database itself writes after a row was added; `then` is SQL over NEW."""
    full = f"{PREFIX}{table}_{name}"
    _guards[full] = Guard(name=full, table=table, event="INSERT", then=then)


def keep(table: str, words: str) -> None:
    """Refuse to delete any row: no act of the program ever does."""
    add_guard(table=table, name="never_goes", event="DELETE", message=words)


def keep_what_has_events(table: str, label: str, words: str) -> None:
    """Refuse to delete a row that the audit trail speaks of; `label` is how the trail names it."""
    add_guard(
        table=table,
        name="with_events_stays",
        event="DELETE",
        message=words,
        when=(
            "EXISTS (SELECT 1 FROM people_auditevent AS e "
            f"WHERE e.subject_type = '{label}' AND e.subject_id = CAST(OLD.id AS text))"
        ),
    )


def declared() -> tuple[Guard, ...]:
    """Return every guard of the program."""
    return tuple(_guards.values())


def triggers_of(connection: BaseDatabaseWrapper, guard: Guard) -> dict[str, tuple[str, ...]]:
    """Return the triggers of a guard in this database: name → statements that put it up."""
    if guard.then:
        return {guard.name: _consequence(connection, guard)}
    if connection.vendor == "postgresql":
        test = guard.when.format(differs="IS DISTINCT FROM")
        made = {guard.name: _row_trigger(guard, test)}
        if guard.event == "DELETE":
            made[f"{guard.name}{NOR_EMPTIED}"] = _against_emptying(guard, test)
        return made
    test = guard.when.format(differs="IS NOT")
    made = {guard.name: _trigger(guard, guard.name, guard.event, test)}
    if guard.event == "DELETE":
        for ending, event, displaced in displaces(connection, guard.table, test):
            name = f"{guard.name}{ending}"
            made[name] = _trigger(guard, name, event, displaced)
    return made


def standing(connection: BaseDatabaseWrapper) -> set[str]:
    """Return the names of the guards' triggers that stand in the database and are awake."""
    query = (
        "SELECT tgname FROM pg_trigger WHERE NOT tgisinternal AND tgenabled IN ('O', 'A')"
        if connection.vendor == "postgresql"
        else "SELECT name FROM sqlite_master WHERE type = 'trigger'"
    )
    with connection.cursor() as cursor:
        cursor.execute(query)
        return {name for (name,) in cursor.fetchall() if name.startswith(PREFIX)}


def take_down(connection: BaseDatabaseWrapper) -> None:
    """Take the guards down where they would be in the way of a migration."""
    if connection.vendor != "sqlite":
        return
    with connection.cursor() as cursor:
        for name in sorted(standing(connection)):
            cursor.execute(f'DROP TRIGGER "{name}"')


def put_up(connection: BaseDatabaseWrapper) -> None:
    """Put up the guards of all tables there are, and remove those no longer declared."""
    wanted = _wanted(connection)
    with connection.cursor() as cursor:
        for name in sorted(standing(connection) - set(wanted)):
            cursor.execute(_removal(connection, name))
        for statements in wanted.values():
            for statement in statements:
                cursor.execute(statement)


def _wanted(connection: BaseDatabaseWrapper) -> dict[str, tuple[str, ...]]:
    """Return the triggers of all guards whose table there is."""
    with connection.cursor() as cursor:
        tables = set(connection.introspection.table_names(cursor))
    return {
        name: statements
        for guard in declared()
        if guard.table in tables
        for name, statements in triggers_of(connection, guard).items()
    }


def _row_trigger(guard: Guard, test: str) -> tuple[str, ...]:
    row = "OLD" if guard.event == "DELETE" else "NEW"
    return (
        _function(guard, guard.name, test or "TRUE", answer=row),
        f"CREATE OR REPLACE TRIGGER {guard.name} BEFORE {guard.event} ON {guard.table} "
        f"FOR EACH ROW EXECUTE FUNCTION {guard.name}()",
    )


def _against_emptying(guard: Guard, test: str) -> tuple[str, ...]:
    """Return what refuses TRUNCATE while the table holds a row that may not be deleted.

    PostgreSQL asks no trigger on DELETE then. Where no row may be deleted, it refuses always.
    """
    name = f"{guard.name}{NOR_EMPTIED}"
    kept = re.sub(r"\bOLD\.", "kept.", test)
    holds = f"EXISTS (SELECT 1 FROM {guard.table} AS kept WHERE {kept})" if kept else "TRUE"
    return (
        _function(guard, name, holds, answer="NULL"),
        f"CREATE OR REPLACE TRIGGER {name} BEFORE TRUNCATE ON {guard.table} "
        f"FOR EACH STATEMENT EXECUTE FUNCTION {name}()",
    )


def _function(guard: Guard, name: str, test: str, *, answer: str) -> str:
    return (
        f"CREATE OR REPLACE FUNCTION {name}() RETURNS trigger LANGUAGE plpgsql AS $$ "
        f"BEGIN IF {test} THEN RAISE EXCEPTION USING MESSAGE = '{guard.message}', "
        f"ERRCODE = 'integrity_constraint_violation'; END IF; RETURN {answer}; END $$"
    )


def _trigger(guard: Guard, name: str, event: str, test: str) -> tuple[str, ...]:
    condition = f" WHEN {test}" if test else ""
    return (
        f'DROP TRIGGER IF EXISTS "{name}"',
        f'CREATE TRIGGER "{name}" BEFORE {event} ON {guard.table}{condition} '
        f"BEGIN SELECT RAISE(ABORT, '{guard.message}'); END",
    )


def _consequence(connection: BaseDatabaseWrapper, guard: Guard) -> tuple[str, ...]:
    head = f"TRIGGER {guard.name} AFTER {guard.event} ON {guard.table}"
    if connection.vendor == "postgresql":
        return (
            f"CREATE OR REPLACE FUNCTION {guard.name}() RETURNS trigger LANGUAGE plpgsql AS $$ "
            f"BEGIN {guard.then}; RETURN NULL; END $$",
            f"CREATE OR REPLACE {head} FOR EACH ROW EXECUTE FUNCTION {guard.name}()",
        )
    return f'DROP TRIGGER IF EXISTS "{guard.name}"', f"CREATE {head} BEGIN {guard.then}; END"


def _removal(connection: BaseDatabaseWrapper, name: str) -> str:
    if connection.vendor == "postgresql":
        return f"DROP FUNCTION {name}() CASCADE"
    return f'DROP TRIGGER "{name}"'


def before_migration(*, using: str, **_: Any) -> None:
    """Receive the word that a migration begins."""
    take_down(connections[using])


def after_migration(*, using: str, **_: Any) -> None:
    """Receive the word that a migration has ended."""
    put_up(connections[using])


def all_stand(databases: Sequence[str] | None = None, **_: Any) -> list[CheckMessage]:
    """Report guards that do not stand, for example after a migration that broke off.

    It is a warning because `migrate`, which puts the guards up, asks for this report first.
    """
    found: list[CheckMessage] = []
    for alias in databases or ():
        connection = connections[alias]
        lacking = sorted(set(_wanted(connection)) - standing(connection))
        if lacking:
            found.append(
                Warning(
                    f"{len(lacking)} guards of the database do not stand: {', '.join(lacking)}.",
                    hint="Run `manage.py migrate`; it puts them up.",
                    id="people.W001",
                )
            )
    return found
