"""Build the tables of a test run once, though several processes test side by side."""

from __future__ import annotations

import fcntl
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

from django.db.backends.base.creation import BaseDatabaseCreation

#: On PostgreSQL, what the first process copies for the others.
TEMPLATE = "test_imaging_tables"


def shared(run: Path, create: Callable[..., str]) -> Callable[..., str]:
    """Return a `create_test_db` that migrates in the first process of `run` and copies later."""

    def create_test_db(self: BaseDatabaseCreation, *arguments: Any, **options: Any) -> str:
        if options.get("keepdb"):
            return create(self, *arguments, **options)
        with open(run / "tables.lock", "w") as turn:
            fcntl.flock(turn, fcntl.LOCK_EX)
            if self.connection.vendor == "sqlite":
                return _file(self, run / "tables.sqlite3", create, *arguments, **options)
            return _template(self, run / "tables.made", create, *arguments, **options)

    return create_test_db


def _file(
    self: Any, made: Path, create: Callable[..., str], *arguments: Any, **options: Any
) -> str:
    if not made.exists():
        name = create(self, *arguments, **options)
        # Closing brings what SQLite wrote beside the file into it.
        self.connection.close()
        shutil.copy(name, made)
        return name
    empty = self._create_test_db

    def filled(*arguments: Any, **options: Any) -> str:
        name = empty(*arguments, **options)
        shutil.copy(made, name)
        return str(name)

    self._create_test_db = filled
    return create(self, *arguments, **options)


def _template(
    self: Any, made: Path, create: Callable[..., str], *arguments: Any, **options: Any
) -> str:
    if made.exists():
        self.connection.settings_dict["TEST"]["TEMPLATE"] = TEMPLATE
        return create(self, *arguments, **options)
    name = create(self, *arguments, **options)
    self.connection.close()
    with self._nodb_cursor() as cursor:
        cursor.execute(f'DROP DATABASE IF EXISTS "{TEMPLATE}"')
        cursor.execute(f'CREATE DATABASE "{TEMPLATE}" TEMPLATE "{name}"')
    made.touch()
    return name
