"""The numbers of the picture service, read once from their versioned data file."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

from imaging_requests.imaging.files.data_values import take_whole
from imaging_requests.imaging.iiif.asked import Limits
from imaging_requests.intake.limits import read_data


@dataclass(frozen=True, slots=True)
class ServiceNumbers:
    """What one answer may be, how it is encoded, and how long answers and links live."""

    limits: Limits
    jpeg_quality: int
    kept_s: int
    link_lives_s: int


@lru_cache(maxsize=1)
def service_numbers() -> ServiceNumbers:
    """Return the numbers of the picture service."""
    data = read_data("pictures/service-1.json")
    return ServiceNumbers(
        limits=Limits(
            max_area_px=take_whole(data, "answer.max_area_px"),
            max_side_px=take_whole(data, "answer.max_side_px"),
        ),
        jpeg_quality=take_whole(data, "answer.jpeg_quality"),
        kept_s=take_whole(data, "answer.kept_s"),
        link_lives_s=take_whole(data, "link.lives_s"),
    )
