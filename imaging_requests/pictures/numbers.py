"""The numbers of the picture service, read once from their versioned data file."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

from imaging_requests.imaging.files.data_values import DataError, take, take_list, take_whole
from imaging_requests.imaging.iiif.asked import Limits
from imaging_requests.intake.limits import read_data
from imaging_requests.people.models import Role
from imaging_requests.pictures.models import RestrictionKind
from imaging_requests.pictures.rules import GRANTED, SEEN_BY_NAME, Table


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


@dataclass(frozen=True, slots=True)
class AccessNumbers:
    """What roles see, how large a small picture is, and how long a grant may be."""

    table: Table
    small_px: int
    grant_most_days: int


@lru_cache(maxsize=1)
def access_numbers() -> AccessNumbers:
    """Return what roles and restrictions mean."""
    data = read_data("pictures/access-1.json")
    by_role = take(data, "sight.by_role")
    if set(by_role) != set(Role.values) or set(by_role.values()) - {*SEEN_BY_NAME, GRANTED}:
        raise DataError("The value of sight.by_role must name every role once, with what it sees.")
    return AccessNumbers(
        table=Table(
            by_role=by_role,
            frames_by_role=frozenset(take_list(data, "frames.by_role", str)),
            left={
                kind: {
                    str(Role(role)): SEEN_BY_NAME[seen]
                    for role, seen in take(data, f"restriction.{kind}").items()
                }
                for kind in RestrictionKind.values
            },
        ),
        small_px=take_whole(data, "small.longest_side_px"),
        grant_most_days=take_whole(data, "grant.most_days"),
    )
