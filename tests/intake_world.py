"""A small world in a data folder of its own, for tests that kill real processes.

Run as a program it builds one step of that world with the environment's settings:
`python -m tests.intake_world line 4 big` and prints what it made as JSON.
"""

from __future__ import annotations

import contextlib
import fcntl
import json
import os
import shutil
import signal
import sqlite3
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest

CHECKOUT = Path(__file__).resolve().parents[1]
CELERY = ["-m", "celery", "-A", "imaging_requests.config.celery"]
QUIET = ["--without-gossip", "--without-mingle", "--without-heartbeat", "--loglevel", "WARNING"]
WORKER = [*CELERY, "worker", "-P", "solo", "-Q", "ingest,pixels,plans", *QUIET]
BEAT = [*CELERY, "beat", "--loglevel", "WARNING", "--pidfile", ""]
LEASE_S = 2


@dataclass
class World:
    """A data folder with its own database, stores and processes."""

    folder: Path
    more: dict[str, str] = field(default_factory=dict)
    living: list[subprocess.Popen[bytes]] = field(default_factory=list)

    @property
    def environment(self) -> dict[str, str]:
        """What every process of this world is started with."""
        own = {
            "IMAGING_DATA_DIR": str(self.folder),
            "IMAGING_SECRET_KEY": "only-for-tests-" * 5,
            "IMAGING_JOB_LEASE_SECONDS": str(LEASE_S),
            "DJANGO_SETTINGS_MODULE": "imaging_requests.config.settings",
            "PYTHONPATH": str(CHECKOUT),
            "PATH": os.environ["PATH"],
        }
        return own | self.more

    def start(self, *arguments: str) -> subprocess.Popen[bytes]:
        """Start a Python program of the project and leave it running."""
        with open(self.folder / "processes.log", "ab") as log:
            process = subprocess.Popen(
                [sys.executable, *arguments],
                cwd=CHECKOUT,
                env=self.environment,
                stdout=log,
                stderr=log,
                start_new_session=True,
            )
        self.living.append(process)
        return process

    def run(self, *arguments: str, seconds: float = 120) -> str:
        """Run a Python program of the project to its end and return what it printed."""
        done = subprocess.run(
            [sys.executable, *arguments],
            cwd=CHECKOUT,
            env=self.environment,
            capture_output=True,
            text=True,
            timeout=seconds,
            check=False,
        )
        assert done.returncode == 0, done.stderr[-3000:]
        return done.stdout

    def build(self, *step: str) -> dict[str, Any]:
        """Build one step of the world; see `main`."""
        made: dict[str, Any] = json.loads(self.run("-m", "tests.intake_world", *step))
        return made

    def rows(self, sql: str, *values: Any) -> list[tuple[Any, ...]]:
        """Ask the database, past the program."""
        with contextlib.closing(sqlite3.connect(self.folder / "imaging.sqlite3", timeout=20)) as db:
            return db.execute(sql, values).fetchall()

    def wait(self, what: str, until: Callable[[], Any], seconds: float = 60) -> Any:
        """Wait until something is true and return it; say what did not become true."""
        deadline = time.monotonic() + seconds
        while time.monotonic() < deadline:
            if found := until():
                return found
            time.sleep(0.02)
        log = (self.folder / "processes.log").read_text(errors="replace")[-3000:]
        raise AssertionError(f"{what} did not happen within {seconds} s.\n{log}")

    def left(self) -> int:
        """How many jobs that the intake does itself are not done."""
        return int(
            self.rows(
                "SELECT count(*) FROM intake_job WHERE state != 'done' "
                "AND kind IN ('receive', 'derive', 'sort')"
            )[0][0]
        )

    def end(self) -> None:
        """End every process that is still running."""
        for process in self.living:
            kill(process)


def kill(process: subprocess.Popen[bytes]) -> None:
    """End a process at once, as a power cut would, without a chance to tidy up."""
    with contextlib.suppress(ProcessLookupError):
        os.killpg(process.pid, signal.SIGKILL)
    process.wait()


def new_world(folder: Path, template: Path, **more: str) -> World:
    """Make a world whose tables stand already."""
    world = World(folder, dict(more))
    shutil.copy(template, folder / "imaging.sqlite3")
    for name in ("store/quarantine", "second-copy", "derived"):
        (folder / name).mkdir(parents=True)
    return world


def migrated(folder: Path) -> Path:
    """Make a database with all tables, to be copied for each world."""
    World(folder).run("manage.py", "migrate", "-v", "0", seconds=600)
    database = folder / "imaging.sqlite3"
    with contextlib.closing(sqlite3.connect(database)) as db:
        db.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    return database


def shared_tables(factory: pytest.TempPathFactory) -> Path:
    """Make that database once for all processes that share the tests of one run."""
    run = factory.getbasetemp()
    if "PYTEST_XDIST_WORKER" in os.environ:
        run = run.parent
    made = run / "tables.sqlite3"
    with open(run / "tables.lock", "w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        if not made.exists():
            os.replace(migrated(factory.mktemp("tables")), made)
    return made


def main(arguments: list[str]) -> dict[str, Any]:
    """Build a step: `line N [big]`, `pairs N`, or `web` (a signed-in person and a drop)."""
    import django

    django.setup()
    from datetime import timedelta

    from imaging_requests.campaigns.models import Session
    from imaging_requests.people.models import User
    from tests import factory
    from tests.intake_scene import bring, open_drop, pixels, tiff

    step, *rest = arguments
    amaro = User.objects.filter(name="Amaro").first() or factory.photographer()
    if step == "web":
        return _web(amaro, open_drop(amaro).pk)
    number = int(rest[0])
    begun = Session.objects.count()
    session = factory.session(by=amaro, starts_at=factory.IN_AN_HOUR + factory.hours(4 * begun))
    line = factory.shot_line(
        session,
        factory.museum_object(f"AR K{session.pk}"),
        "VF",
        tiles_across=number,
        expected_files=number,
    )
    drop = open_drop(amaro, line=line)
    size = {"width": 4000, "height": 3000} if "big" in rest else {}
    for place in range(number):
        at = session.starts_at + timedelta(minutes=place)
        data = tiff(1000 * drop.pk + place, at=at, picture=pixels(1000 * drop.pk + place, **size))
        bring(drop, f"F{place:04}.tif", data)
        if step == "pairs":
            bring(drop, f"F{place:04}-again.tif", data)
    return {"drop": drop.pk, "line": line.pk}


def _web(person: Any, drop_id: int) -> dict[str, Any]:
    """Sign a person in and return what a browser would send."""
    from django.conf import settings
    from django.contrib.auth import BACKEND_SESSION_KEY, HASH_SESSION_KEY, SESSION_KEY
    from django.contrib.sessions.backends.db import SessionStore

    store = SessionStore()
    store[SESSION_KEY] = str(person.pk)
    store[BACKEND_SESSION_KEY] = "django.contrib.auth.backends.ModelBackend"
    store[HASH_SESSION_KEY] = person.get_session_auth_hash()
    store.save()
    token = "a" * 32
    cookie = f"{settings.SESSION_COOKIE_NAME}={store.session_key}; csrftoken={token}"
    return {"drop": drop_id, "headers": {"Cookie": cookie, "X-CSRFToken": token}}


@contextlib.contextmanager
def ended_afterwards(world: World) -> Iterator[World]:
    """Give a world to a test and end its processes whatever happens."""
    try:
        yield world
    finally:
        world.end()


if __name__ == "__main__":
    print(json.dumps(main(sys.argv[1:])))  # noqa: T201
