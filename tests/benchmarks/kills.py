"""Kill web, worker and broker at random moments while drops come in; compare what was said.

`python -m tests.benchmarks.kills [--drops 200] [--files 20] [--minutes M] [--pause 1 5]
[--senders 3]` starts Redis, one web process, two workers and the clock on a data folder of its own.
Senders bring drops with the protocol's own client. Meanwhile, after a pause between so many
seconds, one of web, worker, broker is killed (SIGKILL) and started again. As soon as the page of a
drop says that the card may be formatted, the bytes of both copies of each of its files are compared
with what was sent. At the end nothing may be counted twice. After so many minutes no further drop
is begun, and the number of those that were is printed.
"""

from __future__ import annotations

import argparse
import contextlib
import hashlib
import json
import random
import socket
import subprocess
import sys
import tempfile
import threading
import time
from collections import Counter
from concurrent.futures import ThreadPoolExecutor, as_completed
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import requests
from tusclient.client import TusClient

from tests.intake_world import BEAT, CELERY, QUIET, World, kill, migrated, new_world
from tests.true_masters import pixels, tiff
from tests.tus_sender import TROUBLE, Sending

SAFE = "You may format the card"
WORKERS = {"first": "ingest,plans,mail", "second": "pixels,ingest"}
LOOK_AGAIN_S = 1.5
PATIENCE_S = 1_800


def main() -> None:
    """Run and print what was found; end with an error if anything is amiss."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--drops", type=int, default=200)
    parser.add_argument("--files", type=int, default=20)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--minutes", type=float, default=600)
    parser.add_argument("--pause", type=float, nargs=2, default=(1.0, 5.0), metavar="S")
    parser.add_argument("--senders", type=int, default=3)
    parser.add_argument("--open", action="store_true")
    options = parser.parse_args()
    if options.open:
        say(json.dumps(open_drops(options.drops)))
        return
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        for part in ("tables", "world"):
            (folder / part).mkdir()
        port, web_port = free_port(), free_port()
        world = new_world(
            folder / "world",
            migrated(folder / "tables"),
            REDIS_URL=f"redis://127.0.0.1:{port}/0",
        )
        run = Run(
            world,
            port,
            web_port,
            options.files,
            random.Random(options.seed),
            pause_s=tuple(options.pause),
            senders=options.senders,
        )
        try:
            sys.exit(run.go(options.drops, options.minutes))
        finally:
            world.end()


def open_drops(number: int) -> dict[str, Any]:
    """Make a photographer, a session of one line for each drop, and the drops; sign in."""
    import django

    django.setup()
    from tests import factory
    from tests.intake_scene import open_drop
    from tests.intake_world import _web

    amaro = factory.photographer()
    made = []
    for count in range(number):
        session = factory.session(
            by=amaro, starts_at=factory.IN_AN_HOUR + timedelta(hours=3 * count)
        )
        made.append((open_drop(amaro, session=session).pk, session.starts_at.isoformat()))
    return _web(amaro, 0) | {"drops": made}


@dataclass
class Run:
    """The processes of one run, and what was seen."""

    world: World
    port: int
    web_port: int
    files: int
    rng: random.Random
    pause_s: tuple[float, float] = (1.0, 5.0)
    senders: int = 3
    processes: dict[str, Any] = field(default_factory=dict)
    kills: Counter[str] = field(default_factory=Counter)
    cuts: int = 0
    faults: list[str] = field(default_factory=list)
    checked: int = 0
    until: float = 0.0
    begun: list[int] = field(default_factory=list)

    def go(self, number: int, minutes: float) -> int:
        """Bring all drops while processes are killed; return the exit code."""
        said = self.world.run(
            "-m", "tests.benchmarks.kills", "--open", "--drops", str(number), seconds=900
        )
        opened = json.loads(said.splitlines()[-1])
        for role in ("broker", "web", *WORKERS, "clock"):
            self.start(role)
        ended = threading.Event()
        killer = threading.Thread(target=self.kill_on, args=(ended,), daemon=True)
        killer.start()
        started = time.monotonic()
        self.until = started + 60 * minutes
        with ThreadPoolExecutor(self.senders) as senders:
            jobs = [
                senders.submit(self.bring, opened["headers"], pk, at) for pk, at in opened["drops"]
            ]
            for count, job in enumerate(as_completed(jobs), 1):
                job.result()
                if count % 20 == 0 and time.monotonic() < self.until:
                    say(f"  {count} drops, {time.monotonic() - started:.0f} s, {dict(self.kills)}")
        ended.set()
        killer.join()
        for role in ("broker", "web", *WORKERS, "clock"):
            self.start(role)
        self.world.wait("The end of all work", lambda: not self.world.left(), seconds=PATIENCE_S)
        took = time.monotonic() - started
        self.count_all(len(self.begun))
        brought = f"{len(self.begun)} drops of {self.files} files"
        say(f"{brought} in {took:.0f} s, killed: {dict(self.kills)}")
        say(
            f"uploads cut and resumed: {self.cuts}; files said to be safe and compared: "
            f"{self.checked}, each in two places"
        )
        for fault in self.faults[:20]:
            say(f"FAULT {fault}")
        say(f"{len(self.faults)} faults")
        return 1 if self.faults else 0

    def start(self, role: str) -> None:
        """Start a process that is not running."""
        old = self.processes.get(role)
        if old is not None and old.poll() is None:
            return
        if role == "broker":
            self.processes[role] = subprocess.Popen(
                ["redis-server", "--port", str(self.port), "--bind", "127.0.0.1", "--save", "",
                 "--appendonly", "no"],
                cwd=self.world.folder, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
                start_new_session=True,
            )  # fmt: skip
            self.world.living.append(self.processes[role])
            return
        if role == "web":
            command = [
                *("-m", "gunicorn", "imaging_requests.config.wsgi"),
                *("--bind", f"127.0.0.1:{self.web_port}", "--workers", "1", "--threads", "6"),
                *("--timeout", "0", "--log-level", "warning"),
            ]
        elif role == "clock":
            command = BEAT
        else:
            queues = WORKERS[role]
            command = [*CELERY, "worker", "-P", "solo", "-n", f"{role}@%h", "-Q", queues, *QUIET]
        self.processes[role] = self.world.start(*command)

    def kill_on(self, ended: threading.Event) -> None:
        """Kill one process at a random moment, start it again, and go on."""
        while not ended.wait(self.rng.uniform(*self.pause_s)):
            role = self.rng.choice(["web", "broker", *WORKERS])
            kill(self.processes[role])
            self.kills["worker" if role in WORKERS else role] += 1
            time.sleep(self.rng.uniform(0, 0.5))
            self.start(role)

    def bring(self, headers: dict[str, str], drop: int, at: str) -> None:
        """Send one drop, wait until its page says safe, and compare at once."""
        if time.monotonic() > self.until:
            return
        self.begun.append(drop)
        client = TusClient(f"http://127.0.0.1:{self.web_port}/intake/files/", headers=headers)
        contents = {f"K{drop}-{n:02}.tif": content(drop, n, at) for n in range(self.files)}
        known: set[str] = set()
        for name, data in contents.items():
            sending = Sending(client, name, data, drop, chunk_bytes=4_000)
            sending.send(seconds=PATIENCE_S)
            self.cuts += sending.cuts
            known.add(sending.url.rstrip("/").rsplit("/", 1)[-1].replace("-", ""))
        self.give_up_orphans(headers, drop, known)
        deadline = time.monotonic() + PATIENCE_S
        page = f"http://127.0.0.1:{self.web_port}/intake/drops/{drop}/"
        while time.monotonic() < deadline:
            with contextlib.suppress(requests.RequestException):
                answer = requests.get(page, headers=headers, timeout=60)
                if answer.status_code >= 500:
                    self.faults.append(f"{page} answered {answer.status_code}")
                if SAFE in answer.text:
                    self.compare(drop, contents)
                    return
            time.sleep(LOOK_AGAIN_S)
        self.faults.append(f"drop {drop} was not said to be safe within {PATIENCE_S} s")

    def give_up_orphans(self, headers: dict[str, str], drop: int, known: set[str]) -> None:
        """Give up what was announced just before the web process died, as its sender would."""
        rows = self.world.rows(
            "SELECT token FROM intake_arrival WHERE drop_id = ? AND state = 'arriving'", drop
        )
        for (token,) in rows:
            if token in known:
                continue
            address = f"http://127.0.0.1:{self.web_port}/intake/files/{token}/"
            deadline = time.monotonic() + PATIENCE_S
            while time.monotonic() < deadline:
                with contextlib.suppress(*TROUBLE):
                    told = headers | {"Tus-Resumable": "1.0.0"}
                    if requests.delete(address, headers=told, timeout=60).status_code < 500:
                        break
                time.sleep(LOOK_AGAIN_S)

    def compare(self, drop: int, contents: dict[str, bytes]) -> None:
        """Compare both copies of every file of a drop with what was sent."""
        for name, data in contents.items():
            sha256 = hashlib.sha256(data).hexdigest()
            for place in ("store", "second-copy"):
                path = self.world.folder / place / sha256[:2] / sha256[2:4] / f"{sha256}.tif"
                if not path.is_file() or path.read_bytes() != data:
                    self.faults.append(
                        f"{name} of drop {drop} is not in the {place} as it was sent"
                    )
            self.checked += 1

    def count_all(self, number: int) -> None:
        """Look for anything that was counted twice or is left over."""
        expected = number * self.files
        for what, sql, wanted in (
            ("frames", "SELECT count(*) FROM intake_frame", expected),
            ("good copies", "SELECT count(*) FROM intake_copy WHERE is_good", 2 * expected),
            ("receipts", "SELECT count(*) FROM people_auditevent "
             "WHERE code = 'intake.frame_received'", expected),
            ("failed jobs", "SELECT count(*) FROM intake_job WHERE state = 'failed'", 0),
        ):  # fmt: skip
            found = self.world.rows(sql)[0][0]
            say(f"  {what}: {found} (expected {wanted})")
            if found != wanted:
                self.faults.append(f"{found} {what} instead of {wanted}")
        for place in ("store", "second-copy"):
            files = [path for path in (self.world.folder / place).rglob("*.tif") if path.is_file()]
            if len(files) != expected:
                self.faults.append(f"{len(files)} masters in the {place} instead of {expected}")


def content(drop: int, number: int, at: str) -> bytes:
    """A small true master, another one for each drop and number."""
    taken = datetime.fromisoformat(at) + timedelta(seconds=10 * number)
    seed = 1_000 * drop + number
    return tiff(seed, at=taken, picture=pixels(seed, width=48, height=32))


def free_port() -> int:
    """Return a port that nobody listens to."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def say(words: str) -> None:
    """Print at once."""
    sys.stdout.write(f"{words}\n")
    sys.stdout.flush()


if __name__ == "__main__":
    import os

    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "imaging_requests.config.settings")
    main()
