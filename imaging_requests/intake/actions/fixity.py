"""Prove stored copies again, repair a bad one from the good one, and tell people about it."""

from __future__ import annotations

import logging
import time
from collections import Counter
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta

from django.db import transaction
from django.db.models import Q, QuerySet
from django.urls import reverse
from django.utils import timezone

from imaging_requests.intake import store
from imaging_requests.intake.actions.made import check_made
from imaging_requests.intake.actions.proving import find_bad, prove
from imaging_requests.intake.limits import background
from imaging_requests.intake.models import Copy, Frame, MadeCopy
from imaging_requests.intake.proofs import CopyOutcome, CopyReport
from imaging_requests.people import audit
from imaging_requests.people.actions import tell
from imaging_requests.people.models import AuditEvent, Role
from imaging_requests.people.queries import holders

logger = logging.getLogger(__name__)

A_DAY = timedelta(days=1)
CopyModel = type[Copy] | type[MadeCopy]
MODELS: tuple[CopyModel, CopyModel] = (Copy, MadeCopy)
NEVER = datetime.min.replace(tzinfo=UTC)


def check_store(
    *, verified_before: datetime | None = None, most: int | None = None
) -> Iterator[CopyReport]:
    """Read copies again, those proven longest ago first, and repair what can be repaired.

    Nothing is open in the database while a file is read. A bad copy is kept aside for a person,
    never deleted. A place that does not answer says nothing about its copies: they keep their
    last proof, and the others are read.
    """
    silent: set[str] = set()
    for model, pk in _longest_ago_first(verified_before)[:most]:
        copy = model.objects.filter(pk=pk).first()
        if copy is None or copy.place in silent:
            continue
        report = _check(copy) if isinstance(copy, Copy) else check_made(copy)
        if report.outcome is CopyOutcome.UNREAD:
            silent.add(copy.place)
        yield report
    if not silent:
        yield from _add_missing(most)


def _longest_ago_first(before: datetime | None) -> list[tuple[CopyModel, int]]:
    """Return the copies of masters and of made files that are to be read, in their order.

    In portions a made file that is being made again is left in peace for a day.
    """
    masters: QuerySet[Copy] = Copy.objects.all()
    made: QuerySet[MadeCopy] = MadeCopy.objects.all()
    if before is not None:
        asked = Q(is_good=False, asked_at__gte=timezone.now() - A_DAY)
        masters = masters.exclude(verified_at__gte=before)
        made = made.exclude(verified_at__gte=before).exclude(asked)
    found: list[tuple[datetime, int, int]] = []
    for order, rows in enumerate((masters, made)):
        for proven_at, pk in rows.values_list("verified_at", "pk"):
            found.append((proven_at or NEVER, order, pk))
    return [(MODELS[order], pk) for _, order, pk in sorted(found)]


def check_portion(*, now: datetime | None = None) -> Counter[str]:
    """Read the next few copies whose last proof is old; bounded in bytes and in time.

    One copy is read even if it alone is larger than a portion, so that the round goes on. A place
    that does not answer is told to keeper and lead once a day.
    """
    now = now or timezone.now()
    numbers = background()
    started = time.monotonic()
    counts: Counter[str] = Counter()
    read_bytes = 0
    for report in check_store(verified_before=now - timedelta(days=numbers.proof_every_days)):
        counts[report.outcome] += 1
        read_bytes += report.size_bytes
        if report.outcome is CopyOutcome.UNREAD:
            _tell_silent(report, now)
        is_late = time.monotonic() - started > numbers.proof_portion_s
        if is_late or read_bytes >= numbers.proof_portion_bytes:
            break
    return counts


def _tell_silent(report: CopyReport, now: datetime) -> None:
    """Say once a day that a place does not answer."""
    code = "intake.place_silent"
    with transaction.atomic():
        said = AuditEvent.objects.filter(code=code, recorded_at__gt=now - A_DAY)
        if said.filter(after__place=report.place).exists():
            return
        subject = Frame.objects.filter(sha256=report.sha256).first()
        audit.record(
            code,
            actor=None,
            subject=subject or MadeCopy.objects.get(sha256=report.sha256, place=report.place),
            after={"place": report.place},
            reason=report.sentence,
            now=now,
        )
        tell(holders(Role.LEAD, Role.KEEPER), report.sentence, now=now)


def _check(copy: Copy) -> CopyReport:
    frame = copy.frame
    try:
        is_good = store.is_good(copy.place, frame.sha256, frame.extension)
    except store.StoreError as error:
        logger.error("the %s does not answer: %s", copy.place, error)
        return _report(
            copy.place,
            frame,
            CopyOutcome.UNREAD,
            f"The {copy.place} could not be read, so its copies were not proven: {error}",
        )
    if is_good:
        prove(frame, (copy.place,), timezone.now())
        return _report(copy.place, frame, CopyOutcome.GOOD, "matches")
    logger.error("the %s of %s does not match", copy.place, frame.sha256)
    find_bad(frame, copy.place, timezone.now())
    return _repair(copy.place, frame)


def _repair(place: str, frame: Frame) -> CopyReport:
    other = store.other(place)
    try:
        is_repaired = store.repair(place, frame.sha256, frame.extension)
        trouble = ""
    except (store.StoreError, store.NotTheSameError) as error:
        is_repaired, trouble = False, f" {error}"
    if is_repaired:
        outcome = CopyOutcome.REPAIRED
        sentence = (
            f"The {place} of {frame.first_name} did not match any more; it was restored from the "
            f"{other}, and the bad file is kept aside."
        )
    else:
        outcome = CopyOutcome.LOST
        sentence = (
            f"The {place} of {frame.first_name} does not match and could not be restored from the "
            f"{other}.{trouble} Bring the file again from the card or from another backup: the "
            "same bytes heal both copies."
        )
    _record(place, frame, outcome, sentence)
    return _report(place, frame, outcome, sentence)


@transaction.atomic
def _record(place: str, frame: Frame, outcome: CopyOutcome, sentence: str) -> None:
    now = timezone.now()
    is_good = outcome is CopyOutcome.REPAIRED
    if is_good:
        prove(frame, (place,), now)
    else:
        find_bad(frame, place, now)
    code = f"intake.copy_{outcome}"
    said = AuditEvent.objects.filter(code=code, recorded_at__gt=now - A_DAY, reason=sentence)
    if not is_good and said.filter(subject_id=str(frame.pk)).exists():
        return
    audit.record(
        code,
        actor=None,
        subject=frame,
        after={"place": place, "sha256": frame.sha256},
        reason=sentence,
        now=now,
    )
    drop = frame.arrivals.order_by("pk").values_list("drop", flat=True).first()
    address = reverse("intake:drop", args=[drop]) if drop is not None else ""
    tell(holders(Role.HEAD, Role.LEAD, Role.KEEPER), sentence, address, now=now)


def _add_missing(most: int | None) -> Iterator[CopyReport]:
    """Make copies that a frame never got, from the one it has."""
    for place in store.PLACES:
        lacking = Frame.objects.exclude(copies__place=place).order_by("pk")
        for frame in list(lacking[:most]):
            yield _repair(place, frame)


def _report(place: str, frame: Frame, outcome: CopyOutcome, sentence: str) -> CopyReport:
    return CopyReport(place, frame.sha256, frame.first_name, outcome, sentence, frame.size_bytes)
