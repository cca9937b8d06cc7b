"""Writes that store what was read from a frame's pixels: pictures, verdicts, and what follows."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from pathlib import PurePosixPath

from django.db import transaction
from django.db.models import Q
from django.utils import timezone

from imaging_requests.imaging.files.ask import Look
from imaging_requests.imaging.files.derived import Derived
from imaging_requests.imaging.files.refusals import Unreadable
from imaging_requests.imaging.files.verdicts import Verdict
from imaging_requests.intake import jobs
from imaging_requests.intake.actions.layout import ask_for_layout_of
from imaging_requests.intake.actions.receiving import DERIVE
from imaging_requests.intake.jobs import Work
from imaging_requests.intake.models import Derivative, FileCheck, Frame, FrameLook, FrameState

PYRAMID = "pyramid"
BATCH = 200


def keep_reading(
    work: Work,
    frame: Frame,
    answer: Derived | Unreadable,
    verdicts: Sequence[Verdict],
    *,
    look: Look,
) -> None:
    """Store pictures, verdicts and the look of one frame, and ask for its place to be found."""
    now = work.now()
    with work.publish():
        if isinstance(answer, Derived):
            _keep_pictures(frame, answer)
            work.result = {"timings_ms": answer.timings_ms, "was_there": answer.was_there}
        else:
            work.result = {"refused": answer.reason.value, "detail": answer.detail[:500]}
        FrameLook.objects.update_or_create(
            frame=frame,
            defaults={"slate": look.slate, "pattern": look.pattern, "looked_at": now},
        )
        _keep_verdicts(frame, verdicts, now)
        Frame.objects.filter(pk=frame.pk).update(read_at=now)
        ask_for_layout_of(frame.pk)


def _keep_pictures(frame: Frame, derived: Derived) -> None:
    folder = PurePosixPath(frame.sha256[:2], frame.sha256[2:4], frame.sha256)
    rows = [
        Derivative(
            frame=frame,
            kind=PYRAMID if file.kind == PYRAMID else str(_thumbnail_size(file.name)),
            recipe=derived.key,
            path=str(folder / file.name),
            width_px=file.width_px,
            height_px=file.height_px,
            tone_stretched=derived.is_tone_stretched,
        )
        for file in derived.files
    ]
    Derivative.objects.bulk_create(
        rows,
        update_conflicts=True,
        unique_fields=("frame", "kind", "recipe"),
        update_fields=("path", "width_px", "height_px", "tone_stretched"),
    )
    kinds = [row.kind for row in rows]
    kept = Q(kind__in=kinds, recipe=derived.key)
    Derivative.objects.filter(frame=frame).exclude(kept).delete()


def _keep_verdicts(frame: Frame, verdicts: Sequence[Verdict], now: datetime) -> None:
    """Store what every rule says in one statement; a frame is read by hundreds in a drop."""
    FileCheck.objects.bulk_create(
        [
            FileCheck(
                frame=frame,
                rule=verdict.rule_id,
                rule_version=verdict.rule_version,
                value="" if verdict.value is None else str(verdict.value)[:120],
                unit=verdict.unit,
                limit=verdict.limit[:240],
                verdict=verdict.outcome.value,
                sentence=verdict.sentence,
                checked_at=now,
            )
            for verdict in verdicts
        ],
        update_conflicts=True,
        unique_fields=("frame", "rule", "rule_version"),
        update_fields=("value", "unit", "limit", "verdict", "sentence", "checked_at"),
    )


def _thumbnail_size(name: str) -> int:
    """Return the longer side that a thumbnail was made for; its name carries it."""
    return int(name.split("-")[1])


def ask_for_pictures(frame_ids: Sequence[int], *, now: datetime | None = None) -> int:
    """Ask for the pictures of frames again; what is there and up to date is found, not made.

    A few hundred at a time, so that no other writer waits long.
    """
    now = now or timezone.now()
    for start in range(0, len(frame_ids), BATCH):
        with transaction.atomic():
            for pk in frame_ids[start : start + BATCH]:
                jobs.enqueue(DERIVE, pk, again=True, now=now)
    return len(frame_ids)


def deriving_failed(frame_id: int, sentence: str) -> None:
    """Put a frame whose pixels could not be read for reasons outside it onto the sorting table."""
    Frame.objects.filter(pk=frame_id, state=FrameState.RECEIVED).update(
        state=FrameState.WAITING, waiting_because=sentence
    )
    ask_for_layout_of(frame_id)
