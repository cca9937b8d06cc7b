"""Turn over one bit in each of 1,000 stored files, in either place, and let the sweep find them.

`python -m tests.benchmarks.flips [--files 1000] [--seed 1]` brings so many small masters through
the real intake, flips one random bit in one copy of each (first or second place by chance), runs
`manage.py verify_store`, and compares every byte of both places with what was brought.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import os
import random
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

from tests.intake_world import World, migrated, new_world

PLACES = ("store", "second-copy")


def main() -> None:
    """Run and print; end with an error if a flip was not found or not repaired."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--files", type=int, default=1_000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--bring", type=int)
    options = parser.parse_args()
    if options.bring:
        bring_files(options.bring)
        return
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        for part in ("tables", "world"):
            (folder / part).mkdir()
        world = new_world(folder / "world", migrated(folder / "tables"))
        sys.exit(run(world, options.files, random.Random(options.seed)))


def bring_files(number: int) -> None:
    """Bring masters and have them received; their pictures are not needed here."""
    import django

    django.setup()
    from imaging_requests.intake import jobs
    from tests import factory
    from tests.intake_scene import bring, open_drop, pixels, tiff

    drop = open_drop(factory.photographer())
    factory.person("Hale", "keeper")
    for seed in range(number):
        picture = pixels(seed, width=48, height=32)
        bring(drop, f"{seed:05}.tif", tiff(seed, at=factory.NOW, picture=picture))
    jobs.run_due(["ingest"])


def run(world: World, files: int, rng: random.Random) -> int:
    """Flip, sweep, compare."""
    world.run("-m", "tests.benchmarks.flips", "--bring", str(files), seconds=3_600)
    before = {place: digests(world, place) for place in PLACES}
    assert before["store"] == before["second-copy"]
    assert len(before["store"]) == files
    flipped = []
    for sha256 in sorted(before["store"]):
        place = rng.choice(PLACES)
        path = next((world.folder / place).glob(f"*/*/{sha256}.tif"))
        flip(path, rng)
        flipped.append((place, sha256))
    started = time.monotonic()
    answer: dict[str, Any] = json.loads(
        world.run("manage.py", "verify_store", "--json", seconds=3_600)
    )
    took = time.monotonic() - started
    named = {(each["place"], each["sha256"]) for each in answer["trouble"]}
    wanted = {("second copy" if place == "second-copy" else place, sha) for place, sha in flipped}
    after = {place: digests(world, place) for place in PLACES}
    kept = sum(len(list((world.folder / place / "damaged").glob("*"))) for place in PLACES)
    missed = len(wanted - named)
    wrong = sum(before[place] != after[place] for place in PLACES)
    say(f"{files} files, one bit flipped in one copy of each: {answer['counts']} in {took:.1f} s")
    say(
        f"found {len(wanted & named)} of {files}, places that differ afterwards: {wrong}, "
        f"bad files kept aside: {kept}"
    )
    return 1 if missed or wrong or kept != files else 0


def digests(world: World, place: str) -> dict[str, str]:
    """Return the true digest of every master of a place by the name that it lies under."""
    return {
        path.stem: hashlib.sha256(path.read_bytes()).hexdigest()
        for path in (world.folder / place).glob("??/??/*.tif")
    }


def flip(path: Path, rng: random.Random) -> None:
    """Turn over one bit of a file."""
    path.chmod(0o644)
    with open(path, "r+b") as file:
        at = rng.randrange(path.stat().st_size)
        file.seek(at)
        (byte,) = file.read(1)
        file.seek(at)
        file.write(bytes([byte ^ (1 << rng.randrange(8))]))
    path.chmod(0o444)


def say(words: str) -> None:
    """Print at once."""
    sys.stdout.write(f"{words}\n")
    sys.stdout.flush()


if __name__ == "__main__":
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "imaging_requests.config.settings")
    main()
