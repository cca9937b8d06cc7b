"""Which file an identifier stands for, and of what it is a picture.

Two kinds of identifiers: `<chain>.<version>` names the picture of a deliverable, `<sha256>` one
frame. Both stay the same for good; neither is ever used as a path.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from uuid import UUID

from django.conf import settings

from imaging_requests.deliverables.models import Deliverable, DeliverableKind, DeliverableState
from imaging_requests.intake.actions.deriving import PYRAMID
from imaging_requests.intake.models import Derivative, Frame

DELIVERABLE = re.compile(r"([0-9a-f]{8}(?:-[0-9a-f]{4}){3}-[0-9a-f]{12})\.([1-9]\d{0,3})")
FRAME = re.compile(r"[0-9a-f]{64}")
UNJOINED = (DeliverableKind.MOSAIC, DeliverableKind.BRACKET_MOSAIC)


@dataclass(frozen=True, slots=True)
class Source:
    """A pyramid on the disk and the recipe that names it; without a path it is not made yet."""

    subject: Deliverable | Frame
    path: Path | None
    recipe: str = ""
    not_there_because: str = ""

    @property
    def is_settled(self) -> bool:
        """Its file will not be another one: a frame, or a picture that is no longer building."""
        return isinstance(self.subject, Frame) or self.subject.state != DeliverableState.BUILDING


def identifier_of(row: Deliverable | Frame) -> str:
    """Return the identifier of a deliverable's picture or of a frame."""
    return f"{row.chain}.{row.version}" if isinstance(row, Deliverable) else row.sha256


def find_source(identifier: str) -> Source | None:
    """Return what an identifier stands for, or None if it stands for nothing."""
    if FRAME.fullmatch(identifier):
        frame = Frame.objects.filter(sha256=identifier).first()
        return None if frame is None else _of_frame(frame, frame.pk)
    named = DELIVERABLE.fullmatch(identifier)
    if named is None:
        return None
    row = Deliverable.objects.filter(chain=UUID(named[1]), version=int(named[2])).first()
    if row is None:
        return None
    if row.kind in UNJOINED:
        return Source(
            row,
            None,
            not_there_because="The tiles of this picture are not joined yet; each tile has an "
            "identifier of its own.",
        )
    return _of_frame(row, row.cover_id)


def paths_of(rows: Iterable[Deliverable]) -> dict[int, Path]:
    """Return the pyramids of many pictures by primary key; those without one are left out."""
    by_cover: dict[int, list[int]] = {}
    for row in rows:
        if row.cover_id is not None and row.kind not in UNJOINED:
            by_cover.setdefault(row.cover_id, []).append(row.pk)
    found = Derivative.objects.filter(frame__in=by_cover, kind=PYRAMID).order_by("pk")
    return {
        pk: Path(settings.DERIVED_DIR) / path
        for frame_id, path in found.values_list("frame", "path")
        for pk in by_cover[frame_id]
    }


def _of_frame(subject: Deliverable | Frame, frame_id: int | None) -> Source:
    found = (
        Derivative.objects.filter(frame=frame_id, kind=PYRAMID)
        .order_by("-pk")
        .values_list("path", "recipe")
        .first()
        if frame_id is not None
        else None
    )
    if found is None:
        return Source(
            subject,
            None,
            not_there_because="The picture has not been read yet. Try again in a minute.",
        )
    path, recipe = found
    return Source(subject, Path(settings.DERIVED_DIR) / path, recipe)
