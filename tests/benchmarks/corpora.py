"""Bring picture files of others, good and malformed, through the real intake in one drop.

`python -m tests.benchmarks.corpora FOLDER_OR_ARCHIVE … [--good 20]` takes every file of the folders
(or tar archives) and mixes good masters of our own among them. Web and worker are real processes.
Printed: what became of the files, the slowest job, the most memory of any process, whether every
page still answers and every good file was kept.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import os
import sys
import tarfile
import tempfile
import time
from collections import Counter
from pathlib import Path

import requests

from tests.benchmarks.kills import free_port
from tests.benchmarks.watch import Watch, megabytes
from tests.intake_world import BEAT, WORKER, World, migrated, new_world

MOST_S, MOST_BYTES = 20.0, 1_500_000_000


def main() -> None:
    """Run and print; end with an error if a promise is broken."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("sources", nargs="*", type=Path)
    parser.add_argument("--good", type=int, default=20)
    parser.add_argument("--open", type=Path)
    options = parser.parse_args()
    if options.open:
        say(json.dumps(open_world(options.open, options.good)))
        return
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        for part in ("tables", "world", "card"):
            (folder / part).mkdir()
        number = gather(options.sources, folder / "card")
        world = new_world(folder / "world", migrated(folder / "tables"))
        try:
            sys.exit(run(world, folder / "card", number, options.good))
        finally:
            world.end()


def gather(sources: list[Path], card: Path) -> int:
    """Put every file of the sources onto the card; return how many there are."""
    number = 0
    for source in sources:
        if source.is_dir():
            found = [(path.name, path.read_bytes()) for path in sorted(source.rglob("*"))
                     if path.is_file()]  # fmt: skip
        else:
            with tarfile.open(source) as packed:
                chosen = [one for one in packed if one.isfile() and "mages/" in one.name]
                found = [(Path(one.name).name, packed.extractfile(one).read()) for one in chosen]  # type: ignore[union-attr]
        for name, data in found:
            number += 1
            own = card / f"{number % 50:02}"
            own.mkdir(exist_ok=True)
            (own / f"{number:05}-{name}").write_bytes(data)
    return number


def open_world(card: Path, good: int) -> dict[str, object]:
    """Make a person and good masters of our own; sign in."""
    import django

    django.setup()
    from tests import factory
    from tests.intake_scene import pixels, tiff
    from tests.intake_world import _web

    amaro = factory.photographer()
    for seed in range(good):
        own = card / f"{seed % 50:02}"
        own.mkdir(exist_ok=True)
        data = tiff(seed, at=factory.NOW, picture=pixels(seed, width=300, height=200))
        (own / f"{seed:05}-good.tif").write_bytes(data)
    return _web(amaro, 0) | {"email": amaro.email}


def run(world: World, card: Path, number: int, good: int) -> int:
    """Bring the card, and look at everything that was promised."""
    said = world.run(
        "-m", "tests.benchmarks.corpora", "--open", str(card), "--good", str(good), seconds=300
    )
    opened = json.loads(said.splitlines()[-1])
    before = {path: hashlib.sha256(path.read_bytes()).hexdigest() for path in files_of(card)}
    port = free_port()
    worker = world.start(*WORKER[:-1], "INFO")
    world.start(*BEAT)
    web = world.start(
        *("-m", "gunicorn", "imaging_requests.config.wsgi", "--bind", f"127.0.0.1:{port}"),
        *("--workers", "1", "--threads", "4", "--timeout", "0", "--log-level", "warning"),
    )
    started = time.monotonic()
    with Watch([process.pid for process in world.living]) as watch:
        out = world.run(
            *("manage.py", "intake", str(card), "--as", str(opened["email"])),
            *("--no-wait", "--json"),
            seconds=3_600,
        )
        answer = json.loads(out)
        world.wait("The end of all work", lambda: not world.left(), seconds=3_600)
        took = time.monotonic() - started
        time.sleep(1)
    faults = []
    drop = world.rows("SELECT id FROM intake_drop WHERE number = ?", answer["drop"])[0][0]
    base = f"http://127.0.0.1:{port}/intake"
    pages = (number + good) // 40 + 2
    for address in (
        f"{base}/drops/",
        f"{base}/sorting/",
        *(f"{base}/drops/{drop}/?page={page}" for page in range(1, pages)),
    ):
        code = requests.get(address, headers=opened["headers"], timeout=120).status_code
        if code != 200:
            faults.append(f"{address} answered {code}")
    if worker.poll() is not None or web.poll() is not None:
        faults.append("a process ended")
    states = Counter(state for (state,) in world.rows("SELECT state FROM intake_arrival"))
    read = world.rows("SELECT count(*) FROM intake_frame WHERE read_at IS NOT NULL")[0][0]
    shown = world.rows("SELECT count(DISTINCT frame_id) FROM intake_derivative")[0][0]
    failed = world.rows("SELECT kind, last_error FROM intake_job WHERE state = 'failed'")
    broken = world.rows("SELECT kind, subject_id, last_error FROM intake_job "
                        "WHERE last_error LIKE 'Something went wrong%'")  # fmt: skip
    kept = world.rows(
        "SELECT count(*) FROM intake_frame f WHERE f.first_name LIKE '%-good.tif' AND "
        "(SELECT count(*) FROM intake_copy c WHERE c.frame_id = f.id AND c.is_good) = 2"
    )[0][0]
    slowest = slowest_jobs(world)
    say(f"{number} files of others and {good} of our own in {took:.0f} s: {dict(states)}")
    say(f"not taken at the door: {len(answer['not_taken'])}; frames read {read}, shown {shown}")
    say(f"good files kept in two places: {kept} of {good}")
    say(f"slowest jobs: {slowest}")
    for role, peak in sorted(watch.peak_each.items()):
        say(f"  {role} {megabytes(peak)}")
        if peak > MOST_BYTES:
            faults.append(f"{role} took {megabytes(peak)}")
    if kept != good:
        faults.append(f"{good - kept} good files were not kept")
    faults += [f"{kind}: {error}" for kind, error in failed]
    faults += [f"a bug in {kind} {pk}: {error}" for kind, pk, error in broken]
    faults += [f"{job} took {seconds:.1f} s" for job, seconds in slowest if seconds > MOST_S]
    changed = [path for path, sha in before.items()
               if hashlib.sha256(path.read_bytes()).hexdigest() != sha]  # fmt: skip
    faults += [f"{path} was changed" for path in changed]
    for fault in faults[:30]:
        say(f"FAULT {fault}")
    say(f"{len(faults)} faults")
    return 1 if faults else 0


def files_of(card: Path) -> list[Path]:
    """Return the files of a card."""
    return [path for path in card.rglob("*") if path.is_file()]


def slowest_jobs(world: World) -> list[tuple[str, float]]:
    """Read from the log how long the slowest jobs took; a job's line ends in its seconds."""
    found = []
    for line in (world.folder / "processes.log").read_text(errors="replace").splitlines():
        if " job " in line and line.endswith(" s") and ": " in line:
            words = line.rsplit(", ", 1)
            name = words[0].split(" job ", 1)[1]
            try:
                found.append((name, float(words[1].removesuffix(" s"))))
            except ValueError:
                continue
    return sorted(found, key=lambda job: -job[1])[:3]


def say(words: str) -> None:
    """Print at once."""
    sys.stdout.write(f"{words}\n")
    sys.stdout.flush()


if __name__ == "__main__":
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "imaging_requests.config.settings")
    main()
