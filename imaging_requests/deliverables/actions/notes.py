"""Writes of region notes: writing, changing, taking back."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import Any

from django.db import transaction
from django.utils import timezone

from imaging_requests.deliverables.models import Deliverable
from imaging_requests.deliverables.models_notes import SurfaceNote
from imaging_requests.deliverables.policies import CHANGE_NOTE, WRITE_NOTE
from imaging_requests.deliverables.rules_notes import checked_region, checked_text
from imaging_requests.intake.policies import SEE_PICTURES
from imaging_requests.people import audit
from imaging_requests.people.errors import DomainError, IllegalStep
from imaging_requests.people.models import User
from imaging_requests.people.policies import demand
from imaging_requests.people.versions import lock_row, save_row
from imaging_requests.requesting.known_facts import latest_facts

#: A picture through the object is seen from the front.
FACE_OF = {"F": "F", "T": "F", "B": "B"}


@transaction.atomic
def write_note(
    *,
    actor: User,
    deliverable_id: int,
    shape: str,
    points_mm: Sequence[Sequence[float]],
    text: str,
    now: datetime | None = None,
) -> SurfaceNote:
    """Write a note at a region of the surface that a picture shows."""
    at = now or timezone.now()
    demand(actor, WRITE_NOTE)
    drawn_on = Deliverable.objects.get(pk=deliverable_id)
    demand(actor, SEE_PICTURES, drawn_on)
    face = FACE_OF.get(drawn_on.face)
    if face is None:
        raise DomainError(
            "Notes lie on the front or the back; this picture shows the edges.",
            code="note.edges",
            next_step="Write it at the nearest spot of the front or the back.",
        )
    row = SurfaceNote.objects.create(
        object_id=drawn_on.object_id,
        face=face,
        surface=drawn_on.surface if drawn_on.face == face else f"{face}.1",
        shape=shape,
        points_mm=checked_region(shape, points_mm, _size(drawn_on.object_id, at)),
        text=checked_text(text),
        author=actor,
        drawn_on=drawn_on,
        as_of=drawn_on.captured_at,
        written_at=at,
    )
    audit.record(
        "note.written",
        actor=actor,
        subject=row,
        object_id=row.object_id,
        after=_told(row),
        now=at,
    )
    return row


@transaction.atomic
def change_note(
    *,
    actor: User,
    note_id: int,
    read_version: int,
    shape: str,
    points_mm: Sequence[Sequence[float]],
    text: str,
    now: datetime | None = None,
) -> SurfaceNote:
    """Change the words or the region of a note."""
    at = now or timezone.now()
    row = _locked(actor, note_id, read_version, {"text": text.strip()})
    before = _told(row)
    row.points_mm = checked_region(shape, points_mm, _size(row.object_id, at))
    row.shape, row.text = shape, checked_text(text)
    save_row(row, fields=["shape", "points_mm", "text"])
    audit.record(
        "note.changed",
        actor=actor,
        subject=row,
        object_id=row.object_id,
        before=before,
        after=_told(row),
        now=at,
    )
    return row


@transaction.atomic
def withdraw_note(
    *, actor: User, note_id: int, read_version: int, now: datetime | None = None
) -> SurfaceNote:
    """Take a note back; it is shown no more and stays in the record."""
    at = now or timezone.now()
    row = _locked(actor, note_id, read_version, {})
    row.withdrawn_at = at
    save_row(row, fields=["withdrawn_at"])
    audit.record(
        "note.withdrawn",
        actor=actor,
        subject=row,
        object_id=row.object_id,
        before=_told(row),
        now=at,
    )
    return row


def _locked(actor: User, note_id: int, read_version: int, wanted: dict[str, Any]) -> SurfaceNote:
    row = lock_row(SurfaceNote, note_id, read_version=read_version, wanted=wanted)
    demand(actor, CHANGE_NOTE, row)
    demand(actor, SEE_PICTURES, row.drawn_on)
    if row.withdrawn_at is not None:
        raise IllegalStep(
            "This note was taken back.", code="note.withdrawn", next_step="Write a new one."
        )
    return row


def _size(object_id: int, at: datetime) -> tuple[float, float] | None:
    facts = latest_facts([object_id], at).get(object_id)
    if facts is None or not facts.width_mm or not facts.height_mm:
        return None
    return facts.width_mm, facts.height_mm


def _told(row: SurfaceNote) -> dict[str, Any]:
    return {"text": row.text, "shape": row.shape, "points_mm": row.points_mm}
