"""What must hold before a map is believed; numbers of the studio, read from versioned data."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from imaging_requests.imaging.files.data_values import take_number, take_version, take_whole


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """Limits of an alignment.

    Attributes:
        agree_px: A held-out part agrees if it lies this near to where the map puts it, px of the
            level at which it was looked for.
        least_parts: Fewest parts that must agree.
        least_share: Smallest share of the parts looked for that must agree.
        least_middle_evidence: Least -log10 of the probability that so many parts in the middle
            agree by chance.
        middle_share: How much of the width and height counts as the middle.
        least_overlap: Smallest share of the smaller picture that must lie on the other.
        scale_from, scale_to: Range of reference px over moving px.
        rival_share: Another place is asked about from this share of the correlation on.
        rival_lead: Standard errors by which the parts must prefer the map to any other place.
        bend_evidence: Standard errors by which a smooth field must foretell held-out parts better.
        most_bend: Largest bend that is told as an error, share of the reference's longer side;
            beyond it one map says nothing.
        moved_parts: Fewest neighbours that must lie elsewhere alike.
        moved_share: The same as a share of all neighbours.
        structure_share: A part is asked about if the moving picture holds this share of the usual
            structure there.
        middle_rate: Share of the agreement outside that is expected in the middle.
        least_absence: -log10 of the probability of so few agreeing parts in the middle, from which
            on only the surroundings are shared.
        finest_px: Longer side beyond which a picture is not looked at more finely.
        spread_factor, held_out_share, floor_px: What the reported error is made of: times the
            spread of the worst corner, times the median distance of held-out parts, and px of the
            level that are always assumed.
    """

    version: int = 4
    agree_px: float = 1.5
    least_parts: int = 12
    least_share: float = 0.25
    least_middle_evidence: float = 6.0
    middle_share: float = 0.64
    least_overlap: float = 0.2
    scale_from: float = 0.05
    scale_to: float = 20.0
    rival_share: float = 0.5
    rival_lead: float = 4.0
    bend_evidence: float = 3.0
    most_bend: float = 0.02
    moved_parts: int = 5
    moved_share: float = 0.4
    structure_share: float = 0.3
    middle_rate: float = 0.6
    least_absence: float = 2.0
    finest_px: float = 4600
    spread_factor: float = 3.0
    held_out_share: float = 1.1
    floor_px: float = 0.15

    @classmethod
    def from_settings(cls, data: Mapping[str, Any]) -> Limits:
        """Read the limits; raises `DataError` if one is missing."""
        return cls(
            version=take_version(data),
            agree_px=take_number(data, "alignment.agree_px"),
            least_parts=take_whole(data, "alignment.least_parts"),
            least_share=take_number(data, "alignment.least_share"),
            least_middle_evidence=take_number(data, "alignment.least_middle_evidence"),
            middle_share=take_number(data, "alignment.middle_share"),
            least_overlap=take_number(data, "alignment.least_overlap"),
            scale_from=take_number(data, "alignment.scale_from"),
            scale_to=take_number(data, "alignment.scale_to"),
            rival_share=take_number(data, "rival.share"),
            rival_lead=take_number(data, "rival.lead"),
            bend_evidence=take_number(data, "bend.evidence"),
            most_bend=take_number(data, "bend.most_share"),
            moved_parts=take_whole(data, "moved.parts"),
            moved_share=take_number(data, "moved.share"),
            structure_share=take_number(data, "middle.structure_share"),
            middle_rate=take_number(data, "middle.rate"),
            least_absence=take_number(data, "middle.least_absence"),
            finest_px=take_number(data, "alignment.finest_px"),
            spread_factor=take_number(data, "residual.spread_factor"),
            held_out_share=take_number(data, "residual.held_out_share"),
            floor_px=take_number(data, "residual.floor_px"),
        )
