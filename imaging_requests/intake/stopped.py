"""Workers that fell silent in the middle of their work, as the job rows tell."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from django.conf import settings
from django.db.models import Count, Max, Min, Q
from django.utils import timezone

from imaging_requests.intake.jobs import BEATS_PER_LEASE
from imaging_requests.intake.models import Job, JobState
from imaging_requests.intake.queries import work_of


@dataclass(frozen=True, slots=True)
class Stopped:
    """Work in the hands of workers that are silent: how much, since when, and until when."""

    jobs: int
    silent_since: datetime
    taken_up_at: datetime


def stopped_work(drop_id: int, *, now: datetime | None = None) -> Stopped | None:
    """Return the work of a drop whose worker missed two signs of life, or None.

    A worker extends its lease `BEATS_PER_LEASE` times while one lasts. What is left of a lease
    tells when that was last done.
    """
    now = now or timezone.now()
    lease = timedelta(seconds=settings.JOB_LEASE_SECONDS)
    two_beats_missed = now + lease - 2 * lease / BEATS_PER_LEASE
    silent = Q(state=JobState.CLAIMED, claimed_until__lt=two_beats_missed)
    found = Job.objects.filter(silent & work_of(drop_id)).aggregate(
        jobs=Count("pk"), first=Min("claimed_until"), last=Max("claimed_until")
    )
    if not found["jobs"]:
        return None
    return Stopped(found["jobs"], found["first"] - lease, found["last"])


def stopped_words(drop_id: int, *, now: datetime | None = None) -> str:
    """Say that a worker stopped, and when its work is taken up again; nothing if none did."""
    now = now or timezone.now()
    found = stopped_work(drop_id, now=now)
    if found is None:
        return ""
    one = found.jobs == 1
    again = "It is taken up again by itself" if one else "They are taken up again by themselves"
    until = timezone.localtime(found.taken_up_at)
    when = f"at {until:%H:%M:%S}, when its lease ends" if until > now else "in a moment"
    return (
        "A worker stopped: it has given no sign of life since "
        f"{timezone.localtime(found.silent_since):%H:%M:%S} with {found.jobs:,} "
        f"{'job' if one else 'jobs'} of this drop in hand. "
        f"{again} {when}. What was received is safe."
    )
