"""The last record of an object's facts, as the derivation of shots reads them.

Unknown stays unknown. The remarks that are simply true or false of an object (rolled, wax lined,
loose keys …) are kept as a list of words on the record.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime

from imaging_requests.collection.models import ObjectFacts
from imaging_requests.reckoning import shots

#: Words that may stand in `ObjectFacts.notes`; each is a yes that would otherwise be a no.
REMARKS = frozenset(
    (
        "rolled",
        "engaged_frame",
        "wax_lined",
        "loose_keys",
        "metal_leaf",
        "toxic_dust_on_back",
        "frame_stays_on",
        "sight_size",
    )
)

#: The model's word for a support where the rules use another.
_SUPPORTS = {"paper": "paper_on_canvas"}


def latest_facts(object_ids: Iterable[int], now: datetime) -> dict[int, ObjectFacts]:
    """The record in force for each object, by id; one query."""
    rows = ObjectFacts.objects.filter(
        object_id__in=list(object_ids), valid_from__lte=now, recorded_at__lte=now
    ).order_by("object_id", "valid_from", "recorded_at", "pk")
    return {row.object_id: row for row in rows}


def shot_facts(
    row: ObjectFacts | None, *, kind: str, number: str = "", title: str = ""
) -> shots.ObjectFacts:
    """Facts of an object for the derivation; without a record everything is unknown."""
    if row is None:
        return shots.ObjectFacts(kind=kind, object_number=number, title=title)
    remarks = REMARKS.intersection(row.notes)
    return shots.ObjectFacts(
        object_number=number,
        title=title,
        kind=kind,
        height_mm=row.height_mm,
        width_mm=row.width_mm,
        depth_mm=row.depth_mm,
        warp_mm=row.warp_mm,
        weight_kg=row.weight_kg,
        support=_SUPPORTS.get(row.support, row.support) or None,
        framed=row.framed,
        glazed=row.glazed,
        sealed=row.sealed,
        painted_faces=tuple(row.painted_faces) or None,
        flash_allowed=row.flash_allowed,
        uv_allowed=row.uv_allowed,
        light_class=row.light_class or None,
        flaking=row.flaking,
        heat_sensitive=row.heat_sensitive,
        uv_cap_min=row.uv_cap_min,
        pinned_px_per_mm={} if row.pinned_px_per_mm is None else {"vis": row.pinned_px_per_mm},
        size_is="sight" if "sight_size" in remarks else "full",
        rolled="rolled" in remarks,
        engaged_frame="engaged_frame" in remarks,
        wax_lined="wax_lined" in remarks,
        loose_keys="loose_keys" in remarks,
        metal_leaf="metal_leaf" in remarks,
        toxic_dust_on_back="toxic_dust_on_back" in remarks,
        frame_stays_on="frame_stays_on" in remarks,
    )
