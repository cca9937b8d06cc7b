"""Pictures on which a region can be drawn, placed on the face by the plan of their capture."""

from __future__ import annotations

from collections.abc import Sequence

from django.urls import reverse
from django.utils import timezone

from imaging_requests.deliverables.models import Deliverable, DeliverableKind, DeliverableState
from imaging_requests.intake.models import Derivative
from imaging_requests.protocols.queries import settings_for_words
from imaging_requests.reckoning.shots import StudioSettings
from imaging_requests.requesting.known_facts import latest_facts
from imaging_requests.requesting.outlook import DrawingPicture
from imaging_requests.requesting.words import view_words

#: The techniques that show a face as people know it, the first is drawn on first.
_TECHNIQUES = ("VF", "VC", "RK", "UV")
_FACES = ("F", "B")
_THUMB = "1024"
NOTE = (
    "Placed by the planned density and margins, not measured: check the numbers against the object."
)


def drawing_pictures(object_id: int) -> Sequence[DrawingPicture]:
    """One picture of each face that one frame shows whole; the newest of the best technique."""
    now = timezone.now()
    facts, settings = latest_facts([object_id], now).get(object_id), settings_for_words(now)
    if facts is None or settings is None or not facts.width_mm or not facts.height_mm:
        return ()
    rows = Deliverable.objects.filter(
        object=object_id,
        state=DeliverableState.ACCEPTED,
        kind__in=(DeliverableKind.SINGLE, DeliverableKind.BRACKET),
        technique__in=_TECHNIQUES,
        face__in=_FACES,
        detail_mm__isnull=True,
        cover__isnull=False,
    ).select_related("cover")
    best: dict[str, Deliverable] = {}
    for row in sorted(rows, key=lambda each: each.captured_at, reverse=True):
        known = best.get(row.face)
        if known is None or _rank(row) < _rank(known):
            best[row.face] = row
    thumbs = set(
        Derivative.objects.filter(
            kind=_THUMB, frame__in=[row.cover_id for row in best.values()]
        ).values_list("frame_id", flat=True)
    )
    return [
        _placed(row, facts.width_mm, facts.height_mm, settings)
        for _, row in sorted(best.items(), reverse=True)
        if row.cover_id in thumbs and row.cover is not None and row.cover.width_px
    ]


def _rank(row: Deliverable) -> int:
    return _TECHNIQUES.index(row.technique)


def _placed(
    row: Deliverable, width_mm: float, height_mm: float, settings: StudioSettings
) -> DrawingPicture:
    """The face lies in the middle, above the strip of targets, as the plan places it."""
    assert row.cover is not None
    across = (row.cover.width_px or 0) / row.px_per_mm
    down = (row.cover.height_px or 0) / row.px_per_mm
    station = settings.stations[settings.method(row.technique.lower()).station]
    return DrawingPicture(
        face=row.face,
        words=f"{view_words(row.technique, row.face, row.variant)}, "
        f"{timezone.localtime(row.captured_at):%-d %b %Y}",
        src=reverse("intake:picture", args=[row.cover_id, _THUMB]),
        left_mm=round((width_mm - across) / 2, 2),
        top_mm=round((height_mm + station.target_strip_mm - down) / 2, 2),
        width_mm=round(across, 2),
        height_mm=round(down, 2),
        face_width_mm=width_mm,
        face_height_mm=height_mm,
        note=NOTE,
    )
