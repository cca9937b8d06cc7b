"""Time the full check of one 100-megapixel 16-bit RGB frame against one libvips read, in one run.

``python -m tests.benchmarks.checks [--turns 5] [--deflate]``. The read decodes every pixel of the
same file once and averages it (``avg``), the least that looks at all of them. The check is the task
of the guarded process: read, reduce, apply every rule of a picture in visible light. Two frames: a
painting on its easel with chart and ruler, and the same with a third of it at the ends of the
scale, where counting costs most. Both are in the memory of the operating system when time is taken.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable
from dataclasses import asdict
from pathlib import Path
from statistics import median
from typing import Any

import numpy as np
import pyvips

from imaging_requests.imaging.files.limits import Limits
from imaging_requests.imaging.measure.plan import Plan
from imaging_requests.imaging.measure.task import measure
from imaging_requests.imaging.synthesis.profiles import wide_rgb_profile
from tests.pure.files_samples import settings
from tests.pure.measure_samples import FIXTURES, PX_PER_MM, SPEC, shoot

PIXELS = 100_500_000
GRAIN_LEVELS = 130
PROMISE = 3.0


def write_frame(path: Path, *, is_clipped: bool, compression: str = "none") -> float:
    """Write a frame of a good 100 megapixels; return its density in px/mm."""
    pixels = shoot("VF").pixels
    factor = (PIXELS / (pixels.shape[0] * pixels.shape[1])) ** 0.5
    image = pyvips.Image.new_from_array(pixels).resize(factor)
    image = image + pyvips.Image.gaussnoise(image.width, image.height, sigma=GRAIN_LEVELS, mean=0)
    if is_clipped:
        low, high = (float(value) for value in np.percentile(pixels, (17, 83)))
        image = (image - low) * (65_535 / (high - low))
    image = image.cast("ushort").copy(interpretation="rgb16")
    image.set_type(pyvips.GValue.blob_type, "icc-profile-data", wide_rgb_profile())
    image.tiffsave(str(path), compression=compression)
    return PX_PER_MM * factor


def read_once(path: Path) -> float:
    """Decode every pixel once with libvips, and average it."""
    average: float = pyvips.Image.tiffload(str(path), access="sequential").avg()
    return average


def check_once(path: Path, density: float, scratch: Path) -> dict[str, Any]:
    """Check a frame as the guarded process does."""
    plan = Plan(
        technique="VF",
        px_per_mm=density,
        face_mm=(SPEC.width_mm, SPEC.height_mm),
        baseline_mtf50=0.05,
    )
    return measure(
        {
            "paths": [str(path)],
            "plans": [asdict(plan)],
            "data_folder": str(FIXTURES),
            "charts": [],
            "wanted_ev": [],
            "scratch": str(scratch),
            "limits": Limits.from_settings(settings("reading-limits")).as_data(),
            "with_traits": True,
        }
    )


def timed(work: Callable[[], object]) -> tuple[float, float]:
    """Return the seconds that some work takes, and those of the processor."""
    start, used = time.perf_counter(), time.process_time()
    work()
    return time.perf_counter() - start, time.process_time() - used


def compare(path: Path, density: float, scratch: Path, turns: int) -> tuple[float, str]:
    """Time both by turns; return the ratio of the medians, and the line to print."""
    told = check_once(path, density, scratch)
    verdicts = Counter(found["verdict"] for found in told["frames"][0]["findings"])
    reads, checks = [], []
    for _ in range(turns):
        reads.append(timed(lambda: read_once(path)))
        checks.append(timed(lambda: check_once(path, density, scratch)))
    read, read_cpu = (median(each) for each in zip(*reads, strict=True))
    check, check_cpu = (median(each) for each in zip(*checks, strict=True))
    best = min(each[0] for each in checks) / min(each[0] for each in reads)
    words = ", ".join(f"{count} {verdict}" for verdict, count in sorted(verdicts.items()))
    line = (
        f"read {read:.2f} s ({read_cpu:.2f} s of the processor), check {check:.2f} s "
        f"({check_cpu:.2f} s): {check / read:.2f} × (best against best {best:.2f} ×, processor "
        f"{check_cpu / read_cpu:.2f} ×); {words}"
    )
    return check / read, line


def say(line: str) -> None:
    """Print a line at once."""
    sys.stdout.write(f"{line}\n")
    sys.stdout.flush()


def main() -> int:
    """Make the frames, time both ways by turns, print the ratios."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--turns", type=int, default=5)
    parser.add_argument("--deflate", action="store_true", help="a compressed frame as well")
    options = parser.parse_args()
    pyvips.cache_set_max(0)
    frames = [("painting on its easel", False, "none"), ("a third at the ends", True, "none")]
    if options.deflate:
        frames.append(("painting on its easel, deflate", False, "deflate"))
    say(f"{PIXELS / 1e6:.1f} megapixels, 16-bit RGB; median of {options.turns}")
    worst = 0.0
    with tempfile.TemporaryDirectory() as name:
        for words, is_clipped, compression in frames:
            path = Path(name) / "frame.tif"
            density = write_frame(path, is_clipped=is_clipped, compression=compression)
            ratio, line = compare(path, density, Path(name), options.turns)
            worst = max(worst, ratio)
            say(f"{words}: {line}")
    say(f"promise: at most {PROMISE:.0f} ×, worst {worst:.2f} ×")
    return 0


if __name__ == "__main__":
    sys.exit(main())
