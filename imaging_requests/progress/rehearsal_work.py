"""Working a rehearsal out: at once for a small house, as a job for a large one."""

from __future__ import annotations

from django.db import transaction

from imaging_requests.intake.jobs import CannotDoError, Work, enqueue
from imaging_requests.people.errors import DomainError
from imaging_requests.people.models import User
from imaging_requests.progress.rehearsal_report import is_small, work_out
from imaging_requests.protocols.actions_rehearsing import (
    ask_rehearsal,
    give_up_report,
    keep_report,
)
from imaging_requests.protocols.models import Rehearsal
from imaging_requests.protocols.queries import version

REHEARSE = "rehearse"
QUEUE = "pixels"
LONGEST_S = 1800.0


def rehearse(*, actor: User, kind: str, pk: int, read_version: int) -> Rehearsal:
    """Ask for a report, and work it out at once if the draft concerns few objects."""
    with transaction.atomic():
        asked = ask_rehearsal(actor=actor, kind=kind, pk=pk, read_version=read_version)
        is_at_once = is_small(version(kind, pk), asked.asked_at)
        if not is_at_once:
            enqueue(REHEARSE, asked.pk)
    if not is_at_once:
        return asked
    try:
        report = work_out(asked, now=asked.asked_at)
    except DomainError as error:
        give_up_report(rehearsal_id=asked.pk, trouble=str(error))
        raise
    return keep_report(rehearsal_id=asked.pk, report=report)


def work(work: Work) -> None:
    """Work a report out in the background; running twice keeps the first report."""
    asked = Rehearsal.objects.filter(pk=work.subject_id).first()
    if asked is None or asked.state != Rehearsal.State.ASKED:
        return
    try:
        report = work_out(asked, now=work.now())
    except DomainError as error:
        raise CannotDoError(str(error)) from error
    with work.publish():
        keep_report(rehearsal_id=asked.pk, report=report)


def failed(rehearsal_id: int, sentence: str) -> None:
    """Say on the report that it was given up; runs in the transaction that gives the job up."""
    give_up_report(rehearsal_id=rehearsal_id, trouble=sentence)
