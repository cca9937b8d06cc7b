"""Time the whole intake of large masters against the same work by hand, in turns, in one run.

`python -m tests.benchmarks.intake [--masters 8] [--megapixels 100] [--folder DIR]`

By hand, for each master, with the fastest tools: SHA-256 of the source (hashlib, backed by
OpenSSL), two copies written with a sync to the disk, both read again and hashed, the header read,
the pyramid made with libvips straight from the file, and the thumbnails from the pyramid.

Ours: `receive_whole` with the same source, then the jobs `receive` (proof of what was received, two
synchronised copies, second read) and `derive` (levels counted, pyramid, thumbnails, checks,
metadata in the database). The worker of the queue `pixels` runs already, as in a studio; the
command that brings the files starts within the time, and so does the process that works by hand,
which makes each pyramid beside the copies of the next master.

Printed: seconds of both in each turn, their ratio, the most memory of any process of ours.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import os
import shutil
import sys
import tempfile
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from tests.benchmarks.watch import Watch, megabytes
from tests.intake_world import CELERY, QUIET, World, kill, migrated, new_world

#: By then a worker has started on two cores.
WORKER_STARTS_S = 8
CHUNK = 1 << 20
BLOCK = 512
TAKEN_AT = datetime(2026, 4, 16, 8, tzinfo=UTC)


def main() -> None:
    """Make the masters, then take turns."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--masters", type=int, default=8)
    parser.add_argument("--megapixels", type=int, default=100)
    parser.add_argument("--folder", type=Path)
    parser.add_argument("--step", choices=("open", "hand"))
    options = parser.parse_args()
    if options.step == "open":
        say(json.dumps(open_session()))
        return
    if options.step == "hand":
        say(json.dumps(by_hand(options.folder)))
        return
    with tempfile.TemporaryDirectory(dir=options.folder) as name:
        run(Path(name), options.masters, options.megapixels)


def run(folder: Path, number: int, megapixels: int) -> None:
    """Take turns: one master by hand, the same one by ours, so that noise meets both."""
    for part in ("tables", "world", "card", "hand"):
        (folder / part).mkdir()
    world = new_world(folder / "world", migrated(folder / "tables"))
    email = json.loads(world.run("-m", "tests.benchmarks.intake", "--step", "open"))["email"]
    halves = [folder / "card" / half for half in ("first", "second")]
    for half in halves:
        half.mkdir()
    for seed in range(number):
        write_master(halves[seed % 2] / f"M{seed:02}.tif", seed, megapixels)
    size = sum(path.stat().st_size for half in halves for path in half.iterdir())
    say(
        f"{number} masters of {megapixels} megapixels, {size / 1e9:.2f} GB; load before: "
        f"{os.getloadavg()[0]:.1f}"
    )
    hand, ours = [], []
    peaks: dict[str, int] = {}
    worker = world.start(
        *(*CELERY, "worker", "-P", "solo", "-n", "pixels@%h", "-Q", "pixels", *QUIET)
    )
    time.sleep(WORKER_STARTS_S)
    for turn, half in enumerate(halves):
        steps = [lambda half=half: hand.append(time_hand(world, half)),
                 lambda half=half: ours.append(time_ours(world, half, email, peaks))]  # fmt: skip
        for work in steps if turn % 2 == 0 else reversed(steps):
            work()
        say(f"turn {turn + 1}: {compared(hand[-1:], ours[-1:])}, load {os.getloadavg()[0]:.1f}")
    kill(worker)
    say(f"all: {compared(hand, ours)}")
    for role, peak in sorted(peaks.items()):
        say(f"  most memory, {role}: {megabytes(peak)}")
    done = world.rows("SELECT count(*) FROM intake_copy WHERE is_good")[0][0]
    made = world.rows("SELECT count(*) FROM intake_derivative")[0][0]
    assert (done, made) == (2 * number, 3 * number), (done, made)


@dataclass(frozen=True, slots=True)
class Spent:
    """Seconds on the clock, and seconds of processor time of all processes together."""

    wall_s: float
    processor_s: float


def compared(hand: list[Spent], ours: list[Spent]) -> str:
    """Say how much both took and how they compare."""
    words = []
    for name, field in (("clock", "wall_s"), ("processor", "processor_s")):
        theirs, own = (sum(getattr(each, field) for each in some) for some in (hand, ours))
        words.append(f"{name} {theirs:.1f} s by hand, {own:.1f} s ours, ratio {own / theirs:.2f}")
    return "; ".join(words)


def time_hand(world: World, half: Path) -> Spent:
    """Time the work by hand in a process of its own, its start included as ours are."""
    started = time.perf_counter()
    with Watch([os.getpid()]) as watch:
        world.run("-m", "tests.benchmarks.intake", "--step", "hand", "--folder", str(half),
              seconds=3_600)  # fmt: skip
    took = time.perf_counter() - started
    shutil.rmtree(half.parent / "hand", ignore_errors=True)
    return Spent(took, watch.processor_s)


def by_hand(card: Path) -> dict[str, Any]:
    """Do for every file what the intake does, with the fastest tools and without a database."""
    out = card.parent / "hand"
    with ThreadPoolExecutor(1) as pictures:
        waiting = []
        for source in sorted(card.iterdir()):
            digest = sha256(source)
            copies = [out / place / source.name for place in ("first", "second")]
            for copy in copies:
                copy.parent.mkdir(parents=True, exist_ok=True)
                with open(source, "rb") as origin, open(copy, "xb") as target:
                    shutil.copyfileobj(origin, target, CHUNK)
                    target.flush()
                    os.fsync(target.fileno())
            for copy in copies:
                assert sha256(copy, is_from_disk=True) == digest
            waiting.append(pictures.submit(pictures_by_hand, copies[0], out))
        for each in waiting:
            each.result()
    return {}


def pictures_by_hand(master: Path, out: Path) -> None:
    """Read the header, make the pyramid straight from the file, the thumbnails from the pyramid."""
    import pyvips
    import tifffile

    with tifffile.TiffFile(master) as file:
        assert file.pages[0].tags[306].value
    pyramid = out / f"{master.stem}-pyramid.tif"
    image = pyvips.Image.tiffload(str(master), access="sequential", fail_on="error")
    shown = image.icc_transform(
        "srgb", embedded=True, intent="relative", black_point_compensation=True, depth=8
    )
    shown.tiffsave(
        str(pyramid), pyramid=True, tile=True, tile_width=512, tile_height=512,
        compression="jpeg", Q=88, keep="icc",
    )  # fmt: skip
    level = pyvips.Image.thumbnail(str(pyramid), 1024, height=1024, size="down").copy_memory()
    level.jpegsave(str(out / f"{master.stem}-1024.jpg"), Q=85, keep="icc")
    small = level.thumbnail_image(256, height=256, size="down")
    small.jpegsave(str(out / f"{master.stem}-256.jpg"), Q=85, keep="icc")


def sha256(path: Path, *, is_from_disk: bool = False) -> str:
    """Hash a file in pieces of a mebibyte."""
    digest = hashlib.sha256()
    with open(path, "rb", buffering=0) as file:
        if is_from_disk:
            os.posix_fadvise(file.fileno(), 0, 0, os.POSIX_FADV_DONTNEED)
        while chunk := file.read(CHUNK):
            digest.update(chunk)
    return digest.hexdigest()


def time_ours(world: World, half: Path, email: str, peaks: dict[str, int]) -> Spent:
    """Time the intake: one process receives and proves, a worker makes the pictures beside it."""
    started = time.perf_counter()
    with Watch([os.getpid()]) as watch:
        world.run("manage.py", "intake", str(half), "--as", email, "--json", seconds=3_600)
        took = time.perf_counter() - started
    for role, peak in watch.peak_each.items():
        peaks[role] = max(peak, peaks.get(role, 0))
    spent = sorted(watch.processor_s_each.items())
    say("  processor, ours: " + ", ".join(f"{role} {took_s:.1f} s" for role, took_s in spent))
    return Spent(took, watch.processor_s)


def open_session() -> dict[str, str]:
    """Make the person who brings the masters."""
    import django

    django.setup()
    from tests import factory

    return {"email": factory.photographer().email}


def write_master(path: Path, seed: int, megapixels: int) -> None:
    """Write a synthetic 16-bit RGB master with profile and Exif, noisy as a photograph is."""
    import numpy as np

    from imaging_requests.imaging.synthesis.writer import CameraNotes, write_tiff

    width = int((megapixels * 1e6 * 1.5) ** 0.5)
    height = int(megapixels * 1e6 / width)
    rng = np.random.default_rng(seed)
    band = np.concatenate(list(_rows(rng, width, height)))
    write_tiff(
        path, band, px_per_mm=12,
        notes=CameraNotes(taken_at=TAKEN_AT, exposure_s=1 / 60),
    )  # fmt: skip


def _rows(rng: Any, width: int, height: int) -> Iterator[Any]:
    import numpy as np

    columns = np.linspace(0, 60, width)[None, :, None]
    rows = np.arange(BLOCK)[:, None, None]
    level = 30_000 + 18_000 * np.sin(columns + np.array([0.0, 1.0, 2.0])) * np.cos(rows / 301)
    noise = rng.integers(-900, 900, (BLOCK, width, 1))
    block = np.clip(level + noise, 0, 65_535).astype(np.uint16)
    for top in range(0, height, BLOCK):
        turned = np.roll(block, int(rng.integers(width)), axis=1)
        yield turned[: min(BLOCK, height - top)]


def say(words: str) -> None:
    """Print at once."""
    sys.stdout.write(f"{words}\n")
    sys.stdout.flush()


if __name__ == "__main__":
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "imaging_requests.config.settings")
    main()
