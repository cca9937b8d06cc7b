"""A large invented museum for measuring: objects by the hundred thousand, made in bulk.

Rows are written past the usual acts, but what is owed and where it stands is worked out by the
same pure rules as everywhere else; a test and `reckon --verify` hold the two against each other.
"""

from __future__ import annotations

from datetime import datetime
from typing import Any

SIZE = 100_000


def load(
    objects: int = SIZE,
    stdout: Any = None,
    *,
    now: datetime | None = None,
    workers: int | None = None,
) -> None:
    """Fill an empty database with a number of invented objects.

    The same day and number give the same museum. `workers` is the number of processes that
    invent and write; 0 does everything in this one.
    """
    # A worker process imports this package before Django is ready.
    from imaging_requests.demo.large.loading import fill

    fill(objects, stdout.write if stdout is not None else str, now=now, workers=workers)
