"""The numbers that joining goes by, read from versioned data."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from imaging_requests.imaging.files.data_values import take_number, take_version, take_whole


@dataclass(frozen=True, slots=True)
class JoinSettings:
    """Limits of the search and of the verdict; shares are fractions of a tile's side.

    ``sure_z`` and ``least_z`` are heights of a correlation peak over the scatter around it;
    ``rival_share`` is how near a second explanation may come before a place counts as uncertain.
    """

    version: int
    reduced_side_px: int
    least_overlap: float
    most_overlap: float
    deepest_overlap: float
    most_slip: float
    most_turn_deg: float
    sure_z: float
    least_z: float
    patch_z: float
    agree_px: float
    least_patches: int
    least_share: float
    rival_share: float
    twin_likeness: float
    blank_share: float
    residual_pass_px: float
    residual_warn_px: float
    seam_pass_percent: float
    seam_warn_percent: float
    gain_warn_percent: float
    feather_px: float

    @classmethod
    def from_settings(cls, data: Mapping[str, Any]) -> JoinSettings:
        """Read the numbers from versioned data; raises ``DataError`` if one is missing."""
        return cls(
            version=take_version(data),
            reduced_side_px=take_whole(data, "search.reduced_side_px"),
            least_overlap=take_number(data, "search.least_overlap"),
            most_overlap=take_number(data, "search.most_overlap"),
            deepest_overlap=take_number(data, "search.deepest_overlap"),
            most_slip=take_number(data, "search.most_slip"),
            most_turn_deg=take_number(data, "search.most_turn_deg"),
            sure_z=take_number(data, "order.sure_z"),
            least_z=take_number(data, "order.least_z"),
            patch_z=take_number(data, "patch.least_z"),
            agree_px=take_number(data, "patch.agree_px"),
            least_patches=take_whole(data, "edge.least_patches"),
            least_share=take_number(data, "edge.least_share"),
            rival_share=take_number(data, "order.rival_share"),
            twin_likeness=take_number(data, "order.twin_likeness"),
            blank_share=take_number(data, "tile.blank_share"),
            residual_pass_px=take_number(data, "join.residual_pass_px"),
            residual_warn_px=take_number(data, "join.residual_warn_px"),
            seam_pass_percent=take_number(data, "seam.pass_percent"),
            seam_warn_percent=take_number(data, "seam.warn_percent"),
            gain_warn_percent=take_number(data, "levels.gain_warn_percent"),
            feather_px=take_number(data, "seam.feather_px"),
        )
