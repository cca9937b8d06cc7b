"""Reads of region notes, each with the state it speaks of."""

from __future__ import annotations

from collections.abc import Sequence

from django.db.models import QuerySet

from imaging_requests.deliverables import shown
from imaging_requests.deliverables.models import SurfaceNote


def _named() -> QuerySet[SurfaceNote]:
    return SurfaceNote.objects.select_related("author", "drawn_on", "object").order_by("pk")


def notes_of(object_id: int) -> list[SurfaceNote]:
    """Return the notes of an object that were not taken back."""
    return _with_states(object_id, list(_named().filter(object=object_id, withdrawn_at=None)))


def note_with_names(pk: int) -> SurfaceNote | None:
    """Return one note with everything its page names; one that was taken back as well."""
    found = _named().filter(pk=pk).first()
    return None if found is None else _with_states(found.object_id, [found])[0]


def _with_states(object_id: int, notes: Sequence[SurfaceNote]) -> list[SurfaceNote]:
    """Say which state of the object each note speaks of: computed, never typed."""
    places = shown.states_at(object_id, {note.pk: note.as_of for note in notes})
    for note in notes:
        note.state_words = places[note.pk].words  # type: ignore[attr-defined]
    return list(notes)
