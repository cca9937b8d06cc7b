"""Background work: the job table is the truth, a message only wakes a worker.

A job is claimed by one conditional update, kept by a heartbeat, and ends in the same transaction
that stores its result, so that work is never done twice and never half. A worker that dies leaves
a claim that runs out; the sweep then makes the job due again.
"""

from __future__ import annotations

import logging
import os
import socket
import threading
import uuid
import zoneinfo
from collections.abc import Callable, Collection, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from enum import StrEnum
from typing import Any

from django.conf import settings
from django.db import DatabaseError, connection, transaction
from django.db.models import F, Q, QuerySet
from django.utils import timezone

from imaging_requests.intake.limits import background
from imaging_requests.intake.models import Job, JobState
from imaging_requests.people.wake import wake_on_commit

logger = logging.getLogger(__name__)

#: The task that a worker of each queue listens to; its only argument is the id of a job.
TASKS = {"ingest": "intake.receive_job", "pixels": "intake.run_job"}
BEATS_PER_LEASE = 3


class ClaimLostError(Exception):
    """Somebody else holds the job now; what was computed is thrown away."""


class CannotDoError(Exception):
    """The work cannot be done, now or later; the message is a sentence for people."""


class TryLaterError(Exception):
    """Something outside is in the way and may pass; the message is a sentence for people."""


class Outcome(StrEnum):
    """What became of one call of `run`."""

    DONE = "done"
    NOT_MINE = "not mine"
    LATER = "later"
    FAILED = "failed"
    LOST = "lost"


Handler = Callable[["Work"], None]
WhenFailed = Callable[[int, str], None]


@dataclass(frozen=True)
class Kind:
    """A kind of work: who does it, in which queue, and for how long at most.

    `when_failed(subject_id, sentence)` runs in the transaction that gives the job up. What
    `can_wait` is done when nothing else is due: a photographer waits for the receipt, not for it.
    """

    name: str
    handler: Handler
    queue: str
    seconds: float
    when_failed: WhenFailed | None = None
    can_wait: bool = False


KINDS: dict[str, Kind] = {}


def register(
    name: str,
    handler: Handler,
    queue: str,
    seconds: float,
    *,
    when_failed: WhenFailed | None = None,
    can_wait: bool = False,
) -> None:
    """Say who does a kind of work; called once at start, in an app's `ready`."""
    if queue not in TASKS:
        raise ValueError(f"No worker listens to {queue}; choose {' or '.join(TASKS)}.")
    if name in KINDS and KINDS[name].handler is not handler:
        raise ValueError(f"Two handlers want to do the work '{name}'.")
    KINDS[name] = Kind(name, handler, queue, seconds, when_failed, can_wait)


def enqueue(
    kind: str,
    subject_id: int,
    key: str = "",
    queue: str = "",
    *,
    again: bool = False,
    pause_s: float = 0,
    now: datetime | None = None,
) -> Job:
    """Ask for work inside the caller's transaction; a worker is woken once it is committed.

    Asking twice under one key is asking once. With `again` the work is repeated if it has already
    begun or ended, since what it saw may have changed. `pause_s` lets several wishes gather.
    """
    if not connection.in_atomic_block:
        raise RuntimeError("Work is asked for in the transaction of the change that needs it.")
    now = now or timezone.now()
    queue = queue or KINDS[kind].queue
    due_at = now + timedelta(seconds=pause_s)
    job, is_new = Job.objects.get_or_create(
        key=key or f"{kind}:{subject_id}",
        defaults={
            "kind": kind,
            "subject_id": subject_id,
            "queue": queue,
            "due_at": due_at,
            "created_at": now,
            "woken_at": None if pause_s else now,
        },
    )
    if not is_new and not again:
        return job
    if not is_new:
        row = Job.objects.filter(pk=job.pk)
        row.update(asked=F("asked") + 1)
        row.filter(state=JobState.DUE, due_at__gt=due_at, tries=0).update(due_at=due_at)
        _put_later(row, due_at)
        ended = (JobState.DONE, JobState.FAILED)
        row.filter(state__in=ended).update(**_fresh(due_at))
        job.refresh_from_db()
    if not pause_s and job.state == JobState.DUE:
        wake_on_commit(TASKS[queue], job.pk)
    return job


def _put_later(row: QuerySet[Job], due_at: datetime) -> None:
    """Note when work that is being done shall be done again: as early as anybody wished."""
    claimed = row.filter(state=JobState.CLAIMED)
    is_first_wish = Q(asked=F("serving") + 1)
    claimed.filter(is_first_wish | Q(due_at__gt=due_at)).update(due_at=due_at)


def _fresh(due_at: datetime) -> dict[str, Any]:
    return {
        "state": JobState.DUE,
        "tries": 0,
        "due_at": due_at,
        "claim": None,
        "claimed_until": None,
        "woken_at": None,
        "ended_at": None,
        "last_error": "",
    }


@dataclass
class Work:
    """A claimed job in the hands of its handler.

    The handler computes outside any transaction and stores everything inside one `publish`.
    """

    job_id: int
    kind: Kind
    subject_id: int
    claim: uuid.UUID
    tries: int
    as_of: datetime | None = None
    result: dict[str, Any] = field(default_factory=dict)
    is_published: bool = False

    def now(self) -> datetime:
        """Return the instant at which the work counts as done: the clock's, or `as_of`."""
        return self.as_of or timezone.now()

    @property
    def is_last_try(self) -> bool:
        """Whether the job is given up if it cannot be done this time."""
        return self.tries >= background().tries

    def mine(self) -> QuerySet[Job]:
        """Return the job's row, or no row if the claim no longer stands."""
        return Job.objects.filter(pk=self.job_id, state=JobState.CLAIMED, claim=self.claim)

    @contextmanager
    def publish(self) -> Iterator[None]:
        """Open the transaction that stores the result and ends the job, if the claim stands."""
        with transaction.atomic():
            job = self.mine().select_for_update().first()
            if job is None:
                raise ClaimLostError
            yield
            now = self.now()
            if job.asked > job.serving:
                self.mine().update(**_fresh(job.due_at), result=self.result)
                if job.due_at <= timezone.now():
                    wake_on_commit(TASKS[job.queue], job.pk)
            else:
                self.mine().update(
                    state=JobState.DONE, ended_at=now, result=self.result, last_error="", claim=None
                )
        self.is_published = True


def run(job_id: int, *, now: datetime | None = None, as_of: datetime | None = None) -> Outcome:
    """Do one job if it is due and nobody else has it; harmless at any other time.

    `now` decides what is due. With `as_of` everything that is stored bears that instant instead of
    the clock's, for a history that is entered later. Times in sentences are the studio's, as on
    the pages.
    """
    work = _claim(job_id, now or timezone.now(), as_of)
    if work is None:
        return Outcome.NOT_MINE
    started = timezone.now()
    with _heartbeat(work), timezone.override(zoneinfo.ZoneInfo(settings.STUDIO_ZONE)):
        outcome = _do(work)
    spent = (timezone.now() - started).total_seconds()
    logger.info(
        "job %s %s %s: %s, %.2f s", work.job_id, work.kind.name, work.subject_id, outcome, spent
    )
    return outcome


def _claim(job_id: int, now: datetime, as_of: datetime | None) -> Work | None:
    claim = uuid.uuid4()
    claimed = (
        Job.objects.filter(pk=job_id, kind__in=list(KINDS))
        .filter(
            Q(state=JobState.DUE, due_at__lte=now)
            | Q(state=JobState.CLAIMED, claimed_until__lt=now, tries__lt=background().tries)
        )
        .update(
            state=JobState.CLAIMED,
            claim=claim,
            claimed_until=now + _lease(),
            tries=F("tries") + 1,
            serving=F("asked"),
            worker=f"{socket.gethostname()[:60]}:{os.getpid()}",
        )
    )
    if not claimed:
        return None
    job = Job.objects.get(pk=job_id)
    return Work(job.pk, KINDS[job.kind], job.subject_id, claim, job.tries, as_of)


def _lease() -> timedelta:
    return timedelta(seconds=settings.JOB_LEASE_SECONDS)


@contextmanager
def _heartbeat(work: Work) -> Iterator[None]:
    """Extend the lease while the work goes on, but not beyond the longest time of its kind."""
    ended = threading.Event()
    deadline = timezone.now() + timedelta(seconds=work.kind.seconds)

    def beat() -> None:
        try:
            while not ended.wait(settings.JOB_LEASE_SECONDS / BEATS_PER_LEASE):
                now = timezone.now()
                if now > deadline:
                    logger.error("job %s takes longer than %s s", work.job_id, work.kind.seconds)
                    return
                try:
                    if not work.mine().update(claimed_until=now + _lease()):
                        return
                except DatabaseError as error:
                    logger.warning("job %s: the lease was not extended: %s", work.job_id, error)
        finally:
            connection.close()

    thread = threading.Thread(target=beat, name=f"lease of job {work.job_id}", daemon=True)
    thread.start()
    try:
        yield
    finally:
        ended.set()
        thread.join()


def _do(work: Work) -> Outcome:
    try:
        work.kind.handler(work)
        if not work.is_published:
            with work.publish():
                pass
    except ClaimLostError:
        logger.warning("job %s was taken over; its result is not stored", work.job_id)
        return Outcome.LOST
    except CannotDoError as error:
        return _give_up(work, str(error))
    except TryLaterError as error:
        return _put_off(work, str(error))
    except Exception:
        logger.exception("job %s %s %s broke", work.job_id, work.kind.name, work.subject_id)
        return _put_off(
            work,
            "Something went wrong in the program. The details are in the log under "
            f"job {work.job_id}.",
        )
    return Outcome.DONE


def _put_off(work: Work, sentence: str) -> Outcome:
    pauses = background().retry_pauses_s
    if work.tries > len(pauses):
        return _give_up(work, sentence)
    due_at = timezone.now() + timedelta(seconds=pauses[work.tries - 1])
    put_off = work.mine().update(
        state=JobState.DUE, due_at=due_at, claim=None, claimed_until=None, last_error=sentence
    )
    return Outcome.LATER if put_off else Outcome.LOST


def _give_up(work: Work, sentence: str) -> Outcome:
    with transaction.atomic():
        if not _fail(work.mine(), work.kind, work.subject_id, sentence):
            return Outcome.LOST
    return Outcome.FAILED


def _fail(row: QuerySet[Job], kind: Kind, subject_id: int, sentence: str) -> bool:
    failed = row.update(
        state=JobState.FAILED, ended_at=timezone.now(), claim=None, last_error=sentence
    )
    if failed and kind.when_failed is not None:
        kind.when_failed(subject_id, sentence)
    return bool(failed)


def run_due(
    queues: Collection[str] = (),
    *,
    seconds: float | None = None,
    now: datetime | None = None,
    as_of: datetime | None = None,
) -> int:
    """Do what is due, oldest first, until nothing is left or the time is up; count the jobs."""
    stop_at = None if seconds is None else timezone.now() + timedelta(seconds=seconds)
    seen: set[int] = set()
    done = 0
    while stop_at is None or timezone.now() < stop_at:
        job_id = _next(_due(queues, now or timezone.now()).exclude(pk__in=seen))
        if job_id is None:
            break
        outcome = run(job_id, now=now, as_of=as_of)
        if outcome is Outcome.NOT_MINE:
            seen.add(job_id)
        else:
            done += 1
    return done


def _next(due: QuerySet[Job]) -> int | None:
    """Return the oldest of what somebody waits for, else the oldest of the rest."""
    patient = [kind.name for kind in KINDS.values() if kind.can_wait]
    ids = due.values_list("pk", flat=True)
    urgent = ids.exclude(kind__in=patient).first()
    return urgent if urgent is not None else ids.first()


def _due(queues: Collection[str], now: datetime) -> QuerySet[Job]:
    due = Job.objects.filter(state=JobState.DUE, due_at__lte=now, kind__in=list(KINDS))
    return due.filter(queue__in=queues) if queues else due


def sweep(*, now: datetime | None = None) -> dict[str, int]:
    """Make jobs of dead workers due again, and wake workers whose message was lost."""
    now = now or timezone.now()
    freed, failed = _free_expired(now)
    numbers = background()
    woken = 0
    lost_before = now - timedelta(seconds=numbers.wake_again_after_s)
    for queue, task in TASKS.items():
        oldest = list(_due([queue], now).order_by("due_at", "pk")[: numbers.wake_batch])
        lost = [job.pk for job in oldest if job.woken_at is None or job.woken_at < lost_before]
        Job.objects.filter(pk__in=lost).update(woken_at=now)
        for job_id in lost:
            wake_on_commit(task, job_id)
        woken += len(lost)
    return {"freed": freed, "failed": failed, "woken": woken}


def _free_expired(now: datetime) -> tuple[int, int]:
    freed = failed = 0
    expired = Job.objects.filter(state=JobState.CLAIMED, claimed_until__lt=now)
    for job in list(expired.filter(kind__in=list(KINDS)).order_by("pk")):
        row = expired.filter(pk=job.pk, claim=job.claim)
        logger.warning("job %s: %s ended before it was done", job.pk, job.worker)
        if job.tries < background().tries:
            freed += row.update(
                state=JobState.DUE, due_at=now, claim=None, claimed_until=None, woken_at=None
            )
            continue
        with transaction.atomic():
            failed += _fail(
                row,
                KINDS[job.kind],
                job.subject_id,
                f"The worker ended {job.tries} times before this was done. Nothing is lost; the "
                f"details are in the log under job {job.pk}.",
            )
    return freed, failed


def ask_again(job: Job, *, now: datetime | None = None) -> None:
    """Make a job that was given up due again; for a person who has removed the obstacle."""
    now = now or timezone.now()
    if Job.objects.filter(pk=job.pk, state=JobState.FAILED).update(**_fresh(now)):
        wake_on_commit(TASKS[job.queue], job.pk)
