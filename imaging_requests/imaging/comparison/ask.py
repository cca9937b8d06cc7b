"""Ask a guarded process for a comparison of two files."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict
from pathlib import Path
from typing import Any

from imaging_requests.imaging.files.guard import GuardFailure, GuardPool
from imaging_requests.imaging.files.limits import Limits as ReadingLimits

from .set_up import Pair, SetUp
from .tasks import set_ups_as_data

#: Both files are decoded, aligned and compared at a few megapixels, which takes as long again.
PASSES = 4


def ask_compare(
    pool: GuardPool,
    technique: str,
    before: Path,
    after: Path,
    *,
    data_folder: Path,
    reading: ReadingLimits,
    set_ups: tuple[SetUp, SetUp],
    pair: Pair,
    megapixels: float,
    more: Mapping[str, Any] | None = None,
) -> dict[str, Any] | GuardFailure:
    """Compare two files in a guarded process; see `tasks.compare` for the answer.

    Args:
        megapixels: Of both files together; bounds the time.
        more: Further arguments of the task: matrix, px_per_mm, output and the like.
    """
    return pool.run(
        {
            "task": "compare",
            "arguments": {
                "data_folder": str(data_folder),
                "limits": asdict(reading),
                "technique": technique,
                "before": str(before.absolute()),
                "after": str(after.absolute()),
                "set_ups": set_ups_as_data(*set_ups, pair),
                **(more or {}),
            },
            "megapixels": PASSES * megapixels,
        }
    )
