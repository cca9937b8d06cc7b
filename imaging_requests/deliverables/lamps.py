"""What frames with the lamps off and several tiles together say about ultraviolet light.

A frame with the lamps off is no part of the picture: it is kept on the same shot line and measured
with the tile that it names. Whether the lamps were warm shows only in the first against the last
tile, by the glowing patch of both.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime

from imaging_requests.deliverables.models import Deliverable, DeliverableFrame
from imaging_requests.imaging.measure.finding import Finding
from imaging_requests.imaging.measure.sets import check_warm_up_ev
from imaging_requests.intake.limits import measurement_rules
from imaging_requests.intake.models import FileCheck, Frame, FrameRole, FrameState

TECHNIQUE = "UV"
LEVEL_RULE, WARM_UP_RULE, ROOM_RULE = "U4", "U8", "U2"
NO_FRAME = (
    "There is no frame with the lamps off, so the room's own light is not known. Shoot one at the "
    "same exposure, and place it on this line as taken with the lamps off."
)
ONE_TILE = (
    "The glowing patch can be read in fewer than two tiles, so nobody can say whether the lamps "
    "were warm. Lay the strip into the first and the last tile."
)


def lamps_off(row: Deliverable) -> list[Frame]:
    """Frames with the lamps off that lie on the line of an ultraviolet picture, oldest first."""
    if row.technique != TECHNIQUE or row.shot_line_id is None:
        return []
    return list(
        Frame.objects.filter(
            shot_line=row.shot_line_id, state=FrameState.PLACED, role=FrameRole.AMBIENT
        ).order_by("pk")
    )


def frames_of_tile(
    frames: Sequence[Frame], seats: Sequence[DeliverableFrame], *, is_first: bool
) -> list[Frame]:
    """Those taken for one tile; what names a tile that does not exist goes with the first."""
    own = (seats[0].tile_x, seats[0].tile_y)
    named = [frame for frame in frames if (frame.tile_x, frame.tile_y) == own]
    return list(frames) if is_first and not named else named


def without_frame(row: Deliverable, frames: Sequence[Frame]) -> list[Finding]:
    """U2 of an ultraviolet picture that has no frame with the lamps off."""
    if row.technique != TECHNIQUE or frames:
        return []
    return [measurement_rules().unknown(ROOM_RULE, NO_FRAME)]


def warm_up(
    row: Deliverable,
    tiles: Mapping[str, Sequence[DeliverableFrame]],
    found: Iterable[tuple[int, Finding]],
) -> tuple[int, Finding] | None:
    """U8 from the first to the last tile of a picture, with the frame it is said of.

    ``found``: levels that were measured just now; those of other tiles are as they were kept. None
    for a picture of one tile or another light.
    """
    if row.technique != TECHNIQUE or len(tiles) < 2:
        return None
    normal = sorted(
        (seat for seats in tiles.values() for seat in seats if seat.ev == 0),
        key=lambda seat: (_taken(seat), seat.frame_id),
    )
    if len(normal) < 2:
        return None
    levels = _kept_levels([seat.frame_id for seat in normal])
    levels |= {
        pk: each.value
        for pk, each in found
        if each.rule_id == LEVEL_RULE and each.value is not None
    }
    read = [seat.frame_id for seat in normal if seat.frame_id in levels]
    if len(read) < 2:
        return normal[-1].frame_id, measurement_rules().unknown(WARM_UP_RULE, ONE_TILE)
    first, last = read[0], read[-1]
    return last, check_warm_up_ev(levels[first], levels[last], measurement_rules())


def _kept_levels(frame_ids: Sequence[int]) -> dict[int, float]:
    rows = FileCheck.objects.filter(
        frame__in=frame_ids, rule=LEVEL_RULE, rule_version=measurement_rules().version
    ).exclude(value="")
    return {row.frame_id: float(row.value) for row in rows}


def _taken(seat: DeliverableFrame) -> datetime:
    return seat.frame.captured_at or seat.frame.received_at
