"""Give a benchmark its museum: a database of its own for each size, made when it is not there.

On PostgreSQL (`DATABASE_URL`) the databases stand beside the one that is named, on SQLite they are
files in a folder. Everything runs in a process of its own for each size, so that nothing is warm
from another.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit, urlunsplit

CHECKOUT = Path(__file__).resolve().parents[2]
SIZES = (1_000, 10_000, 100_000)


def environment(objects: int, folder: Path) -> dict[str, str]:
    """Return the environment in which the museum of a size is the database."""
    own = folder / f"{objects}"
    own.mkdir(parents=True, exist_ok=True)
    found = dict(os.environ)
    found |= {
        "DJANGO_SETTINGS_MODULE": "imaging_requests.config.settings",
        "IMAGING_DATA_DIR": str(own),
        "IMAGING_LOG_LEVEL": "ERROR",
        "IMAGING_HOSTS": "testserver",
        "PYTHONPATH": str(CHECKOUT),
    }
    found.setdefault("IMAGING_SECRET_KEY", "only-for-benchmarks-" * 4)
    if url := found.get("DATABASE_URL"):
        found["DATABASE_URL"] = str(urlunsplit(urlsplit(url)._replace(path=f"/bench_{objects}")))
    return found


def run(script: Path, objects: int, folder: Path, *more: str) -> dict[str, Any]:
    """Run the part of a script that measures one size, and return what it found."""
    done = subprocess.run(
        [sys.executable, str(script), "--measure", str(objects), *more],
        env=environment(objects, folder),
        cwd=CHECKOUT,
        stdout=subprocess.PIPE,
        text=True,
        check=True,
    )
    answer: dict[str, Any] = json.loads(done.stdout.splitlines()[-1])
    return answer


def stage(objects: int) -> None:
    """Stand on the museum of a size in this process; make it if it is not there."""
    _create_database(objects)
    import django

    django.setup()
    from django.core.management import call_command

    from imaging_requests.collection.models import CollectionObject
    from imaging_requests.demo.large import load

    call_command("migrate", verbosity=0)
    there = CollectionObject.objects.count()
    if there == 0:
        load(objects, _Aside())
    elif there < objects:
        raise SystemExit(
            f"The museum of {objects:,} objects has {there:,} only: it was cut short. "
            "Remove its database and begin again."
        )


class _Aside:
    """Say how far it is beside the answer, which goes to the standard output."""

    def write(self, words: str) -> None:
        sys.stderr.write(f"  {words}\n")


def _create_database(objects: int) -> None:
    url = os.environ.get("DATABASE_URL")
    if not url:
        return
    import psycopg

    beside = str(urlunsplit(urlsplit(url)._replace(path="/postgres")))
    with psycopg.connect(beside, autocommit=True) as connection:
        known = connection.execute(
            "SELECT 1 FROM pg_database WHERE datname = %s", [f"bench_{objects}"]
        ).fetchone()
        if known is None:
            connection.execute(f"CREATE DATABASE bench_{objects}")


def machine() -> str:
    """Say what class of machine this is, without naming it."""
    cores = os.cpu_count() or 1
    return f"{cores} cores, {_memory_gb():.0f} GB of memory, Python {sys.version.split()[0]}"


def _memory_gb() -> float:
    return os.sysconf("SC_PAGE_SIZE") * os.sysconf("SC_PHYS_PAGES") / 1024**3


def table(head: Sequence[str], rows: Sequence[Sequence[str]]) -> str:
    """Lay rows out as a Markdown table."""
    lines = ["| " + " | ".join(head) + " |", "|" + "---|" * len(head)]
    return "\n".join([*lines, *("| " + " | ".join(row) + " |" for row in rows)])
