"""How surely each rule finds its fault, and how often it cries wolf.

For each rule a generator lays a fault of known strength into clean material. Printed are, over so
many cases (200 unless another number is given), the share of faults at 1.5 × the fail limit that
fail, and the share of clean cases that fail. Rules of painted pictures are slow; name rules to run
only some: python tests/benchmarks/faults.py 200 U1 R4
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from imaging_requests.imaging.files.verdicts import Outcome
from tests.benchmarks.fault_cases import CASES, Case


def rates(case: Case, count: int) -> tuple[float, float, float]:
    """Share of faults that fail, of clean cases that fail, and of all cases that cannot tell."""
    outcomes: dict[bool, list[Outcome]] = {True: [], False: []}
    for is_faulty in (True, False):
        for seed in range(count):
            outcomes[is_faulty].append(case.run(seed, is_faulty))
    found = sum(outcome is Outcome.FAIL for outcome in outcomes[True]) / count
    false = sum(outcome is Outcome.FAIL for outcome in outcomes[False]) / count
    every = outcomes[True] + outcomes[False]
    mute = sum(outcome is Outcome.CANNOT_TELL for outcome in every) / len(every)
    return found, false, mute


def chosen(arguments: list[str]) -> Iterator[Case]:
    """Yield the cases to run."""
    names = {name for name in arguments if not name.isdigit()}
    yield from (case for case in CASES if not names or case.rule in names)


def main(say: Callable[[str], None]) -> None:
    """Print the table."""
    arguments = sys.argv[1:]
    count = next((int(each) for each in arguments if each.isdigit()), 200)
    say("| rule | fault | found at 1.5 × the limit | false fails | cannot tell | cases |")
    say("|---|---|---|---|---|---|")
    for case in chosen(arguments):
        started = time.process_time()
        found, false, mute = rates(case, count)
        spent = time.process_time() - started
        say(
            f"| {case.rule} | {case.words} | {found:.1%} | {false:.1%} | {mute:.1%} | 2 × {count} |"
        )
        sys.stderr.write(f"{case.rule}: {spent:.1f} s of the processor\n")


if __name__ == "__main__":
    main(lambda line: print(line, flush=True))  # noqa: T201
