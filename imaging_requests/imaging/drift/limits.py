"""Numbers of the drift watch, read from versioned data."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from imaging_requests.imaging.files.data_values import take_number, take_version, take_whole


@dataclass(frozen=True, slots=True, kw_only=True)
class DriftLimits:
    """Slack and limit in standard deviations, lengths in weeks with a measurement."""

    version: int
    slack: float
    limit: float
    base_weeks: int
    least_base_weeks: int

    @classmethod
    def from_settings(cls, data: Mapping[str, Any]) -> DriftLimits:
        """Read the numbers from versioned data; raises ``DataError`` if a value is missing."""
        return cls(
            version=take_version(data),
            slack=take_number(data, "cusum.slack"),
            limit=take_number(data, "cusum.limit"),
            base_weeks=take_whole(data, "base.weeks"),
            least_base_weeks=take_whole(data, "base.least_weeks"),
        )
