"""The job `derive`: decode a master once in a guarded process, keep its pictures and verdicts."""

from __future__ import annotations

import atexit
import logging
import shutil
import threading

from django.conf import settings

from imaging_requests.imaging.files.ask import Look
from imaging_requests.imaging.files.ask import derive as ask_derive
from imaging_requests.imaging.files.ask import look as ask_look
from imaging_requests.imaging.files.derived import Derived
from imaging_requests.imaging.files.facts import Structure
from imaging_requests.imaging.files.guard import GuardFailure, GuardPool, Trouble
from imaging_requests.imaging.files.refusals import Reason, Unreadable
from imaging_requests.imaging.files.verdicts import check_structure
from imaging_requests.intake import store
from imaging_requests.intake.actions.deriving import keep_reading
from imaging_requests.intake.jobs import TryLaterError, Work
from imaging_requests.intake.limits import file_checks, reading_limits, recipe
from imaging_requests.intake.models import Frame

logger = logging.getLogger(__name__)

#: Compares with an ordered size in pixels; nobody orders one yet, so the rule has no question.
SIZE_RULE = "G5"
THUMBNAIL = "thumbnail"

_opening = threading.Lock()
_pools: list[GuardPool] = []


def guards() -> GuardPool:
    """Return this process's pool of guarded processes; it is opened when first needed."""
    with _opening:
        if not _pools:
            pool = GuardPool(limits=reading_limits(), slots=settings.WORKER_SLOTS)
            atexit.register(pool.close)
            _pools.append(pool)
        return _pools[0]


def derive(work: Work) -> None:
    """Read every pixel of one frame; what is derived already is found and not made again."""
    frame = Frame.objects.filter(pk=work.subject_id).first()
    if frame is None:
        return
    structure = Structure.from_data(frame.structure)
    path = store.readable_path(frame.sha256, frame.extension)
    if path is None:
        raise TryLaterError(
            f"Neither copy of {frame.first_name} can be opened. Ask the system keeper to look at "
            "the disks; the check of the store repairs one copy from the other."
        )
    folder = store.derived_folder(frame.sha256)
    answer = ask_derive(
        guards(),
        path,
        folder,
        recipe(),
        source_sha256=frame.sha256,
        megapixels=structure.pixels / 1e6,
    )
    if isinstance(answer, GuardFailure):
        answer = _settle(answer, work, frame)
    verdicts = [
        verdict
        for verdict in check_structure(structure, checks=file_checks(), decoded=answer)
        if verdict.rule_id != SIZE_RULE
    ]
    seen = _look(answer, frame)
    keep_reading(work, frame, answer, verdicts, look=seen)
    _sweep_scratch(frame.sha256)


def _look(answer: Derived | Unreadable, frame: Frame) -> Look:
    """Look for a slate in the largest small picture; a look that fails shows nothing."""
    if not isinstance(answer, Derived):
        return Look()
    small = [file for file in answer.files if file.kind == THUMBNAIL]
    if not small:
        return Look()
    largest = max(small, key=lambda file: max(file.width_px, file.height_px))
    seen = ask_look(guards(), store.derived_folder(frame.sha256) / largest.name)
    if isinstance(seen, GuardFailure):
        logger.warning("frame %s: no look: %s: %s", frame.pk, seen.reason, seen.detail)
        return Look()
    return seen


def _settle(failure: GuardFailure, work: Work, frame: Frame) -> Unreadable:
    """Decide whether a failed decode may succeed later, or is the answer to this file."""
    logger.warning("frame %s: %s: %s", frame.pk, failure.reason, failure.detail)
    if failure.reason is Trouble.FAULT:
        raise RuntimeError(f"frame {frame.pk}: {failure.detail}")
    is_last = work.is_last_try
    if failure.reason is Trouble.STORAGE or (failure.is_transient and not is_last):
        raise TryLaterError(f"{frame.first_name}: {failure.sentence}")
    reason = Reason.UNSUPPORTED if failure.reason is Trouble.MEMORY else Reason.DAMAGED
    return Unreadable(reason, failure.sentence, failure.detail)


def _sweep_scratch(sha256: str) -> None:
    """Remove scratch folders that a killed worker left beside the results."""
    for leftover in store.derived_folder(sha256).glob(".part-*"):
        shutil.rmtree(leftover, ignore_errors=True)
