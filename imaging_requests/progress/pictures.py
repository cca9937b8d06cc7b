"""Thumbnails and words of deliverables, many in a fixed number of queries."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from django.urls import reverse

from imaging_requests.deliverables.models import Deliverable, DeliverableKind
from imaging_requests.intake.models import Derivative


@dataclass(frozen=True)
class Shown:
    """A picture as a page shows it small."""

    src: str
    href: str
    width: int
    height: int
    is_tone_stretched: bool
    captured_at: datetime


def _small(row: Deliverable) -> str:
    """Return the address of the small picture: the frame's own, or a sheet of several."""
    if row.kind == DeliverableKind.SINGLE:
        return reverse("intake:picture", args=[row.cover_id, "256"])
    return reverse("deliverables:sheet", args=[row.pk])


def shown_pictures(versions: Iterable[tuple[str, int | None]]) -> dict[tuple[str, int], Shown]:
    """Return thumbnails by chain and version; two queries for any number of pictures."""
    wanted = {(UUID(chain), version) for chain, version in versions if chain and version}
    if not wanted:
        return {}
    rows = [
        row
        for row in Deliverable.objects.filter(chain__in={chain for chain, _ in wanted}).only(
            "chain", "version", "kind", "captured_at", "cover_id"
        )
        if (row.chain, row.version) in wanted
    ]
    small = small_pictures(rows)
    return {(str(row.chain), row.version): small[row.pk] for row in rows}


def small_pictures(rows: Iterable[Deliverable]) -> dict[int, Shown]:
    """Return the small picture of each row, by its primary key; one query."""
    rows = list(rows)
    thumbs = {
        each.frame_id: each
        for each in Derivative.objects.filter(
            kind="256", frame__in=[row.cover_id for row in rows if row.cover_id]
        )
    }
    found = {}
    for row in rows:
        thumb = thumbs.get(row.cover_id) if row.cover_id else None
        found[row.pk] = Shown(
            src=_small(row) if thumb else "",
            href=reverse("deliverables:deliverable", args=[row.pk]),
            width=thumb.width_px if thumb and row.kind == DeliverableKind.SINGLE else 0,
            height=thumb.height_px if thumb and row.kind == DeliverableKind.SINGLE else 0,
            is_tone_stretched=thumb.tone_stretched if thumb else False,
            captured_at=row.captured_at,
        )
    return found
