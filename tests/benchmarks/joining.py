"""Time the joining of 12 plates of 3500 × 4300 px against libvips and OpenCV, in one run.

``python -m tests.benchmarks.joining [--side-px 3500]``. libvips reads and writes the same pixels
without joining them; OpenCV's stitcher (mode SCANS) is given the 8-bit pictures it asks for.
"""

from __future__ import annotations

import argparse
import resource
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
    """Make the plates, time the three ways in turns, print the ratios."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--side-px", type=int, default=3500)
    parser.add_argument("--turns", type=int, default=3)
    parser.add_argument("--without-stitcher", action="store_true")
    options = parser.parse_args()
    side = options.side_px
    cut = Cut(
        columns=GRID[0], rows=GRID[1], tile_px=(side, side * 43 // 35), overlap=0.07, is_whole=True
    )
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        paths = write_tiles(folder, cut_tiles(texture(*scene_size(cut), seed=1), cut, seed=1)[0])

        def read_and_write() -> None:
            (folder / "plain.tif").unlink(missing_ok=True)
            tiles = [pyvips.Image.tiffload(str(path), access="sequential") for path in paths]
            pyvips.Image.arrayjoin(tiles, across=GRID[0]).tiffsave(
                str(folder / "plain.tif"), tile=True, tile_width=256, tile_height=256
            )

        def join() -> None:
            (folder / "joined.tif").unlink(missing_ok=True)
            request = JoinRequest(grid=GRID)
            answer = join_tiles(
                paths, folder / "joined.tif", request, settings=SETTINGS, limits=LIMITS
            )
            if isinstance(answer, Unjoined):
                raise SystemExit(answer.sentence)

        plain, joined = [], []
        for _ in range(options.turns):
            plain.append(timed(read_and_write))
            joined.append(timed(join))
        megapixels = 12 * side * (side * 43 // 35) / 1e6
        peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
        say(f"12 plates, {megapixels:.0f} megapixels; best of {options.turns}")
        (plain_s, plain_cpu), (joined_s, joined_cpu) = (
            tuple(min(each) for each in zip(*times, strict=True)) for times in (plain, joined)
        )
        say(f"libvips reads and writes them: {plain_s:.2f} s, processor {plain_cpu:.2f} s")
        say(f"joined: {joined_s:.2f} s, processor {joined_cpu:.2f} s")
        say(f"ratio:  {joined_s / plain_s:.1f}, of the processor {joined_cpu / plain_cpu:.1f}")
        say(f"peak memory of this process:   {peak:.0f} MB (the scene included)")
        if not options.without_stitcher:
            spent, said = _stitch(paths)
            say(
                f"OpenCV's stitcher, SCANS:      {spent:.2f} s, {said}; "
                f"joined in {joined_s / spent:.2f} of that time"
            )
    return 0


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
