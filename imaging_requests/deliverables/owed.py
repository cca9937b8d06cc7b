"""What has still to be looked at of a picture before somebody may accept it.

It follows from the picture itself: its technique, its frames as they lie today, and what was kept
of them. A job that was never asked for, or whose row is gone, is owed all the same.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import timedelta
from typing import Any

from django.db.models import F, Q

from imaging_requests.deliverables import joined, joining
from imaging_requests.deliverables.models import (
    Deliverable,
    DeliverableFrame,
    Registration,
)
from imaging_requests.deliverables.queries import MEASURE, REGISTER
from imaging_requests.deliverables.registering import CODE_VERSION
from imaging_requests.imaging.measure.checks import TECHNIQUES
from imaging_requests.intake.actions.deriving import PYRAMID
from imaging_requests.intake.models import Copy, Derivative, Job, JobState

WORDS: Mapping[str, str] = {
    MEASURE: "the measuring of its frames",
    joining.JOIN: "the joining of its tiles",
    REGISTER: "where it lies on its face",
}
#: Copies are written within seconds of the instant at which a file counts as received, unless a
#: history is entered later; of that nothing was looked at when it was new, so nothing is owed but
#: the joining of its tiles: without it nobody can see the picture that a decision is about.
HISTORY = timedelta(hours=1)


@dataclass(frozen=True, slots=True)
class Owed:
    """One look at a picture that has not been taken, and the work that takes it, if asked for."""

    kind: str
    key: str
    subject_id: int
    job: Job | None

    @property
    def words(self) -> str:
        """Say what is still to come."""
        return WORDS[self.kind]

    @property
    def is_under_way(self) -> bool:
        """Whether a worker has it or will take it."""
        return self.job is not None and self.job.state in (JobState.DUE, JobState.CLAIMED)

    @property
    def failed_because(self) -> str:
        """Why it was given up, in a sentence; empty if it was not."""
        if self.job is None or self.job.state != JobState.FAILED:
            return ""
        return f"Not known: {self.words}. {self.job.last_error}"


def composed(seats: Iterable[DeliverableFrame]) -> str:
    """Name the frames of a picture with their places; another frame or place is another name."""
    lies = sorted([s.frame_id, s.tile_x, s.tile_y, s.focus_slice, s.ev] for s in seats)
    return hashlib.sha256(json.dumps(lies).encode()).hexdigest()


def owed_by(row: Deliverable) -> list[Owed]:
    """Return what is owed; frames that gave no picture say so by their own checks."""
    seats = list(row.deliverable_frames.all())
    frames = {seat.frame_id for seat in seats}
    shown = Derivative.objects.filter(frame__in=frames, kind=PYRAMID).values("frame").distinct()
    if not frames or shown.count() < len(frames):
        return []
    is_history = _was_entered_later(row)
    wanted: list[tuple[str, int]] = []
    if not is_history and row.shot_line_id is not None and row.technique in TECHNIQUES:
        wanted.append((MEASURE, row.shot_line_id))
    if joined.unjoined([row]):
        wanted.append((joining.JOIN, row.pk))
    if not is_history and not _was_registered(row):
        wanted.append((REGISTER, row.pk))
    keys = {f"{kind}:{subject_id}": (kind, subject_id) for kind, subject_id in wanted}
    jobs = {job.key: job for job in Job.objects.filter(key__in=keys)}
    return [
        Owed(kind, key, subject_id, jobs.get(key))
        for key, (kind, subject_id) in keys.items()
        if kind != MEASURE or not _was_measured(jobs.get(key), seats)
    ]


def _was_entered_later(row: Deliverable) -> bool:
    received = F("frame__received_at")
    at_once = Q(written_at__gte=received - HISTORY, written_at__lte=received + HISTORY)
    return Copy.objects.filter(~at_once, frame=row.cover_id).exists()


def _was_measured(job: Job | None, seats: Iterable[DeliverableFrame]) -> bool:
    result: dict[str, Any] = job.result if job is not None else {}
    return result.get("of") == composed(seats)


def _was_registered(row: Deliverable) -> bool:
    kept = Registration.objects.filter(
        deliverable=row, code_version=CODE_VERSION, frame=row.cover_id
    )
    return kept.filter(join=joined.standing_join(row)).exists()
