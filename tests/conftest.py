"""What every test shares: no network beyond this machine, and a place of its own for files."""

from __future__ import annotations

import os
import socket
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from django.db.backends.base.creation import BaseDatabaseCreation
from django.db.backends.postgresql.base import DatabaseOperations as PostgresOperations
from django.db.backends.sqlite3.base import DatabaseOperations as SqliteOperations

from imaging_requests.people import guards
from tests.shared_database import shared

LOCAL_HOSTS = {"127.0.0.1", "::1", "localhost", ""}
_FLUSH_SQLITE = SqliteOperations.execute_sql_flush
_FLUSH_POSTGRES = PostgresOperations.execute_sql_flush


@pytest.hookimpl(wrapper=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> Iterator[None]:
    """Begin with what takes longest, and keep each file's tests in one process.

    The processes then end at about the same time, and what the tests of a file share is built once.
    The order is made after everybody else's, because pytest-django puts tests without a database
    last, and some of those take longest.
    """
    for item in items:
        if item.get_closest_marker("xdist_group") is None:
            item.add_marker(pytest.mark.xdist_group(item.path.name))
    yield
    items.sort(key=lambda item: item.get_closest_marker("slow") is None)


@pytest.fixture(autouse=True)
def no_network(monkeypatch: pytest.MonkeyPatch) -> None:
    """A test that reaches for another machine fails with its address."""
    connect = socket.socket.connect

    def guarded(self: socket.socket, address: Any) -> None:
        if isinstance(address, tuple) and address[0] not in LOCAL_HOSTS:
            raise AssertionError(f"A test tried to reach {address[0]}; tests stay on this machine.")
        connect(self, address)

    monkeypatch.setattr(socket.socket, "connect", guarded)


@pytest.fixture
def stores(tmp_path: Path, settings: Any) -> Path:
    """Give a test folders of its own for masters, copies and derived files."""
    settings.STORE_DIR = tmp_path / "store"
    settings.SECOND_STORE_DIR = tmp_path / "second"
    settings.SECOND_STORE_BUCKET = {}
    settings.DERIVED_DIR = tmp_path / "derived"
    settings.QUARANTINE_DIR = tmp_path / "store" / "quarantine"
    for folder in (
        settings.STORE_DIR,
        settings.SECOND_STORE_DIR,
        settings.DERIVED_DIR,
        settings.QUARANTINE_DIR,
    ):
        folder.mkdir(parents=True, exist_ok=True)
    return tmp_path


@pytest.fixture(scope="session")
def django_db_modify_db_settings(
    django_db_modify_db_settings_parallel_suffix: None, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[None]:
    """Let processes that share a run share the making of its tables."""
    with pytest.MonkeyPatch.context() as patch:
        if "PYTEST_XDIST_WORKER" in os.environ:
            run = tmp_path_factory.getbasetemp().parent
            create = BaseDatabaseCreation.create_test_db
            patch.setattr(BaseDatabaseCreation, "create_test_db", shared(run, create))
        yield


def _flushed_without_guards(self: SqliteOperations, sql_list: list[str]) -> None:
    guards.take_down(self.connection)
    # Keys begin anew too, as they do where a test's transaction is rolled back.
    _FLUSH_SQLITE(self, [*sql_list, "DELETE FROM sqlite_sequence"])
    guards.put_up(self.connection)


def _flushed_with_guards_asleep(self: PostgresOperations, sql_list: list[str]) -> None:
    asleep = [
        f"ALTER TABLE {guard.table} {{}} TRIGGER {guard.name}{guards.NOR_EMPTIED}"
        for guard in guards.declared()
        if guard.event == "DELETE"
    ]
    off, on = ([line.format(word) for line in asleep] for word in ("DISABLE", "ENABLE"))
    _FLUSH_POSTGRES(self, [*off, *sql_list, *on])


@pytest.fixture(autouse=True, scope="session")
def _flush_past_the_guards() -> Iterator[None]:
    """Let the emptying of a test database pass what the database refuses.

    After a test with real transactions Django empties every table. SQLite deletes row by row,
    PostgreSQL truncates, and the guards rightly refuse both.
    """
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(SqliteOperations, "execute_sql_flush", _flushed_without_guards)
        patch.setattr(PostgresOperations, "execute_sql_flush", _flushed_with_guards_asleep)
        yield
