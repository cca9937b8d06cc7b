"""Writes that answer an arrival: a new frame, a frame that is here already, or a refusal."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from django.conf import settings
from django.db import IntegrityError, transaction
from django.utils import timezone

from imaging_requests.imaging.files.facts import Exif, Structure
from imaging_requests.imaging.files.refusals import Unreadable
from imaging_requests.intake import jobs, quarantine, store
from imaging_requests.intake.actions.layout import ask_for_layout
from imaging_requests.intake.actions.proving import prove, prove_new
from imaging_requests.intake.capture import Instant, capture_instant
from imaging_requests.intake.jobs import Work
from imaging_requests.intake.models import Arrival, ArrivalState, Drop, Frame
from imaging_requests.intake.sheets import session_window
from imaging_requests.people import audit

DERIVE = "derive"


@dataclass(frozen=True, slots=True)
class Master:
    """A file that was read completely and has a header that can be read."""

    sha256: str
    size_bytes: int
    extension: str
    structure: Structure


def keep_frame(work: Work, arrival: Arrival, master: Master) -> None:
    """Store the row of a frame whose two copies were proven, and ask for its pictures.

    If another arrival with the same bytes was quicker by a moment, this one is answered
    "already here".
    """
    now = work.now()
    try:
        with work.publish():
            frame = _new_frame(arrival, master, now)
            prove_new(frame, store.PLACES, now)
            _answer(arrival, ArrivalState.CHECKED, frame, _kept_sentence(arrival, frame), now)
            audit.record(
                "intake.frame_received",
                actor=arrival.drop.brought_by,
                subject=frame,
                after={
                    "sha256": frame.sha256,
                    "size_bytes": frame.size_bytes,
                    "name": arrival.name,
                    "drop": arrival.drop.number,
                    "copies": list(store.PLACES),
                },
                now=now,
            )
            jobs.enqueue(DERIVE, frame.pk)
            work.result = {"frame": frame.pk}
            transaction.on_commit(lambda: quarantine.discard(arrival.token))
    except IntegrityError:
        known = Frame.objects.filter(sha256=master.sha256).first()
        if known is None:
            raise
        answer_already_here(work, arrival, known)


def _new_frame(arrival: Arrival, master: Master, now: datetime) -> Frame:
    structure = master.structure
    instant = instant_of(structure.exif, arrival.drop)
    return Frame.objects.create(
        sha256=master.sha256,
        size_bytes=master.size_bytes,
        first_name=arrival.name,
        extension=master.extension,
        wall_clock=structure.exif.captured_text[:40] if structure.exif else "",
        captured_at=instant.at if instant else None,
        format=structure.format,
        width_px=structure.width_px,
        height_px=structure.height_px,
        bands=structure.bands,
        bits=structure.bits_per_sample,
        profile=structure.profile.description[:160] if structure.profile else "",
        structure=structure.as_data(),
        received_at=now,
    )


def instant_of(
    exif: Exif | None, drop: Drop, clocks: Mapping[str, float] | None = None
) -> Instant | None:
    """Return when a frame was taken, by the clock of the drop it came in; None if unknown.

    Unknown too is what a correction would move out of the years of the calendar.

    What a person said of the drop's clock comes first, then `clocks` (seconds to add, by camera),
    then what the session says.
    """
    if exif is None or exif.captured_local is None:
        return None
    session = drop.session
    zone = ZoneInfo(session.zone if session is not None else settings.STUDIO_ZONE)
    offset_s = drop.clock_offset_s
    if offset_s is None and clocks is not None:
        offset_s = clocks.get(exif.body_serial)
    if offset_s is None:
        offset_s = session.clock_offset_s if session is not None else 0.0
    try:
        return capture_instant(
            exif.captured_local,
            offset_text=exif.captured_offset,
            zone=zone,
            clock_offset_s=offset_s,
            window=session_window(session) if session is not None else None,
        )
    except OverflowError:
        return None


def _answer(
    arrival: Arrival, state: str, frame: Frame | None, sentence: str, now: datetime, **more: Any
) -> None:
    Arrival.objects.filter(pk=arrival.pk, state=ArrivalState.RECEIVED).update(
        state=state, frame=frame, answer=sentence, touched_at=now, **more
    )


def _kept_sentence(arrival: Arrival, frame: Frame) -> str:
    sentence = "Received and proven in two places."
    namesake = (
        Arrival.objects.filter(name=arrival.name, frame__isnull=False)
        .exclude(frame=frame)
        .select_related("drop")
        .order_by("pk")
        .last()
    )
    if namesake is not None:
        sentence += (
            f" Another file named {arrival.name} with other bytes came in {namesake.drop}; "
            "both are kept."
        )
    return sentence


def answer_already_here(work: Work, arrival: Arrival, frame: Frame) -> None:
    """Answer a file whose bytes are stored already; both names are kept, nothing is stored twice.

    The bytes that came now have just been compared with both copies, which proves these anew.
    """
    now = work.now()
    first = frame.arrivals.exclude(pk=arrival.pk).order_by("pk").select_related("drop").first()
    came = f"{timezone.localtime(frame.received_at):%-d %b %Y, %H:%M}"
    where = f" in {first.drop}" if first is not None else ""
    names = "" if frame.first_name == arrival.name else f" as {frame.first_name}"
    with work.publish():
        prove(frame, store.PLACES, now)
        _answer(
            arrival,
            ArrivalState.ALREADY_HERE,
            frame,
            f"Already here: exactly these bytes came{names} on {came}{where}. They are stored "
            f"once{' with both names' if names else ''}; there is nothing to send again.",
            now,
        )
        ask_for_layout([arrival.drop_id])
        work.result = {"frame": frame.pk, "already_here": True}
        transaction.on_commit(lambda: quarantine.discard(arrival.token))


def refuse_arrival(
    work: Work, arrival: Arrival, refusal: Unreadable, *, same_as: Arrival | None = None
) -> None:
    """Answer a file that gives no picture; its bytes are kept for a person, once.

    `same_as` is an earlier refused file with exactly these bytes.
    """
    now = work.now()
    sentence = refusal.sentence
    if same_as is not None:
        sentence = (
            f"Already here: exactly these bytes came as {same_as.name} in {same_as.drop} and were "
            f"refused. {sentence}"
        )
    with work.publish():
        part = quarantine.part_path(arrival.token)
        has_bytes = arrival.size_bytes > 0 and same_as is None and part.exists()
        _answer(arrival, ArrivalState.REFUSED, None, sentence, now, refused_kept=has_bytes)
        audit.record(
            "intake.arrival_refused",
            actor=arrival.drop.brought_by,
            subject=arrival,
            after={
                "name": arrival.name,
                "size_bytes": arrival.size_bytes,
                "reason": refusal.reason.value,
                "detail": refusal.detail[:500],
            },
            reason=sentence,
            now=now,
        )
        ask_for_layout([arrival.drop_id])
        work.result = {"refused": refusal.reason.value}
        token = arrival.token
        transaction.on_commit(lambda: _keep_or_discard(token, has_bytes))


def _keep_or_discard(token: Any, has_bytes: bool) -> None:
    if has_bytes:
        quarantine.keep_refused(token)
    else:
        quarantine.discard(token)


def receiving_failed(arrival_id: int, sentence: str) -> None:
    """Say beside the file why it is still in quarantine; it stays there until tried again."""
    Arrival.objects.filter(pk=arrival_id, state=ArrivalState.RECEIVED).update(
        answer=sentence, touched_at=timezone.now()
    )


def tidy_quarantine() -> int:
    """Finish what a crash left behind after an answer: move or remove parts that have one."""
    tidied = 0
    tokens = list(quarantine.tokens_present())
    for arrival in Arrival.objects.filter(token__in=tokens).exclude(
        state__in=(ArrivalState.ARRIVING, ArrivalState.RECEIVED)
    ):
        _keep_or_discard(arrival.token, arrival.refused_kept)
        tidied += 1
    return tidied
