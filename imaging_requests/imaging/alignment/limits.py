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
        finest_px: Longer side beyond which a picture is not looked at more finely.
        spread_factor, held_out_share, floor_px: What the reported error is made of: times the
            spread of the worst corner, times the median distance of held-out parts, and px of the
            level that are always assumed.
    """

    version: int = 3
    agree_px: float = 1.5
    least_parts: int = 12
    least_share: float = 0.25
    least_middle_evidence: float = 6.0
    middle_share: float = 0.64
    least_overlap: float = 0.2
    scale_from: float = 0.05
    scale_to: float = 20.0
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
            finest_px=take_number(data, "alignment.finest_px"),
            spread_factor=take_number(data, "residual.spread_factor"),
            held_out_share=take_number(data, "residual.held_out_share"),
            floor_px=take_number(data, "residual.floor_px"),
        )
