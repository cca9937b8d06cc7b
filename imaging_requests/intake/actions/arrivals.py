"""Writes about files on their way in: begin, append, complete, give up, clear away."""

from __future__ import annotations

import errno
import hashlib
import logging
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime
from typing import BinaryIO
from uuid import UUID, uuid4

from django.conf import settings
from django.db import transaction
from django.utils import timezone

from imaging_requests.intake import jobs, quarantine, store
from imaging_requests.intake.actions.layout import ask_for_layout
from imaging_requests.intake.errors import NoRoomError, TooLargeError, WrongOffsetError
from imaging_requests.intake.limits import background
from imaging_requests.intake.models import Arrival, ArrivalState, Drop
from imaging_requests.intake.places import reason_of
from imaging_requests.intake.policies import CLEAR_REFUSED, UPLOAD
from imaging_requests.intake.rules import clean_name, demand_arrival_step
from imaging_requests.people import audit
from imaging_requests.people.errors import DomainError, IllegalStep
from imaging_requests.people.models import User
from imaging_requests.people.policies import demand

logger = logging.getLogger(__name__)

DISK_FULL = (errno.ENOSPC, errno.EDQUOT)

RECEIVE = "receive"
MOST_STRETCHES = 1024


def begin_arrival(
    *, actor: User, drop_id: int, name: str, size_bytes: int, now: datetime | None = None
) -> Arrival:
    """Announce a file; its bytes may follow now, later, or in parts."""
    now = now or timezone.now()
    name = clean_name(name)
    _demand_room(name, size_bytes)
    with transaction.atomic():
        drop = Drop.objects.select_for_update().get(pk=drop_id)
        demand(actor, UPLOAD, drop)
        if drop.state != Drop.State.OPEN:
            raise IllegalStep(
                f"{drop} is closed, so {name} was not taken in.",
                code="intake.drop_closed",
                next_step="Open a new drop, or open this one again.",
            )
        arrival = Arrival.objects.create(
            drop=drop, name=name, size_bytes=size_bytes, created_at=now, touched_at=now
        )
        if size_bytes == 0:
            _complete(arrival, now)
    return arrival


def _demand_room(name: str, size_bytes: int) -> None:
    if size_bytes < 0:
        raise DomainError("A file cannot be shorter than nothing.", code="intake.negative_size")
    if size_bytes > settings.UPLOAD_LIMIT_BYTES:
        raise TooLargeError(
            f"{name} has {size_bytes:,} bytes; files up to {settings.UPLOAD_LIMIT_BYTES:,} bytes "
            "are taken.",
            code="intake.too_large",
            next_step="Deliver it in parts, or ask the system keeper to raise the limit.",
        )
    needed = size_bytes * (2 if store.share_one_disk() else 1)
    least = background().free_space_least_bytes
    for place, free in store.free_bytes().items():
        if free - needed < least:
            raise NoRoomError(
                f"The {place} has no room for {name}: {needed:,} bytes are needed, {free:,} are "
                f"free, and {least:,} must stay free. Nothing was received.",
                code="intake.no_room",
                next_step="Keep the card, and ask the system keeper to make room.",
            )


@dataclass
class _Progress:
    """Where one writer began and how far it is: all bytes, and those a power cut cannot take."""

    arrival: Arrival
    writer: UUID
    start: int
    at: int
    durable: int
    now: datetime | None = None

    def is_mine(self) -> bool:
        """Tell whether nobody else has begun to write this file since."""
        return Arrival.objects.filter(
            pk=self.arrival.pk, writer=self.writer, state=ArrivalState.ARRIVING
        ).exists()


def append_bytes(
    *,
    actor: User,
    token: UUID,
    offset: int,
    chunks: Iterable[bytes],
    now: datetime | None = None,
) -> int:
    """Write a stream of bytes behind those already received; return how many there are now.

    What comes is hashed on the way and is on the disk before it is acknowledged. If the stream
    breaks off, everything up to there is kept. The last byte completes the arrival.
    """
    demand(actor, UPLOAD)
    progress = _take_over(token, offset, now)
    try:
        with quarantine.open_part(token, at=offset, is_mine=progress.is_mine) as part:
            if part is None:
                raise _replaced(progress.arrival)
            try:
                _write(progress, part, chunks)
            except OSError as error:
                if error.errno in DISK_FULL:
                    quarantine.cut_back(part, progress.durable)
                raise
    except OSError as error:
        raise _not_taken(progress, error) from error
    return progress.durable


def _not_taken(progress: _Progress, error: OSError) -> NoRoomError:
    """Say why the disk of arriving files takes no more; what it acknowledged is kept."""
    kept = (
        f"{progress.arrival.name} was received up to byte {progress.durable:,}, and that part is "
        "kept."
    )
    if error.errno in DISK_FULL:
        return NoRoomError(
            f"The disk is full. {kept}",
            code="intake.disk_full",
            next_step="Keep the card. The upload goes on where it stopped once there is room.",
        )
    logger.error("arrival %s: quarantine: %s", progress.arrival.pk, error)
    return NoRoomError(
        f"The disk for arriving files takes nothing now: {reason_of(error)}. {kept}",
        code="intake.quarantine_closed",
        next_step=(
            "Keep the card, and ask the system keeper to look at the disk. The upload goes on "
            "where it stopped once this is put right."
        ),
    )


def _take_over(token: UUID, offset: int, now: datetime | None) -> _Progress:
    """Become the one who writes, if the sender knows how much is here."""
    writer = uuid4()
    arriving = Arrival.objects.filter(token=token, state=ArrivalState.ARRIVING)
    taken = arriving.filter(offset_bytes=offset).update(
        writer=writer, touched_at=now or timezone.now()
    )
    arrival = Arrival.objects.get(token=token)
    if not taken:
        raise WrongOffsetError(
            f"{arrival.name}: {arrival.offset_bytes:,} of {arrival.size_bytes:,} bytes are here "
            f"({arrival.get_state_display().lower()}), but the sender wants to go on at "
            f"{offset:,}.",
            code="intake.wrong_offset",
            next_step="Ask how much is here and go on from there.",
            data={"offset": arrival.offset_bytes},
        )
    return _Progress(arrival, writer, start=offset, at=offset, durable=offset, now=now)


def _write(progress: _Progress, part: BinaryIO, chunks: Iterable[bytes]) -> None:
    size = progress.arrival.size_bytes
    stretch = background().stretch_bytes(size)
    digest = hashlib.sha256()
    for chunk in _until_cut(chunks, progress.arrival):
        if progress.at + len(chunk) > size:
            _mark(progress, part, digest.hexdigest())
            raise TooLargeError(
                f"{progress.arrival.name} was announced with {size:,} bytes, but more came. "
                "What came before is kept.",
                code="intake.more_than_announced",
                next_step="Give this upload up and send the file again.",
            )
        quarantine.write_all(part, chunk)
        digest.update(chunk)
        progress.at += len(chunk)
        if progress.at - progress.durable >= stretch:
            _mark(progress, part, digest.hexdigest())
    _mark(progress, part, digest.hexdigest())


def _until_cut(chunks: Iterable[bytes], arrival: Arrival) -> Iterator[bytes]:
    """Yield what comes; a sender that breaks off ends the stream, and what came is kept."""
    stream = iter(chunks)
    while True:
        try:
            chunk = next(stream)
        except StopIteration:
            return
        except OSError as error:
            logger.info("arrival %s: the sender broke off: %s", arrival.pk, error)
            return
        yield chunk


def _mark(progress: _Progress, part: BinaryIO, sha256: str) -> None:
    """Put the bytes on the disk, then acknowledge them; the last ones complete the arrival.

    One stretch stands for everything that one writer brought; it grows with each mark.
    """
    if progress.at == progress.durable:
        return
    quarantine.sync(part)
    now = progress.now or timezone.now()
    stretches = [each for each in progress.arrival.stretches if each[0] != progress.start]
    if len(stretches) < MOST_STRETCHES:
        stretches.append([progress.start, progress.at, sha256])
    with transaction.atomic():
        marked = Arrival.objects.filter(
            pk=progress.arrival.pk, writer=progress.writer, state=ArrivalState.ARRIVING
        ).update(offset_bytes=progress.at, stretches=stretches, touched_at=now)
        if not marked:
            raise _replaced(progress.arrival)
        progress.arrival.stretches = stretches
        if progress.at == progress.arrival.size_bytes:
            _complete(progress.arrival, now)
    progress.durable = progress.at


def _replaced(arrival: Arrival) -> WrongOffsetError:
    return WrongOffsetError(
        f"Somebody else has begun to send {arrival.name}, or it was given up.",
        code="intake.writer_replaced",
        next_step="Ask how much is here and go on from there.",
    )


def _complete(arrival: Arrival, now: datetime) -> None:
    Arrival.objects.filter(pk=arrival.pk).update(
        state=ArrivalState.RECEIVED, touched_at=now, writer=None
    )
    jobs.enqueue(RECEIVE, arrival.pk, now=now)
    arrival.state = ArrivalState.RECEIVED


def complete_arrival(arrival_id: int, *, now: datetime | None = None) -> None:
    """Hand a file whose last byte is on the disk to the receiving job; twice does no harm."""
    with transaction.atomic():
        arrival = Arrival.objects.select_for_update().get(pk=arrival_id)
        if arrival.state != ArrivalState.ARRIVING:
            return
        if arrival.offset_bytes != arrival.size_bytes:
            raise IllegalStep(
                f"{arrival.name} is not complete: {arrival.offset_bytes:,} of "
                f"{arrival.size_bytes:,} bytes are here.",
                code="intake.not_complete",
                next_step="Send the rest.",
            )
        _complete(arrival, now or timezone.now())


def receive_whole(
    *,
    actor: User,
    drop_id: int,
    name: str,
    size_bytes: int,
    chunks: Iterable[bytes],
    now: datetime | None = None,
) -> Arrival:
    """Take in a file in one go, as a form or a folder gives it."""
    arrival = begin_arrival(actor=actor, drop_id=drop_id, name=name, size_bytes=size_bytes, now=now)
    if size_bytes:
        append_bytes(actor=actor, token=arrival.token, offset=0, chunks=chunks, now=now)
        arrival.refresh_from_db()
    return arrival


@transaction.atomic
def give_up_arrival(*, actor: User, token: UUID, now: datetime | None = None) -> Arrival:
    """Stop waiting for the rest of a file, or stop counting a refused one."""
    now = now or timezone.now()
    arrival = Arrival.objects.select_for_update().get(token=token)
    demand(actor, UPLOAD, arrival)
    before = arrival.state
    if before == ArrivalState.GIVEN_UP:
        return arrival
    demand_arrival_step(arrival.name, before=before, after=ArrivalState.GIVEN_UP)
    arrival.state = ArrivalState.GIVEN_UP
    arrival.writer = None
    arrival.answer = arrival.answer or (
        f"Given up by {actor.name} after {arrival.offset_bytes:,} of {arrival.size_bytes:,} bytes."
    )
    arrival.touched_at = now
    arrival.save(update_fields=["state", "writer", "answer", "touched_at"])
    audit.record(
        "intake.arrival_given_up",
        actor=actor,
        subject=arrival,
        before={"state": before},
        after={"state": arrival.state, "name": arrival.name},
        now=now,
    )
    ask_for_layout([arrival.drop_id])
    if before == ArrivalState.ARRIVING:
        transaction.on_commit(lambda: quarantine.discard(token))
    return arrival


@transaction.atomic
def clear_refused(*, actor: User, arrival_id: int, now: datetime | None = None) -> Arrival:
    """Remove the bytes of a refused file; its name and the reason stay."""
    arrival = Arrival.objects.select_for_update().get(pk=arrival_id)
    demand(actor, CLEAR_REFUSED, arrival)
    if not arrival.refused_kept:
        raise IllegalStep(
            f"No bytes of {arrival.name} are kept.",
            code="intake.nothing_kept",
            next_step="Reload the page to see what is there now.",
        )
    arrival.refused_kept = False
    arrival.touched_at = now or timezone.now()
    arrival.save(update_fields=["refused_kept", "touched_at"])
    audit.record(
        "intake.refused_cleared",
        actor=actor,
        subject=arrival,
        after={"name": arrival.name, "size_bytes": arrival.size_bytes},
        now=now,
    )
    token = arrival.token
    transaction.on_commit(lambda: quarantine.discard_refused(token))
    return arrival
