"""The limits of the file checks, read from versioned data."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from imaging_requests.imaging.files.data_values import (
    take_list,
    take_number,
    take_version,
    take_whole,
)


@dataclass(frozen=True, slots=True)
class FileChecks:
    """Limits of rules G1 to G5 and G7; ``version`` goes into every verdict.

    Sizes in percent of the plan, depth in bits per channel, profiles by their description.
    """

    version: int
    required_bits: int
    levels_of_8_bit: int
    grid_share_warn: float
    agreed_rgb: tuple[str, ...]
    agreed_grey: tuple[str, ...]
    size_pass_percent: float
    size_warn_percent: float
    orientation: int

    @classmethod
    def from_settings(cls, data: Mapping[str, Any]) -> "FileChecks":
        """Read the limits from versioned data; raises ``DataError`` if a value is missing."""
        return cls(
            version=take_version(data),
            required_bits=take_whole(data, "depth.required_bits"),
            levels_of_8_bit=take_whole(data, "depth.levels_of_8_bit"),
            grid_share_warn=take_number(data, "depth.grid_share_warn"),
            agreed_rgb=take_list(data, "profile.agreed_rgb", str),
            agreed_grey=take_list(data, "profile.agreed_grey", str),
            size_pass_percent=take_number(data, "size.pass_percent"),
            size_warn_percent=take_number(data, "size.warn_percent"),
            orientation=take_whole(data, "plainness.orientation"),
        )
