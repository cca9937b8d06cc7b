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

from imaging_requests.deliverables import joined
from imaging_requests.deliverables.actions.joins import OPEN_STATES
from imaging_requests.deliverables.models import Deliverable, DeliverableKind, DeliverableState
from imaging_requests.intake.actions.deriving import PYRAMID
from imaging_requests.intake.models import Derivative, Frame

DELIVERABLE = re.compile(r"([0-9a-f]{8}(?:-[0-9a-f]{4}){3}-[0-9a-f]{12})\.([1-9]\d{0,3})")
FRAME = re.compile(r"[0-9a-f]{64}")
OF_TILES = (DeliverableKind.MOSAIC, DeliverableKind.BRACKET_MOSAIC)


@dataclass(frozen=True, slots=True)
class Source:
    """A pyramid on the disk and the recipe that names it; without a path it is not made yet."""

    subject: Deliverable | Frame
    path: Path | None
    recipe: str = ""
    not_there_because: str = ""

    @property
    def is_settled(self) -> bool:
        """Its file will not be another one: a frame, or a picture that is no longer building.

        A picture of tiles can be joined anew until it is decided for.
        """
        if isinstance(self.subject, Frame):
            return True
        unsettled = OPEN_STATES if self.subject.kind in OF_TILES else (DeliverableState.BUILDING,)
        return self.subject.state not in unsettled


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
    if row.kind in OF_TILES:
        return _of_tiles(row)
    return _of_frame(row, row.cover_id)


def paths_of(rows: Iterable[Deliverable]) -> dict[int, Path]:
    """Return the pyramids of many pictures by primary key; those without one are left out."""
    rows = list(rows)
    by_cover: dict[int, list[int]] = {}
    for row in rows:
        if row.cover_id is not None and row.kind not in OF_TILES:
            by_cover.setdefault(row.cover_id, []).append(row.pk)
    found = Derivative.objects.filter(frame__in=by_cover, kind=PYRAMID).order_by("pk")
    paths = {
        pk: Path(settings.DERIVED_DIR) / path
        for frame_id, path in found.values_list("frame", "path")
        for pk in by_cover[frame_id]
    }
    for pk, join in joined.standing_joins(rows).items():
        if (pyramid := joined.pyramid_of(join)) is not None:
            paths[pk] = pyramid.path
    return paths


def _of_tiles(row: Deliverable) -> Source:
    """Return the joined picture, if one stands for the tiles."""
    join = joined.standing_join(row)
    pyramid = joined.pyramid_of(join) if join is not None else None
    if join is None or pyramid is None:
        return Source(row, None, not_there_because=joined.why_none(row))
    return Source(row, pyramid.path, join.recipe)


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
