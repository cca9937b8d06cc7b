"""How far two pictures of one view can be compared: their grade and the sentence that says why.

A set-up is read from the card that the picture was shot by; what the files show overrides it. What
was not recorded is never taken for equal. Reading a pair costs a fixed number of queries.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from functools import lru_cache
from typing import Any

from imaging_requests.deliverables.faces import traits_of
from imaging_requests.deliverables.models import Deliverable
from imaging_requests.imaging.comparison.grading import Grading, grade_pair
from imaging_requests.imaging.comparison.limits import GradeLimits, MapLimits
from imaging_requests.imaging.comparison.measured import take_measured
from imaging_requests.imaging.comparison.set_up import Pair, SetUp, SupportChange
from imaging_requests.imaging.comparison.targets import pair_by, set_up_by
from imaging_requests.imaging.comparison.terms import RAKING, TECHNIQUES, VISIBLE, X_RAY
from imaging_requests.imaging.files.data_values import take_list
from imaging_requests.imaging.measure.traits import Traits
from imaging_requests.intake.limits import read_data
from imaging_requests.people.clock import studio_time
from imaging_requests.people.errors import DomainError
from imaging_requests.protocols.queries import trigger_tables
from imaging_requests.reckoning.truth.words import inside
from imaging_requests.requesting.known_facts import latest_facts
from imaging_requests.treatments.models import Intervention

DATA = "checks/comparability-1.json"
LIGHT = {"VF": "flash", "VC": "continuous"}
AZIMUTHS_DEG = {"T": 0.0, "R": 90.0, "B": 180.0, "L": 270.0}
FRAME_STAYS = "frame_stays_on"


@dataclass(frozen=True, slots=True)
class Numbers:
    """The limits, and which rows of the trigger table touch the support."""

    grades: GradeLimits
    maps: MapLimits
    support: Mapping[int, SupportChange]


@lru_cache(maxsize=1)
def numbers() -> Numbers:
    """Return the numbers of comparisons."""
    data = read_data(DATA)
    rows = {
        row: change
        for name, change in (
            ("support.retensioned_rows", SupportChange.RETENSIONED),
            ("support.flattened_rows", SupportChange.FLATTENED),
            ("support.format_rows", SupportChange.FORMAT),
        )
        for row in take_list(data, name, int)
    }
    return Numbers(GradeLimits.from_settings(data), MapLimits.from_settings(data), rows)


def grade_of(before: Deliverable, after: Deliverable) -> Grading:
    """Grade a pair of pictures of one view.

    The earlier one is taken as the one before, whichever way round they are handed in. Raises
    ``DomainError`` if they show different objects, faces or techniques.
    """
    before, after = sorted((before, after), key=lambda row: (row.captured_at, row.pk))
    demand_one_view(before, after)
    limits = numbers().grades
    read = traits_of((before, after))
    first, said_before = set_up_of(before, limits, which="before", traits=read.get(before.pk))
    second, said_after = set_up_of(after, limits, which="after", traits=read.get(after.pk))
    return grade_pair(
        before.technique,
        first,
        second,
        pair_of(before, after, read),
        limits=limits,
        floor=floor_words(before.technique),
        warnings=(*said_before, *said_after),
    )


def demand_one_view(before: Deliverable, after: Deliverable) -> None:
    """Refuse a pair that does not show the same thing in the same light."""
    if before.object_id != after.object_id:
        raise DomainError(
            "These pictures show two objects.",
            code="deliverables.pair_of_two_objects",
            next_step="Choose two pictures of one object.",
        )
    if (before.face, before.technique) != (after.face, after.technique):
        raise DomainError(
            "These pictures show different faces or techniques.",
            code="deliverables.pair_of_two_views",
            next_step="Choose two pictures of one face in one technique; pictures in different "
            "techniques are laid over each other instead.",
        )
    if before.technique not in TECHNIQUES:
        raise DomainError(
            f"There is no table of set-ups to compare {inside(str(before))} by.",
            code="deliverables.no_set_up_table",
            next_step="Look at the two pictures side by side.",
        )


def set_up_of(
    row: Deliverable, limits: GradeLimits, *, which: str = "", traits: Traits | None = None
) -> tuple[SetUp, tuple[str, ...]]:
    """Return the set-up a picture was made with, and where its files contradict the card.

    ``traits``: what the targets in its files showed, from ``faces.traits_of``.
    """
    shown = set_up_by(row.technique, traits or Traits())
    return take_measured(_typed(row), _from_file(row, shown), limits=limits, which=which)


def _typed(row: Deliverable) -> SetUp:
    line = row.shot_line
    card = line.setup_card if line is not None else None
    values: Mapping[str, Any] = card.values if card is not None else {}
    facts = latest_facts([row.object_id], row.captured_at).get(row.object_id)
    azimuths = tuple(float(each) for each in _list(values, "azimuths_deg"))
    if row.technique == RAKING and row.variant[:1] in AZIMUTHS_DEG:
        azimuths = (AZIMUTHS_DEG[row.variant[:1]],)
    band = tuple(float(each) for each in _list(values, "band_nm"))
    lamps = _list(values, "lamps") or _list(values, "lamp")
    seconds, current = _number(values, "exposure_s"), _number(values, "current_ma")
    return SetUp(
        camera=str(values.get("body", "")),
        camera_serial=str(values.get("body_serial", "")),
        lens=str(values.get("lens", "")),
        lens_serial=str(values.get("lens_serial", "")),
        px_per_mm=row.px_per_mm,
        tilt_deg=_number(values, "tilt_deg"),
        aperture=_number(values, "aperture"),
        focus_mm=_number(values, "sensor_to_object_mm"),
        light=LIGHT.get(row.technique, ""),
        lamps=tuple(str(each) for each in lamps),
        azimuths_deg=azimuths,
        elevation_deg=_number(values, "elevation_deg"),
        polarisation=str(values.get("polarisation", "none" if values else "")),
        lamp_filter=str(values.get("lamp_filter", "")),
        barrier_filter=str(values.get("barrier_filter", "")),
        band_nm=(band[0], band[1]) if len(band) == 2 else None,
        sensor=str(values.get("sensor", "")),
        voltage_kv=_number(values, "voltage_kv"),
        charge_mas=seconds * current if seconds and current else None,
        polarity=row.polarity,
        is_framed=None if facts is None else bool(facts.sealed) or FRAME_STAYS in facts.notes,
    )


def _from_file(row: Deliverable, shown: SetUp) -> SetUp:
    """What the files say of camera and targets; empty for what they do not say."""
    exif: Mapping[str, Any] = (row.cover.structure.get("exif") if row.cover else None) or {}
    if row.technique == X_RAY:
        return SetUp(camera_serial=str(exif.get("body_serial") or ""))
    return replace(
        shown,
        camera_serial=str(exif.get("body_serial") or ""),
        lens_serial=str(exif.get("lens_serial") or ""),
        aperture=_number(exif, "f_number"),
    )


def pair_of(before: Deliverable, after: Deliverable, read: Mapping[int, Traits]) -> Pair:
    """Return what is known of two pictures together; ``read``: from ``faces.traits_of``."""
    change, words = support_between(before.object_id, before.captured_at, after.captured_at)
    pair = Pair(support=change, support_words=words)
    if before.pk not in read or after.pk not in read:
        return pair
    return pair_by(before.technique, read[before.pk], read[after.pk], pair)


def support_between(object_id: int, since: datetime, until: datetime) -> tuple[SupportChange, str]:
    """Return the gravest thing that happened to the support between two pictures, in words."""
    rows = numbers().support
    steps = Intervention.objects.filter(
        object_id=object_id,
        type_row__in=rows,
        finished_at__gt=since,
        finished_at__lte=until,
    )
    order = tuple(SupportChange)
    gravest = max(steps, key=lambda step: order.index(rows[step.type_row]), default=None)
    if gravest is None or gravest.finished_at is None:
        return SupportChange.NONE, ""
    tables = trigger_tables()
    known = tables[max(tables)].rows.get(gravest.type_row) if tables else None
    said = known.said if known is not None else "the support treated"
    return rows[gravest.type_row], f"{said} on {studio_time(gravest.finished_at):%-d %b %Y}"


def floor_words(technique: str) -> str:
    """Say what cannot be told apart in a technique; empty where no map is made."""
    maps = numbers().maps
    if technique in VISIBLE:
        return f"colour differences under {maps.least_floor_delta_e:g} ΔE00"
    if technique in (RAKING, X_RAY):
        return ""
    return f"differences under {maps.least_floor_percent:g} % of the light"


def _number(values: Mapping[str, Any], name: str) -> float | None:
    value = values.get(name)
    is_number = isinstance(value, int | float) and not isinstance(value, bool)
    return float(value) if is_number and value is not None else None


def _list(values: Mapping[str, Any], name: str) -> list[Any]:
    value = values.get(name)
    if value is None:
        return []
    return list(value) if isinstance(value, list) else [value]
