"""What every test shares: no network beyond this machine, and a place of its own for files."""

from __future__ import annotations

import socket
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from django.db.backends.sqlite3.base import DatabaseOperations

from imaging_requests.people import guards

LOCAL_HOSTS = {"127.0.0.1", "::1", "localhost", ""}


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Begin with what takes longest, and keep each file's tests in one process.

    Two processes then end at about the same time, and what the tests of a file share is built once.
    """
    items.sort(key=lambda item: item.get_closest_marker("slow") is None)
    for item in items:
        if item.get_closest_marker("xdist_group") is None:
            item.add_marker(pytest.mark.xdist_group(item.path.name))


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


@pytest.fixture(autouse=True, scope="session")
def _flush_past_the_guards() -> Iterator[None]:
    """Let the emptying of a SQLite test database pass what the database refuses.

    After a test with real transactions Django empties every table. PostgreSQL truncates, SQLite
    deletes row by row, and the append-only guards rightly refuse that.
    """
    flush = DatabaseOperations.execute_sql_flush

    def flush_without_guards(self: DatabaseOperations, sql_list: list[str]) -> None:
        guards.take_down(self.connection)
        flush(self, sql_list)
        guards.put_up(self.connection)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(DatabaseOperations, "execute_sql_flush", flush_without_guards)
        yield
