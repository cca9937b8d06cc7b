"""Rule G12 for every exposure of a bracket: one of another object among them is named.

A bracket is compared by the exposure that tells most. The others must show the same thing, or the
joined picture would be of two objects; each is held against the reference of its own face and, if
it surely does not fit that, against both sides of all others.
"""

from __future__ import annotations

from imaging_requests.deliverables.models import Deliverable, DeliverableKind
from imaging_requests.deliverables.recognising_light import UNIT, Answer
from imaging_requests.deliverables.reference_faces import SIDES, faces_near
from imaging_requests.imaging.likeness.pattern import read_pattern
from imaging_requests.imaging.recognition import Recognised
from imaging_requests.intake.limits import structure_limits
from imaging_requests.intake.models import FrameLook
from imaging_requests.intake.strangers import LIGHTS, Strangers
from imaging_requests.intake.words import ev_words
from imaging_requests.requesting.words import numbers_of


def strange_exposure(row: Deliverable, *, most_others: int) -> Answer | None:
    """Return what is said of the first exposure that surely shows something else; None if none."""
    if (
        row.kind != DeliverableKind.BRACKET
        or row.technique not in LIGHTS
        or row.face not in SIDES
        or row.detail_mm
    ):
        return None
    seats = list(row.deliverable_frames.select_related("frame").order_by("ev", "pk"))
    looks = FrameLook.objects.filter(frame__in=[seat.frame_id for seat in seats])
    patterns = dict(looks.exclude(pattern="").values_list("frame", "pattern"))
    strangers = Strangers(faces_near([row.object_id], most_others=most_others), structure_limits())
    for seat in seats:
        if seat.frame_id not in patterns:
            continue
        other = strangers.names_other(
            read_pattern(patterns[seat.frame_id]),
            row.object_id,
            face=row.face,
            technique=row.technique,
        )
        if other is not None:
            names = numbers_of([row.object_id, other[0]])
            shown = f"{names.get(other[0], 'another object')} {SIDES[other[1]]}"
            return Answer(
                Recognised.FAIL,
                f"Exposure {ev_words(seat.ev)} ({seat.frame.first_name}) shows {shown}, not the "
                f"{SIDES[row.face]} of {names[row.object_id]}. Take that frame back on the sorting "
                "table and place it where it belongs.",
                value=f"exposure {ev_words(seat.ev)}: {shown}"[:120],
                unit=UNIT,
            )
    return None
