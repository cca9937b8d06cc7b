"""Fill an empty database with a large museum, chunk by chunk, in several processes."""

from __future__ import annotations

import multiprocessing
import os
import pickle
import time
from collections.abc import Callable, Iterable, Iterator
from contextlib import nullcontext
from datetime import datetime
from multiprocessing.synchronize import Lock

from django.db import connection, transaction
from django.utils import timezone

from imaging_requests.collection.models import Catalogue, CollectionObject
from imaging_requests.demo.large.chunk import Maker
from imaging_requests.demo.large.constraints import checked_at_the_end, is_whole
from imaging_requests.demo.large.ground import Ground, lay_ground
from imaging_requests.demo.large.processes import begin, work
from imaging_requests.demo.large.sizes import plan
from imaging_requests.demo.large.writing import count_on, write
from imaging_requests.people.errors import DomainError
from imaging_requests.progress.adding_up import add_up

SAY_EVERY_S = 20.0

Say = Callable[[str], object]


def fill(objects: int, say: Say, *, now: datetime | None, workers: int | None) -> None:
    """Make the museum; see the package."""
    if CollectionObject.objects.exists() or Catalogue.objects.exists():
        raise DomainError(
            "There is a museum in this database already.",
            code="demo.not_empty",
            next_step="Start from an empty database: the large museum never mixes with another.",
        )
    if not is_whole():
        raise DomainError(
            "A load was cut short in this database, and references between its tables are missing.",
            code="demo.not_whole",
            next_step="Remove the database, make a new one and begin again.",
        )
    started = time.monotonic()
    now = now or timezone.now().replace(minute=0, second=0, microsecond=0)
    museum = plan(objects)
    ground = lay_ground(now=now, objects=objects, catalogues=museum.catalogues)
    say(
        f"{objects:,} objects, {len(museum.catalogues)} catalogues, "
        f"the largest with {museum.catalogues[0]} entries."
    )
    numbers = range(len(museum.chunks))
    workers = (os.cpu_count() or 1) + 1 if workers is None else workers
    with checked_at_the_end():
        done = _together(ground, objects, numbers, workers) if workers else _alone(ground, objects)
        _tell(done, len(numbers), say, started)
        say(f"Written after {time.monotonic() - started:.0f} s; indexes and sums follow.")
    add_up(range(1, len(museum.catalogues) + 1))
    count_on()
    say(f"Loaded in {time.monotonic() - started:.0f} s.")


def _tell(done: Iterable[int], total: int, say: Say, started: float) -> None:
    said = started
    for count, _ in enumerate(done, start=1):
        if time.monotonic() - said > SAY_EVERY_S:
            said = time.monotonic()
            say(f"{count * 100 // total} % after {said - started:.0f} s")


def _alone(ground: Ground, objects: int) -> Iterator[int]:
    maker = Maker.ready(ground)
    for number, units in enumerate(plan(objects).chunks):
        with transaction.atomic():
            write(maker.make(number, units))
        yield number


def _together(ground: Ground, objects: int, numbers: Iterable[int], workers: int) -> Iterator[int]:
    """Share the chunks out; every process starts afresh, with a connection of its own."""
    context = multiprocessing.get_context("spawn")
    given = (pickle.dumps(ground), objects, context.Lock())
    with context.Pool(workers, begin, given) as pool:
        yield from pool.imap_unordered(work, numbers)


def writer(ground: Ground, objects: int, lock: Lock) -> Callable[[int], None]:
    """Return what a worker process does with the number of a chunk.

    SQLite has one writer at a time: there the processes take turns at the lock. A load that is
    cut short is begun again from an empty database, so nothing waits for the disk in between.
    """
    maker = Maker.ready(ground)
    is_shared = connection.vendor == "postgresql"
    with connection.cursor() as cursor:
        cursor.execute("SET synchronous_commit = off" if is_shared else "PRAGMA synchronous = OFF")

    def make(number: int) -> None:
        rows = maker.make(number, plan(objects).chunks[number])
        with nullcontext() if is_shared else lock, transaction.atomic():
            write(rows)

    return make
