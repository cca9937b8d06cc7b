"""The numbers of the intake, read once from their versioned data files."""

from __future__ import annotations

import json
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any

from django.conf import settings

from imaging_requests.imaging.files.data_values import take_list, take_number, take_whole
from imaging_requests.imaging.files.file_checks import FileChecks
from imaging_requests.imaging.files.limits import Limits
from imaging_requests.imaging.files.recipe import Recipe, Tone
from imaging_requests.imaging.likeness.evidence import Levels
from imaging_requests.imaging.measure.finding import Rules
from imaging_requests.imaging.recognition import KINDS, StructureLimits

#: Whether a picture shows its object: in visible light, and by its structure in any light.
RECOGNITION = "checks/recognition-2.json"

#: How often a portion of the stored copies is read again; the clock of the sweeps keeps to it.
PROOF_SWEEP_MINUTES = 15


@dataclass(frozen=True, slots=True)
class Background:
    """How background work is retried and woken, uploads are cut, and copies are read again."""

    retry_pauses_s: tuple[int, ...]
    wake_batch: int
    wake_again_after_s: float
    drain_s: float
    sorting_pause_s: float
    sorting_files_per_pause: int
    sorting_share_percent: float
    stretch_least_bytes: int
    stretch_most_count: int
    free_space_least_bytes: int
    proof_every_days: float
    proof_portion_bytes: int
    proof_portion_s: float

    @property
    def tries(self) -> int:
        """The first try and the repeats."""
        return len(self.retry_pauses_s) + 1

    def stretch_bytes(self, size_bytes: int) -> int:
        """Return how many bytes of a file lie between two durable marks."""
        return max(self.stretch_least_bytes, -(-size_bytes // self.stretch_most_count))


def read_data(name: str) -> dict[str, Any]:
    """Read a data file of the project by its path below `fixtures`."""
    data: dict[str, Any] = json.loads((settings.BASE_DIR / "fixtures" / name).read_text("utf-8"))
    return data


@lru_cache(maxsize=1)
def background() -> Background:
    """Return the numbers of background work."""
    data = read_data("intake/background-1.json")
    return Background(
        retry_pauses_s=take_list(data, "retry.pauses_s", int),
        wake_batch=take_whole(data, "wake.batch"),
        wake_again_after_s=take_number(data, "wake.again_after_s"),
        drain_s=take_number(data, "drain.seconds"),
        sorting_pause_s=take_number(data, "sorting.pause_s"),
        sorting_files_per_pause=take_whole(data, "sorting.files_per_pause"),
        sorting_share_percent=take_number(data, "sorting.share_percent"),
        stretch_least_bytes=take_whole(data, "stretch.least_bytes"),
        stretch_most_count=take_whole(data, "stretch.most_count"),
        free_space_least_bytes=take_whole(data, "free_space.least_bytes"),
        proof_every_days=take_number(data, "proof.every_days"),
        proof_portion_bytes=take_whole(data, "proof.portion_bytes"),
        proof_portion_s=take_number(data, "proof.portion_s"),
    )


@lru_cache(maxsize=1)
def reading_limits() -> Limits:
    """Return what decoding one file may cost; the environment may lower it, never raise it."""
    limits = Limits.from_settings(read_data("checks/reading-limits-1.json"))
    return replace(
        limits,
        memory_bytes=min(limits.memory_bytes, settings.DECODE_MEMORY_LIMIT_BYTES),
        max_pixels=min(limits.max_pixels, settings.DECODE_PIXEL_LIMIT),
    )


@lru_cache(maxsize=4)
def recipe(tone: Tone = Tone.AUTO) -> Recipe:
    """Return how derived pictures are made."""
    return Recipe.from_settings(read_data("checks/derivatives-1.json"), tone=tone)


@lru_cache(maxsize=1)
def file_checks() -> FileChecks:
    """Return the limits of the checks of every file."""
    return FileChecks.from_settings(read_data("checks/file-checks-1.json"))


@dataclass(frozen=True, slots=True)
class ClockLimits:
    """When a camera's clock is estimated, and how sure that must be."""

    disagree_s: float
    most_hours: int
    least_frames: int
    least_share: float
    lead_share: float
    hour_slack_min: float


@dataclass(frozen=True, slots=True)
class PictureLimits:
    """What likenesses say (see `imaging.likeness.evidence`), and how much they must say."""

    overlap: float
    same: Levels
    other: Levels
    sibling: Levels
    turned_lead: float
    contradicts: float
    margin: float
    least: float
    lead: float


@lru_cache(maxsize=1)
def measurement_rules() -> Rules:
    """Return the rules and limits of what is measured on placed frames."""
    return Rules.from_settings(read_data("checks/measurements-1.json"))


@dataclass(frozen=True, slots=True)
class PlacingLimits:
    """How received frames are laid out on shot lines: times in minutes, exposure in EV."""

    session_margin_min: float
    tolerance_ev: float
    span_min: float
    uv_span_min: float
    most_frames: int
    gap_min: float
    session_lead_frames: int
    clock: ClockLimits
    picture: PictureLimits

    def bracket_span_min(self, technique: str) -> float:
        """Return the longest time one bracket may take."""
        return self.uv_span_min if technique == "UV" else self.span_min


@lru_cache(maxsize=1)
def structure_limits() -> dict[str, StructureLimits]:
    """Return the limits of likenesses of structure by kind of picture."""
    data = read_data(RECOGNITION)
    return {kind: StructureLimits.from_settings(data, kind) for kind in KINDS}


@lru_cache(maxsize=1)
def placing_limits() -> PlacingLimits:
    """Return the numbers of the layout."""
    data = read_data("intake/placing-2.json")
    return PlacingLimits(
        session_margin_min=take_number(data, "session.margin_min"),
        tolerance_ev=take_number(data, "bracket.tolerance_ev"),
        span_min=take_number(data, "bracket.span_min"),
        uv_span_min=take_number(data, "bracket.uv_span_min"),
        most_frames=take_whole(data, "layout.most_frames"),
        gap_min=take_number(data, "layout.gap_min"),
        session_lead_frames=take_whole(data, "session.lead_frames"),
        clock=ClockLimits(
            disagree_s=take_number(data, "slate.disagree_s"),
            most_hours=take_whole(data, "clock.most_hours"),
            least_frames=take_whole(data, "clock.least_frames"),
            least_share=take_number(data, "clock.least_share"),
            lead_share=take_number(data, "clock.lead_share"),
            hour_slack_min=take_number(data, "clock.hour_slack_min"),
        ),
        picture=PictureLimits(
            overlap=take_number(data, "picture.overlap"),
            same=_levels(data, "picture.same"),
            other=_levels(data, "picture.other"),
            sibling=_levels(data, "picture.sibling"),
            turned_lead=take_number(data, "picture.turned_lead"),
            contradicts=take_number(data, "picture.contradicts"),
            margin=take_number(data, "other.margin"),
            least=take_number(data, "other.least"),
            lead=take_number(data, "other.lead"),
        ),
    )


def _levels(data: dict[str, Any], key: str) -> Levels:
    return Levels(
        against=take_number(data, f"{key}.against"),
        nothing=take_number(data, f"{key}.nothing"),
        surely=take_number(data, f"{key}.surely"),
        lowest=-take_number(data, f"{key}.most_against"),
    )
