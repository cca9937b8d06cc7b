"""One small picture of a deliverable of several frames: its bracket in order, its tiles in place.

Four exposures lie two by two, which keeps the shape of the picture; three make a strip.

The tiles are not joined: they lie side by side with a gap, as they were shot. Made from the small
pictures of the frames, which are 8-bit and our own, so Pillow is right for it.
"""

from __future__ import annotations

import hashlib
import io
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import isqrt
from pathlib import Path

from django.conf import settings
from PIL import Image

from imaging_requests.deliverables.models import Deliverable, DeliverableFrame
from imaging_requests.intake.models import Derivative

GAP_PX = 3
LONGEST_SIDE_PX = 512
GROUND = (90, 90, 90)
QUALITY = 85
SMALL = "256"


@dataclass(frozen=True)
class Sheet:
    """Which small pictures lie where: (column, row) → file, and a name that follows the content."""

    cells: Mapping[tuple[int, int], Path]
    etag: str


def sheet_of(deliverable: Deliverable) -> Sheet:
    """Choose the frames of the sheet: a strip of exposures, or tiles at the middle exposure."""
    seats = list(deliverable.deliverable_frames.order_by("tile_y", "tile_x", "ev", "focus_slice"))
    made = {
        each.frame_id: each
        for each in Derivative.objects.filter(
            kind=SMALL, frame__in=[seat.frame_id for seat in seats]
        )
    }
    chosen = _chosen(seats)
    found = {place: made[seat.frame_id] for place, seat in chosen.items() if seat.frame_id in made}
    names = ",".join(f"{place}={each.recipe}" for place, each in sorted(found.items()))
    return Sheet(
        cells={place: Path(settings.DERIVED_DIR) / each.path for place, each in found.items()},
        etag=hashlib.sha256(names.encode()).hexdigest()[:32],
    )


def _chosen(seats: Sequence[DeliverableFrame]) -> dict[tuple[int, int], DeliverableFrame]:
    has_tiles = any(seat.tile_x or seat.tile_y for seat in seats)
    if not has_tiles:
        exposures = {seat.ev: seat for seat in reversed(seats)}
        across = isqrt(len(exposures))
        if across * across != len(exposures):
            across = len(exposures)
        return {
            (place % across, place // across): exposures[ev]
            for place, ev in enumerate(sorted(exposures))
        }
    middle: dict[tuple[int, int], DeliverableFrame] = {}
    for seat in seats:
        place = (seat.tile_x, seat.tile_y)
        if place not in middle or abs(seat.ev) < abs(middle[place].ev):
            middle[place] = seat
    return middle


def draw_sheet(cells: Mapping[tuple[int, int], Path]) -> bytes:
    """Lay small pictures out on a neutral ground and return a JPEG.

    Missing places stay ground: a gap is shown as a gap.
    """
    columns = max(column for column, _ in cells) + 1
    rows = max(row for _, row in cells) + 1
    pictures: dict[tuple[int, int], Image.Image] = {}
    for place, path in cells.items():
        with Image.open(path) as opened:
            pictures[place] = opened.convert("RGB")
    width = max(picture.width for picture in pictures.values())
    height = max(picture.height for picture in pictures.values())
    full = (columns * (width + GAP_PX) - GAP_PX, rows * (height + GAP_PX) - GAP_PX)
    sheet = Image.new("RGB", full, GROUND)
    for (column, row), picture in pictures.items():
        sheet.paste(picture, (column * (width + GAP_PX), row * (height + GAP_PX)))
    sheet.thumbnail((LONGEST_SIDE_PX, LONGEST_SIDE_PX))
    written = io.BytesIO()
    sheet.save(written, "JPEG", quality=QUALITY)
    return written.getvalue()
