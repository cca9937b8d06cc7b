"""Bring the drop fixture of 2,000 files through the real intake, twice, and compare with the truth.

`python -m tests.benchmarks.drop [--files 2000]` builds sessions and files from seeds in a
temporary folder, starts the workers of the desk size, runs `manage.py intake` for each session's
folder, and prints: how long it took, the most memory any process had, what became of each kind of
file, the reasons on the sorting table; then the same files again.
"""

from __future__ import annotations

import argparse
import json
import os
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

from tests.benchmarks.watch import Watch, megabytes
from tests.intake_world import BEAT, CELERY, QUIET, World, migrated, new_world

SESSIONS = 8
WORKERS = {
    "first": "ingest,plans,mail",
    "pixels1": "ingest,pixels",
    "pixels2": "ingest,pixels",
}


def main() -> None:
    """Build, bring, compare, bring again."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--files", type=int, default=2_000)
    parser.add_argument("--step", choices=("build", "judge"))
    parser.add_argument("--folder", type=Path)
    options = parser.parse_args()
    if options.step:
        say(json.dumps(STEPS[options.step](options.folder, options.files)))
        return
    with tempfile.TemporaryDirectory() as name:
        run(Path(name), options.files)


def run(folder: Path, files: int) -> None:
    """Run the whole comparison in an empty folder."""
    (folder / "tables").mkdir()
    (folder / "world").mkdir()
    world = new_world(folder / "world", migrated(folder / "tables"))
    sessions = step(world, "build", files)["sessions"]
    for worker, queues in WORKERS.items():
        world.start(*CELERY, "worker", "-P", "solo", "-n", f"{worker}@%h", "-Q", queues, *QUIET)
    world.start(*BEAT)
    try:
        for round_name in ("first", "again"):
            started = time.monotonic()
            with Watch([os.getpid()]) as watch:
                drops = {pk: bring(world, pk) for pk in sessions}
                world.wait("The end of all work", lambda: not world.left(), seconds=3_600)
                took = time.monotonic() - started
                time.sleep(1)
            say(
                f"\n{round_name}: {files:,} files in {took:.0f} s, "
                f"{watch.processor_s:.0f} s of processor time, load {os.getloadavg()[0]:.1f}; "
                "most memory:"
            )
            for role, peak in sorted(watch.peak_each.items()):
                say(f"  {role} {megabytes(peak)}")
            say(f"  together {megabytes(watch.peak_together)}")
            (world.folder / "drops.json").write_text(json.dumps(drops))
            judged = step(world, "judge", files)
            for kind, row in judged["table"].items():
                say(f"  {kind}: {row}")
            for kind, reasons in judged["reasons"].items():
                for reason in reasons:
                    say(f"    {kind}: {reason}")
    finally:
        world.end()


def step(world: World, name: str, files: int) -> dict[str, Any]:
    """Run one step in a process of its own, in the environment of the world."""
    arguments = ("--files", str(files), "--step", name, "--folder", str(world.folder))
    out = world.run("-m", "tests.benchmarks.drop", *arguments, seconds=3_600)
    answer: dict[str, Any] = json.loads(out.splitlines()[-1])
    return answer


def bring(world: World, session: int) -> int:
    """Take a session's folder in with the command, as a card reader would; return the drop."""
    card = world.folder / "card" / f"session-{session}"
    out = world.run(
        *("manage.py", "intake", str(card), "--session", str(session), "--no-wait", "--json"),
        seconds=3_600,
    )
    number = json.loads(out)["drop"]
    return int(world.rows("SELECT id FROM intake_drop WHERE number = ?", number)[0][0])


def build(folder: Path, files: int) -> dict[str, Any]:
    """Make people, sessions, lines and the files."""
    import django

    django.setup()
    from tests import drop_fixture, factory

    sessions = drop_fixture.lay_out_sessions(
        files, sessions=-(-files * SESSIONS // 2_000), by=factory.photographer()
    )
    written = drop_fixture.write_drop(folder / "card", sessions, files)
    assert len(written) == files, len(written)
    return {"sessions": [session.pk for session in sessions]}


def judge(folder: Path, files: int) -> dict[str, Any]:
    """Compare with the truth."""
    import django

    django.setup()
    from tests import drop_fixture

    drops = {int(key): pk for key, pk in json.loads((folder / "drops.json").read_text()).items()}
    found = drop_fixture.outcomes(folder / "card", drops=drops)
    reasons: dict[str, list[str]] = {}
    for each in found:
        if each.reason and each.state != "already_here" and not each.is_placed:
            named = reasons.setdefault(each.truth.kind, [])
            if len(named) < 2 and each.reason not in named:
                named.append(each.reason)
    return {"table": drop_fixture.summary(found), "reasons": reasons}


STEPS = {"build": build, "judge": judge}


def say(words: str) -> None:
    """Print at once."""
    sys.stdout.write(f"{words}\n")
    sys.stdout.flush()


if __name__ == "__main__":
    main()
