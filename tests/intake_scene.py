"""Files and drops for the tests of the intake: small true TIFFs, and the jobs run to their end."""

from __future__ import annotations

import io
from collections.abc import Iterable
from datetime import datetime, timedelta
from typing import Any

from imaging_requests.campaigns.models import Session, ShotLine
from imaging_requests.intake import actions, jobs
from imaging_requests.intake.models import Arrival, Drop, Frame
from imaging_requests.people.models import User
from tests.true_masters import ZONE as ZONE
from tests.true_masters import pixels as pixels
from tests.true_masters import tiff as tiff


def bracket(
    session: Session,
    evs: Iterable[float],
    *,
    seed: int = 100,
    after_min: float = 10,
    base_s: float = 1.0,
    step_s: float = 30,
    **notes: Any,
) -> list[tuple[str, bytes]]:
    """Frames of one bracket in the order of their exposures: (name, bytes)."""
    start = session.starts_at + timedelta(minutes=after_min)
    return [
        (
            f"F{seed + place:04}.tif",
            tiff(
                seed + place,
                at=start + timedelta(seconds=step_s * place),
                exposure_s=base_s * 2**ev,
                **notes,
            ),
        )
        for place, ev in enumerate(evs)
    ]


def bring(drop: Drop, name: str, data: bytes, *, by: User | None = None) -> Arrival:
    """Bring one whole file into a drop; its job is due afterwards."""
    return actions.receive_whole(
        actor=by or drop.brought_by,
        drop_id=drop.pk,
        name=name,
        size_bytes=len(data),
        chunks=chunks(data),
    )


def chunks(data: bytes, size: int = 4096) -> Iterable[bytes]:
    """Cut bytes as a connection would."""
    stream = io.BytesIO(data)
    while chunk := stream.read(size):
        yield chunk


def open_drop(by: User, *, session: Session | None = None, line: ShotLine | None = None) -> Drop:
    """A drop for a session, a line, or neither."""
    return actions.open_drop(
        actor=by,
        session_id=session.pk if session else None,
        shot_line_id=line.pk if line else None,
    )


def settle() -> None:
    """Run every job that is due or will be, until nothing is left."""
    while jobs.run_due(now=far_future()):
        pass


def far_future() -> datetime:
    """An instant at which every pause is over."""
    from django.utils import timezone

    return timezone.now() + timedelta(days=1)


def frame_of(arrival: Arrival) -> Frame:
    """The frame that an arrival became."""
    arrival.refresh_from_db()
    assert arrival.frame is not None, arrival.answer
    return arrival.frame
