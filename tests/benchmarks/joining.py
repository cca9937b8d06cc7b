"""Time the joining of 12 plates of 3500 × 4300 px against libvips and OpenCV, in one run.

``python -m tests.benchmarks.joining [--side-px 3500] [--kind whole]``. libvips reads and writes the
same pixels without joining them; OpenCV's stitcher (mode SCANS) is given the 8-bit pictures it asks
for. ``--make FOLDER`` only makes the plates, ``--tiles FOLDER`` takes them from there.
"""

from __future__ import annotations

import argparse
import os
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import cv2
import pyvips

from imaging_requests.imaging.joining.join import JoinRequest, join_tiles
from imaging_requests.imaging.joining.words import Unjoined
from tests.joining_scene import LIMITS, SETTINGS, Cut, cut_tiles, scene_size, texture, write_tiles

GRID = (4, 3)
KINDS = {
    "whole": {"is_whole": True},
    "fractions": {},
    "turned": {"turn_deg": 1.0, "gain": 0.05, "noise": 0.01},
}


def make(folder: Path, side: int, kind: str) -> None:
    """Write the plates of one kind."""
    cut = Cut(
        columns=GRID[0],
        rows=GRID[1],
        tile_px=(side, side * 43 // 35),
        overlap=0.07,
        **KINDS[kind],
    )
    write_tiles(folder, cut_tiles(texture(*scene_size(cut), seed=1), cut, seed=1)[0])


def timed(work: Callable[[], object]) -> tuple[float, float]:
    """Return the seconds that some work takes, and those of the processor."""
    start, used = time.perf_counter(), time.process_time()
    work()
    return time.perf_counter() - start, time.process_time() - used


def say(line: str) -> None:
    """Print a line at once."""
    sys.stdout.write(f"{line}\n")
    sys.stdout.flush()


def main() -> int:
    """Make the plates, time the ways in turns, print the ratios."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--side-px", type=int, default=3500)
    parser.add_argument("--kind", choices=list(KINDS), default="whole")
    parser.add_argument("--turns", type=int, default=3)
    parser.add_argument("--without-stitcher", action="store_true")
    parser.add_argument("--make", type=Path)
    parser.add_argument("--tiles", type=Path)
    options = parser.parse_args()
    if options.make is not None:
        make(options.make, options.side_px, options.kind)
        return 0
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        if options.tiles is None:
            # in a process of its own, so that the scene does not count as memory of the joining
            command = [sys.executable, "-m", "tests.benchmarks.joining", "--make", name]
            command += ["--side-px", str(options.side_px), "--kind", options.kind]
            subprocess.run(command, check=True)
        paths = sorted((options.tiles or folder).glob("plate-*.tif"))
        _compare(paths, folder, options)
    return 0


def _compare(paths: list[Path], folder: Path, options: argparse.Namespace) -> None:
    plain_path, joined_path = folder / "plain.tif", folder / "joined.tif"

    def read_and_write(*, is_synced: bool) -> None:
        plain_path.unlink(missing_ok=True)
        tiles = [pyvips.Image.tiffload(str(path), access="sequential") for path in paths]
        pyvips.Image.arrayjoin(tiles, across=GRID[0]).tiffsave(
            str(plain_path), tile=True, tile_width=256, tile_height=256
        )
        if is_synced:
            with plain_path.open("rb") as written:
                os.fsync(written.fileno())

    def join(*, is_synced: bool) -> None:
        joined_path.unlink(missing_ok=True)
        request = JoinRequest(grid=GRID, is_synced=is_synced)
        answer = join_tiles(paths, joined_path, request, settings=SETTINGS, limits=LIMITS)
        if isinstance(answer, Unjoined):
            raise SystemExit(answer.sentence)

    megapixels = (
        sum(
            pyvips.Image.tiffload(str(p)).width * pyvips.Image.tiffload(str(p)).height
            for p in paths
        )
        / 1e6
    )
    say(
        f"{len(paths)} plates, {megapixels:.0f} megapixels, {options.kind}; best of {options.turns}"
    )
    for is_synced in (False, True):
        plain, joined = [], []
        for _ in range(options.turns):
            plain.append(timed(lambda: read_and_write(is_synced=is_synced)))  # noqa: B023
            joined.append(timed(lambda: join(is_synced=is_synced)))  # noqa: B023
        (plain_s, plain_cpu), (joined_s, joined_cpu) = (
            tuple(min(each) for each in zip(*times, strict=True)) for times in (plain, joined)
        )
        say("files on the disk:" if is_synced else "files handed to the system:")
        say(f"  libvips reads and writes them: {plain_s:.2f} s, processor {plain_cpu:.2f} s")
        say(f"  joined: {joined_s:.2f} s, processor {joined_cpu:.2f} s")
        say(f"  ratio:  {joined_s / plain_s:.2f}, of the processor {joined_cpu / plain_cpu:.2f}")
        if not is_synced:
            fastest = joined_s
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    say(f"peak memory of this process: {peak:.0f} MB")
    if not options.without_stitcher:
        spent, said = _stitch(paths)
        say(
            f"OpenCV's stitcher, SCANS: {spent:.2f} s, {said}; "
            f"joined in {fastest / spent:.2f} of that time"
        )


def _stitch(paths: list[Path]) -> tuple[float, str]:
    """Return the time of OpenCV's stitcher and what it answered."""
    start = time.perf_counter()
    pictures = [cv2.imread(str(path), cv2.IMREAD_COLOR) for path in paths]
    status, picture = cv2.Stitcher.create(cv2.Stitcher_SCANS).stitch(pictures)
    spent = time.perf_counter() - start
    if status != cv2.Stitcher_OK:
        return spent, f"no picture (status {status})"
    return spent, f"{picture.shape[1]} × {picture.shape[0]} px, 8 bit"


if __name__ == "__main__":
    sys.exit(main())
