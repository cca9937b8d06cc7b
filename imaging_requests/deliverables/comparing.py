"""What is asked of the guarded process to compare two pictures, and the name of what comes out."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from imaging_requests.collection.queries import facts_now
from imaging_requests.deliverables.comparability import numbers, pair_of, set_up_of
from imaging_requests.deliverables.faces import traits_of
from imaging_requests.deliverables.joining import is_joined_kind, newest_join
from imaging_requests.deliverables.models import Comparison, Deliverable, Registration
from imaging_requests.deliverables.registering import CODE_VERSION as MAP_VERSION
from imaging_requests.deliverables.retests import retest_for
from imaging_requests.imaging.alignment.matrices import apply, inverse
from imaging_requests.imaging.comparison.set_up import Pair, SetUp
from imaging_requests.imaging.comparison.tasks import set_ups_as_data
from imaging_requests.intake import store
from imaging_requests.intake.jobs import TryLaterError
from imaging_requests.people.clock import studio_time

#: Raised whenever the same files may give another comparison.
CODE_VERSION = 3
DATA_VERSIONS = ("checks/comparability-1", "checks/alignment-1", "checks/charts-1")
JOINED_EXTENSION = "tif"


class NoMasterError(Exception):
    """A picture has no file that can be compared; the message is a sentence for people."""


@dataclass(frozen=True, slots=True)
class Master:
    """A file in the store that shows a whole picture."""

    sha256: str
    extension: str
    megapixels: float

    def path(self) -> Path:
        """Return a place where it can be read; raises `TryLaterError`."""
        found = store.readable_path(self.sha256, self.extension)
        if found is None:
            raise TryLaterError(
                "Neither copy of a master can be opened. Ask the system keeper to look at the "
                "disks; the check of the store repairs one copy from the other."
            )
        return found


@dataclass(frozen=True, slots=True)
class Plan:
    """Everything that decides what a comparison says."""

    technique: str
    before: Master
    after: Master
    set_ups: tuple[SetUp, SetUp]
    pair: Pair
    more: Mapping[str, Any]

    @property
    def recipe(self) -> str:
        """Return the name of what comes out."""
        ingredients = {
            "code": CODE_VERSION,
            "data": DATA_VERSIONS,
            "technique": self.technique,
            "files": [self.before.sha256, self.after.sha256],
            "set_ups": set_ups_as_data(*self.set_ups, self.pair),
            "more": dict(self.more),
        }
        text = json.dumps(ingredients, sort_keys=True)
        return hashlib.sha256(text.encode()).hexdigest()


def plan_of(row: Comparison) -> Plan:
    """Gather files, set-ups and what is known of the station; raises `NoMasterError`."""
    before, after = row.before, row.after
    limits = numbers().grades
    read = traits_of((before, after))
    first, said_before = set_up_of(before, limits, which="before", traits=read.get(before.pk))
    second, said_after = set_up_of(after, limits, which="after", traits=read.get(after.pk))
    if not before.px_per_mm:
        raise NoMasterError("The density of the earlier picture is not known.")
    retest = retest_for(before, after)
    return Plan(
        technique=before.technique,
        before=master_of(before),
        after=master_of(after),
        set_ups=(first, second),
        pair=pair_of(before, after, read),
        more={
            "px_per_mm": before.px_per_mm,
            "face_px": _face_px(before),
            "face_mm": _face_mm(before),
            "no_face": _no_face(before),
            "station_floor": None if retest is None else retest.floor,
            "captions": [_caption(before), _caption(after)],
            "warnings": [*said_before, *said_after],
        },
    )


def master_of(row: Deliverable) -> Master:
    """Return the file that shows a whole picture: its joined tiles, or the frame of its cover."""
    if is_joined_kind(row):
        made = newest_join(row)
        if made is None or not made.sha256:
            raise NoMasterError(f"The tiles of {row} are not joined, so it cannot be compared.")
        return Master(made.sha256, JOINED_EXTENSION, made.width_px * made.height_px / 1e6)
    frame = row.cover
    if frame is None:
        raise NoMasterError(f"{row} has no frame that can be compared.")
    pixels = (frame.width_px or 0) * (frame.height_px or 0)
    return Master(frame.sha256, frame.extension, pixels / 1e6)


def _face_px(row: Deliverable) -> list[list[float]] | None:
    """Corners of the face in px of the file, where the picture has been laid on its face."""
    laid = row.registrations.filter(code_version=MAP_VERSION).exclude(px_to_face_mm=None).first()
    size = _face_mm(row)
    file_width_px = None if laid is None else _mapped_width_px(row, laid)
    if laid is None or not file_width_px or size is None:
        return None
    width, height = size
    face = np.array([[0, 0], [width, 0], [width, height], [0, height]], np.float64)
    at = apply(inverse(np.array(laid.px_to_face_mm, np.float64)), face)
    at = (at + 0.5) * (file_width_px / laid.width_px) - 0.5
    found: list[list[float]] = np.round(at, 3).tolist()
    return found


def _face_mm(row: Deliverable) -> tuple[float, float] | None:
    """Width and height of the face as recorded when the picture was taken."""
    facts = facts_now(row.object_id, row.captured_at)
    if facts is None or not facts.width_mm or not facts.height_mm:
        return None
    return float(facts.width_mm), float(facts.height_mm)


def _no_face(row: Deliverable) -> str:
    """Why a picture does not show the outline of its face; empty if it should."""
    if row.detail_mm:
        return "both pictures show a part of it only"
    return "edges have no outline of their own" if row.face == "E" else ""


def _mapped_width_px(row: Deliverable, laid: Registration) -> int | None:
    """Width of the file that a map speaks of; None if another file is compared by now."""
    if is_joined_kind(row):
        made = newest_join(row)
        return made.width_px if made is not None and made.pk == laid.join_id else None
    is_cover = laid.join_id is None and laid.frame_id == row.cover_id
    return row.cover.width_px if is_cover and row.cover is not None else None


def _caption(row: Deliverable) -> str:
    return f"{row}, {studio_time(row.captured_at):%-d %b %Y}"
