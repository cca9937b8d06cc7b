"""Bring files to the intake as people do, and let the intake do its work to the end."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from functools import partial

from django.conf import settings
from django.db import DEFAULT_DB_ALIAS, connections
from django.db.backends.base.base import BaseDatabaseWrapper
from django.utils import timezone

from imaging_requests.campaigns.models import ShotLine
from imaging_requests.demo.takes import TakenFrame
from imaging_requests.intake import actions as intake
from imaging_requests.intake import jobs, store
from imaging_requests.intake.models import Drop, Frame, Job, JobState
from imaging_requests.people.models import User

CHUNK_BYTES = 1 << 20
LONGEST_PAUSE = timedelta(hours=1)
INGEST, PIXELS = "ingest", "pixels"


def drop_line(line: ShotLine, frames: Sequence[TakenFrame], *, actor: User, now: datetime) -> None:
    """Drop the files of one shot line.

    Raises `ValueError` if the painters made another number than the shot list asks for.
    """
    if line.expected_files != len(frames):
        raise ValueError(
            f"{line} needs {line.expected_files} files, {len(frames)} were painted: "
            f"{frames[0].take_key}."
        )
    drop = intake.open_drop(actor=actor, shot_line_id=line.pk, now=now)
    for frame in frames:
        with frame.path.open("rb") as file:
            size_bytes, chunks = frame.path.stat().st_size, partial(file.read, CHUNK_BYTES)
            _receive(drop, frame.path.name, size_bytes, iter(chunks, b""), actor=actor, now=now)


def drop_loose(
    frames: Sequence[TakenFrame], *, actor: User, note: str, again: int, now: datetime
) -> None:
    """Drop files of no session, `again` files that are in the store already, and one cut short."""
    drop = intake.open_drop(actor=actor, note=note, now=now)
    files = [(frame.path.name, frame.path.read_bytes()) for frame in frames]
    files += [(frame.first_name, _content(frame)) for frame in _last_frames(again)]
    files += [(f"CUT_{name}", whole[: len(whole) // 2]) for name, whole in files[:1]]
    for name, content in files:
        _receive(drop, name, len(content), [content], actor=actor, now=now)


def _receive(
    drop: Drop,
    name: str,
    size_bytes: int,
    chunks: Iterable[bytes],
    *,
    actor: User,
    now: datetime,
) -> None:
    intake.receive_whole(
        actor=actor, drop_id=drop.pk, name=name, size_bytes=size_bytes, chunks=chunks, now=now
    )


def _last_frames(number: int) -> list[Frame]:
    return list(Frame.objects.order_by("-pk")[:number])


def _content(frame: Frame) -> bytes:
    path = store.readable_path(frame.sha256, frame.extension)
    if path is None:
        raise FileNotFoundError(f"{frame.first_name} is in neither place.")
    return path.read_bytes()


def work_off(as_of: datetime) -> None:
    """Do all background work there is, what reads pixels in several threads at once.

    Work that pauses so that further files may gather is done at once: none come. Raises
    `RuntimeError` with the sentences of jobs that were given up.
    """
    with reading(as_of) as readers:
        work_off_with(readers)


def work_off_with(readers: Readers) -> None:
    """Do all background work there is with readers that may be at it already; see `work_off`."""
    readers.receive()
    later = timezone.now() + LONGEST_PAUSE
    while readers.wait() + jobs.run_due([INGEST], now=later, as_of=readers.as_of):
        readers.begin(later)
    jobs.run_due(now=later, as_of=readers.as_of)
    stuck = Job.objects.exclude(state=JobState.DONE)
    if stuck.exists():
        raise RuntimeError("; ".join(f"{job}: {job.last_error or job.state}" for job in stuck))


@dataclass(kw_only=True)
class Readers:
    """Threads that do the work that reads pixels while the story's own thread goes on."""

    as_of: datetime
    threads: ThreadPoolExecutor
    at_work: dict[int, Future[jobs.Outcome]] = field(default_factory=dict)

    def receive(self) -> None:
        """Take in what was dropped, and let the readers begin with it."""
        jobs.run_due([INGEST], as_of=self.as_of)
        self.begin(timezone.now())

    def begin(self, now: datetime) -> None:
        """Hand out what is due by `now` and not at work."""
        due = Job.objects.filter(state=JobState.DUE, queue=PIXELS, due_at__lte=now)
        for pk in due.values_list("pk", flat=True):
            if pk not in self.at_work:
                self.at_work[pk] = self.threads.submit(jobs.run, pk, now=now, as_of=self.as_of)

    def wait(self) -> int:
        """Wait until all that was handed out is done, and count it."""
        count = len(self.at_work)
        for pk in list(self.at_work):
            self.at_work.pop(pk).result()
        return count


@contextmanager
def reading(as_of: datetime) -> Iterator[Readers]:
    """Have readers at hand, each with a connection of its own, for work that counts at `as_of`."""
    opened: list[BaseDatabaseWrapper] = []

    def open_own() -> None:
        own = connections[DEFAULT_DB_ALIAS]
        own.inc_thread_sharing()
        opened.append(own)

    with ThreadPoolExecutor(settings.WORKER_SLOTS, initializer=open_own) as threads:
        yield Readers(as_of=as_of, threads=threads)
    for own in opened:
        own.close()
