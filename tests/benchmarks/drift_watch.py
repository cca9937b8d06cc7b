"""Count false alarms and weeks to detection of the drift watch over many invented series.

``python -m tests.benchmarks.drift_watch [RUNS]``
"""

from __future__ import annotations

import json
import sys
from datetime import date, timedelta
from pathlib import Path

import numpy as np

from imaging_requests.imaging.drift.limits import DriftLimits
from imaging_requests.imaging.drift.watch import Watch, watch

START = date(2024, 1, 1)
TWO_YEARS = 104
DRIFT = 0.15
SCATTERS = (0.10, 0.15, 0.20, 0.25, 0.30)


def watched(values: np.ndarray, limits: DriftLimits) -> Watch:
    rows = [(START + timedelta(weeks=week), float(value)) for week, value in enumerate(values)]
    return watch(rows, limits=limits)


def main(runs: int) -> None:
    limits = DriftLimits.from_settings(
        json.loads(Path("fixtures/checks/drift-1.json").read_text("utf-8"))
    )
    rng = np.random.default_rng(1)
    base = limits.base_weeks
    sums = outside = 0
    for _ in range(runs):
        values = rng.normal(1.2, 0.2, base + TWO_YEARS)
        found = watched(values, limits)
        assert found.sums is not None
        assert found.chart is not None
        sums += found.sums.alarm is not None
        outside += sum(found.chart.is_outside(value) for value in values[base:])
    sys.stdout.write(
        f"{runs} quiet series of two years: {sums / runs:.2f} drift alarms, "
        f"{outside / runs:.2f} single weeks outside\n"
    )
    for scatter in SCATTERS:
        weeks = []
        for _ in range(runs):
            values = rng.normal(1.2, scatter, base + 20 + 12)
            values[-12:] += DRIFT * np.arange(1, 13)
            found = watched(values, limits)
            assert found.sums is not None
            alarm = found.sums.alarm
            weeks.append(99 if alarm is None else alarm - base - 20 + 1)
        share = np.mean(np.array(weeks) <= 6)
        sys.stdout.write(
            f"scatter {scatter:.2f}: {share:.1%} within 6 weeks, median {np.median(weeks):.0f}\n"
        )


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 1000)
