"""How exact is alignment, and how honest its error? Prints tables; not run by the tests.

    .venv/bin/python -m tests.benchmarks.alignment_accuracy --paintings 6 --unrelated 200

Every pair of techniques of synthetic paintings, from slightly wrong places at different
densities, against the known map; then pairs of different paintings, none of which may be accepted.
"""

from __future__ import annotations

import argparse
import itertools
import sys
import time
from collections import defaultdict

import numpy as np

from imaging_requests.imaging.alignment.align import align
from imaging_requests.imaging.alignment.limits import Limits
from imaging_requests.imaging.alignment.matrices import corner_errors
from imaging_requests.imaging.alignment.pictures import Picture, picture_of
from tests.benchmarks.alignment_scenes import TECHNIQUES, paintings


def say(words: str) -> None:
    sys.stdout.write(f"{words}\n")
    sys.stdout.flush()


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--paintings", type=int, default=6)
    parser.add_argument("--megapixels", type=float, default=1.2)
    parser.add_argument("--unrelated", type=int, default=200)
    options = parser.parse_args()
    errors: dict[tuple[str, str], list[float]] = defaultdict(list)
    ratios: list[float] = []
    refused = 0
    spent = time.process_time()
    kept: list[dict[str, Picture]] = []
    for name, taken in paintings(options.paintings, megapixels=options.megapixels):
        pictures = {technique: picture_of(one.pixels) for technique, one in taken.items()}
        kept.append(pictures)
        for one, other in itertools.permutations(TECHNIQUES, 2):
            found = align(pictures[one], pictures[other], limits=Limits())
            if found.matrix is None or found.residual_px is None:
                refused += 1
                say(f"{name} {one} {other}: {found.reason}")
                continue
            size = pictures[other].width_px, pictures[other].height_px
            apart = corner_errors(found.matrix, taken[other].to(taken[one]), *size)
            errors[one, other].append(float(np.median(apart)))
            ratios.append(found.residual_px / float(np.median(apart)))
        say(f"{name}: {sum(map(len, errors.values()))} pairs, {refused} refused")
    pairs = sum(map(len, errors.values()))
    for (one, other), found_errors in sorted(errors.items()):
        median, worst = np.median(found_errors), max(found_errors)
        say(f"{other} on {one}: corner error median {median:.2f} px, worst {worst:.2f} px")
    every = list(itertools.chain.from_iterable(errors.values()))
    say(f"all {pairs} pairs: median {np.median(every):.2f} px; {refused} refused")
    say(
        f"reported over true error: least {min(ratios):.2f}, below 0.5 in "
        f"{sum(ratio < 0.5 for ratio in ratios)} of {len(ratios)}"
    )
    say(f"{(time.process_time() - spent) / max(1, pairs):.2f} s of processor time for each pair")
    _unrelated(kept, options.unrelated)


def _unrelated(kept: list[dict[str, Picture]], count: int) -> None:
    rng = np.random.default_rng(5)
    accepted = 0
    for number in range(count):
        first, second = rng.choice(len(kept), 2, replace=False)
        one, other = rng.choice(TECHNIQUES, 2)
        found = align(kept[first][one], kept[second][other], limits=Limits())
        accepted += found.matrix is not None
        if number % 20 == 19:
            say(f"{number + 1} unrelated pairs: {accepted} accepted")
    say(f"{count} unrelated pairs: {accepted} accepted")


if __name__ == "__main__":
    main()
