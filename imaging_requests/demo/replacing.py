"""Make room for a demo, and never touch anything that is not one."""

from __future__ import annotations

import json
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from django.conf import settings
from django.db import connection, connections
from django.utils import timezone

from imaging_requests.people.errors import DomainError
from imaging_requests.people.models import User

MARKER = "demo.json"
NEXT = (
    "Give the demo an empty folder of its own with IMAGING_DATA_DIR, and an empty database if "
    "DATABASE_URL is set."
)


def marker_path() -> Path:
    """Where it is written down that this data folder holds a demo."""
    return Path(settings.DATA_DIR) / MARKER


def make_room(*, addresses: frozenset[str]) -> bool:
    """Remove an earlier demo completely; tell whether there was one.

    `addresses` are the e-mail addresses of the demo's people. Raises `DomainError` when the data
    folder, a store or the database holds anything that no demo made.
    """
    marker = _marker()
    _refuse_strange_people(addresses)
    if marker is None:
        _refuse_files()
        return False
    if marker != _places() | {"made_at": marker.get("made_at")}:
        raise DomainError(
            f"The demo in {settings.DATA_DIR} was made with another database or other stores than "
            "those set now.",
            code="demo.other_places",
            next_step=NEXT,
        )
    _remove()
    return True


def mark() -> None:
    """Write down that what follows is a demo, before anything of it is made."""
    marker_path().parent.mkdir(parents=True, exist_ok=True)
    text = json.dumps(_places() | {"made_at": timezone.now().isoformat()}, indent=1)
    marker_path().write_text(text, "utf-8")


def _marker() -> dict[str, Any] | None:
    if not marker_path().exists():
        return None
    found: dict[str, Any] = json.loads(marker_path().read_text("utf-8"))
    return found


def _places() -> dict[str, Any]:
    """The database and the stores of this installation, without any password."""
    database = connection.settings_dict
    return {
        "database": [str(database[name]) for name in ("ENGINE", "HOST", "PORT", "NAME")],
        "stores": [str(folder) for folder in _stores()],
    }


def _stores() -> list[Path]:
    return [
        Path(settings.STORE_DIR),
        Path(settings.SECOND_STORE_DIR),
        Path(settings.DERIVED_DIR),
        Path(settings.QUARANTINE_DIR),
    ]


def _database_file() -> Path | None:
    return None if settings.DATABASE_URL else Path(connection.settings_dict["NAME"])


def _has_accounts() -> bool:
    file = _database_file()
    if file is not None and not file.parent.is_dir():
        return False
    has_table = User._meta.db_table in connection.introspection.table_names()
    return has_table and User.objects.exists()


def _refuse_strange_people(addresses: frozenset[str]) -> None:
    if not _has_accounts():
        return
    strange = User.objects.exclude(email__in=addresses)
    count = strange.count() if _marker() is not None else User.objects.count()
    if count:
        raise DomainError(
            f"The database holds {count} account{'' if count == 1 else 's'} that no demo made, so "
            "nothing was touched.",
            code="demo.not_a_demo",
            next_step=NEXT,
        )


def _files_in(folder: Path) -> Iterator[Path]:
    return (path for path in folder.rglob("*") if path.is_file())


def _refuse_files() -> None:
    """Without a marker, a store with files in it belongs to somebody."""
    for folder in _stores():
        if folder.is_dir() and next(_files_in(folder), None) is not None:
            raise DomainError(
                f"{folder} holds files that no demo made, so nothing was touched.",
                code="demo.store_not_empty",
                next_step=NEXT,
            )


def _remove() -> None:
    """Remove the database's content, the stores and what waits for workers."""
    file = _database_file()
    if file is None:
        with connection.cursor() as cursor:
            cursor.execute("DROP SCHEMA public CASCADE")
            cursor.execute("CREATE SCHEMA public")
    connections.close_all()
    if file is not None:
        for ending in ("", "-wal", "-shm"):
            file.with_name(file.name + ending).unlink(missing_ok=True)
    for folder in (*_stores(), Path(settings.CELERY_BROKER_FOLDER)):
        shutil.rmtree(folder, ignore_errors=True)
    marker_path().unlink()
