"""Place the frames of random studio days with known truth, and print how many were placed rightly.

    .venv/bin/python tests/benchmarks/placing.py [--sets 20] [--frames 2000] [--first-seed 1]
        [--spoilt 0.05] [--missing 0.005] [--repeated 0.005] [--without-reference 0.15]

Every set is drawn anew: names removed, frames shuffled, clocks spoilt (a quarter each: no time, a
clock that was never set, whole hours off, minutes off). Wanted: of the placed frames at least
99.5 % rightly, and at least 95 % of all frames placed.
"""

from __future__ import annotations

import argparse
import os
import sys
import time
from collections import Counter
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
os.environ.setdefault("DJANGO_SETTINGS_MODULE", "imaging_requests.config.settings_test")

import cv2
import django

django.setup()

from imaging_requests.intake.sorting import decide  # noqa: E402
from tests.placing_sets import Faults, make_set  # noqa: E402

WANTED_PRECISION, WANTED_PLACED = 99.5, 95.0


def say(line: str) -> None:
    """Print a line at once."""
    sys.stdout.write(f"{line}\n")
    sys.stdout.flush()


def main() -> int:
    """Print one line for every set, and the sum."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--sets", type=int, default=20)
    parser.add_argument("--frames", type=int, default=2000)
    parser.add_argument("--first-seed", type=int, default=1)
    parser.add_argument("--spoilt", type=float, default=0.05)
    parser.add_argument("--missing", type=float, default=0.0)
    parser.add_argument("--repeated", type=float, default=0.0)
    parser.add_argument("--without-reference", type=float, default=0.15)
    options = parser.parse_args()
    cv2.setNumThreads(1)
    faults = Faults(
        spoilt_clocks=options.spoilt,
        missing=options.missing,
        repeated=options.repeated,
        without_reference=options.without_reference,
    )
    total, reasons = Counter[str](), Counter[str]()
    say("  set  frames  placed    %   wrong  precision %   spoilt placed   seconds")
    for seed in range(options.first_seed, options.first_seed + options.sets):
        made = make_set(seed, frames=options.frames, faults=faults)
        began = time.perf_counter()
        decisions = [each for each in decide(made.frames, made.table) if not each.is_slate]
        seconds = time.perf_counter() - began
        placed = [each for each in decisions if each.spot is not None and not each.because]
        wrong = [each for each in placed if made.truth[each.frame_id] != each.spot]
        spoilt = [each for each in placed if each.frame_id in made.spoilt]
        reasons.update(str(each.why) for each in decisions if each.because)
        total.update(frames=len(made.truth), placed=len(placed), wrong=len(wrong))
        total.update(spoilt=len(made.spoilt), spoilt_placed=len(spoilt))
        say(
            f"{seed:5} {len(made.truth):7} {len(placed):7}"
            f" {100 * len(placed) / len(made.truth):6.2f} {len(wrong):5}"
            f" {100 * (1 - len(wrong) / max(1, len(placed))):10.3f}"
            f" {len(spoilt):9} of {len(made.spoilt):3} {seconds:9.1f}",
        )
    precision = 100 * (1 - total["wrong"] / max(1, total["placed"]))
    share = 100 * total["placed"] / max(1, total["frames"])
    say(
        f"  all {total['frames']:7} {total['placed']:7} {share:6.2f} {total['wrong']:5}"
        f" {precision:10.3f} {total['spoilt_placed']:9} of {total['spoilt']:3}"
    )
    waiting = ", ".join(f"{why} {number}" for why, number in reasons.most_common())
    say(f"waiting: {waiting}")
    return 0 if precision >= WANTED_PRECISION and share >= WANTED_PLACED else 1


if __name__ == "__main__":
    sys.exit(main())
