"""Bring files to the intake as people do, and let the intake do its work to the end."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from concurrent.futures import ThreadPoolExecutor
from datetime import datetime, timedelta
from functools import partial
from queue import Empty, SimpleQueue

from django.conf import settings
from django.db import connection
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
    jobs.run_due([INGEST], as_of=as_of)
    later = timezone.now() + LONGEST_PAUSE
    _read_pixels(later, as_of)
    while jobs.run_due([INGEST], now=later, as_of=as_of) + _read_pixels(later, as_of):
        pass
    jobs.run_due(now=later, as_of=as_of)
    stuck = Job.objects.exclude(state=JobState.DONE)
    if stuck.exists():
        raise RuntimeError("; ".join(f"{job}: {job.last_error or job.state}" for job in stuck))


def _read_pixels(later: datetime, as_of: datetime) -> int:
    """Do the work that reads pixels and is due by now, and count it."""
    due = Job.objects.filter(state=JobState.DUE, queue=PIXELS, due_at__lte=later)
    waiting: SimpleQueue[int] = SimpleQueue()
    for pk in due.values_list("pk", flat=True):
        waiting.put(pk)
    count = waiting.qsize()
    with ThreadPoolExecutor(settings.WORKER_SLOTS) as threads:
        readers = [
            threads.submit(_run_apart, waiting, later, as_of)
            for _ in range(min(settings.WORKER_SLOTS, count))
        ]
    for reader in readers:
        reader.result()
    return count


def _run_apart(waiting: SimpleQueue[int], later: datetime, as_of: datetime) -> None:
    """Run jobs until none is left, over one connection of this thread's own."""
    try:
        while True:
            jobs.run(waiting.get_nowait(), now=later, as_of=as_of)
    except Empty:
        return
    finally:
        connection.close()
