"""How often is the turn or mirror of a picture told rightly? Prints counts; not run by the tests.

    .venv/bin/python -m tests.benchmarks.orientation --paintings 125

Each synthetic painting is taken in four techniques from a slightly wrong place and laid against its
visible picture. One of the eight turns and mirrors is drawn for each picture. Since all eight are
compared for every picture, another turn of it exchanges their roles and nothing else; `--all-turns`
shows that it is so. `--first` lets several runs share the work.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections import Counter

import numpy as np

from imaging_requests.imaging.alignment.limits import Limits as AlignmentLimits
from imaging_requests.imaging.alignment.pictures import picture_of
from imaging_requests.imaging.orientation.limits import Limits
from imaging_requests.imaging.orientation.turns import Turn, apply_turn, find_turn
from tests.benchmarks.alignment_scenes import TECHNIQUES, paintings


def say(words: str) -> None:
    sys.stdout.write(f"{words}\n")
    sys.stdout.flush()


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--paintings", type=int, default=125)
    parser.add_argument("--first", type=int, default=0, help="seed of the first painting")
    parser.add_argument("--megapixels", type=float, default=0.2)
    parser.add_argument("--all-turns", action="store_true", help="all eight of every picture")
    options = parser.parse_args()
    rng = np.random.default_rng([7, options.first])
    counts: Counter[str] = Counter()
    spent = 0.0
    taken = paintings(options.paintings, megapixels=options.megapixels, first=options.first)
    for name, pictures in taken:
        reference = picture_of(pictures["VF"].pixels)
        drawn = [list(Turn)[int(number)] for number in rng.integers(len(Turn), size=4)]
        asked = [
            (technique, turn)
            for technique, one in zip(TECHNIQUES[1:], drawn, strict=True)
            for turn in (Turn if options.all_turns else (one,))
        ]
        for technique, turn in asked:
            pixels = np.ascontiguousarray(apply_turn(pictures[technique].pixels, turn))
            started = time.process_time()
            found = find_turn(
                reference, picture_of(pixels), limits=Limits(), alignment=AlignmentLimits()
            )
            spent += time.process_time() - started
            if found.turn is turn:
                counts[f"{technique} right"] += 1
            elif found.turn is None:
                counts[f"{technique} cannot tell"] += 1
            else:
                counts[f"{technique} WRONG"] += 1
                say(f"{name} {technique}: {turn} taken for {found.turn}")
        total = sum(counts.values())
        wrong = sum(count for words, count in counts.items() if "WRONG" in words)
        doubt = sum(count for words, count in counts.items() if "cannot" in words)
        say(f"{total} pictures: {wrong} wrong, {doubt} cannot tell")
    for words, count in sorted(counts.items()):
        say(f"{words}: {count}")
    say(f"{spent / max(1, sum(counts.values())):.2f} s of processor time for each picture")


if __name__ == "__main__":
    main()
