"""When a turn is told; numbers of the studio, read from versioned data."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from imaging_requests.imaging.files.data_values import take_number, take_version


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """Limits of an orientation.

    Attributes:
        clear_margin: Lead in correlation over the next way round that decides by itself.
        least_correlation: Least correlation of the best way round that decides by itself.
        worth_aligning: Correlation below which a way round is not aligned in earnest.
        silhouette_pass_mm, silhouette_warn_mm: How far a back's silhouette may lie from the
            mirrored one of the front.
        silhouette_clear_mm: How much better one way round must fit to say so.
    """

    version: int = 1
    clear_margin: float = 0.15
    least_correlation: float = 0.3
    worth_aligning: float = 0.1
    silhouette_pass_mm: float = 1.0
    silhouette_warn_mm: float = 2.0
    silhouette_clear_mm: float = 1.5

    @classmethod
    def from_settings(cls, data: Mapping[str, Any]) -> Limits:
        """Read the limits; raises `DataError` if one is missing."""
        return cls(
            version=take_version(data),
            clear_margin=take_number(data, "turn.clear_margin"),
            least_correlation=take_number(data, "turn.least_correlation"),
            worth_aligning=take_number(data, "turn.worth_aligning"),
            silhouette_pass_mm=take_number(data, "silhouette.pass_mm"),
            silhouette_warn_mm=take_number(data, "silhouette.warn_mm"),
            silhouette_clear_mm=take_number(data, "silhouette.clear_mm"),
        )
