"""What is decided for a frame, and the kinds of reasons for which it waits. Pure."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from typing import Any

from imaging_requests.intake.capture import Instant
from imaging_requests.intake.layout import Spot
from imaging_requests.intake.sheets import FrameSheet


class Why(StrEnum):
    """The kind of reason for which a frame waits, for choosing among many."""

    TIME = "time"
    CLOCK = "clock"
    SESSION = "session"
    SEVERAL = "several"
    EXTRA = "extra"
    EXPOSURE = "exposure"
    CAMERA = "camera"
    SLOW = "slow"
    FAULT = "fault"
    TURNED = "turned"
    OTHER_OBJECT = "other_object"
    TWIN = "twin"
    SLATE = "slate"
    TOO_MANY = "too_many"
    BY_HAND = "by_hand"


WHY_WORDS: dict[str, str] = {
    Why.TIME: "Time not known",
    Why.CLOCK: "Clock and place do not agree",
    Why.SESSION: "Session not known",
    Why.SEVERAL: "Several places fit",
    Why.EXTRA: "One frame too many",
    Why.EXPOSURE: "Exposure fits no place",
    Why.CAMERA: "Other camera or lens",
    Why.SLOW: "Bracket took too long",
    Why.FAULT: "Failed a check",
    Why.TURNED: "Looks mirrored or turned",
    Why.OTHER_OBJECT: "Looks like another object",
    Why.TWIN: "Same name, other bytes",
    Why.SLATE: "Slate that leads nowhere",
    Why.TOO_MANY: "Too many ways to lay it out",
    Why.BY_HAND: "Taken back by hand",
}


@dataclass(frozen=True, slots=True)
class Timed:
    """A frame with the instant at which it was taken, if that is known."""

    sheet: FrameSheet
    instant: Instant | None

    @property
    def frame_id(self) -> int:
        """The frame's key."""
        return self.sheet.frame_id

    @property
    def at(self) -> datetime | None:
        """The instant, unless the clock showed it twice."""
        return self.instant.at if self.instant is not None and self.is_sure else None

    @property
    def is_sure(self) -> bool:
        """Whether the clock says one instant and not two."""
        return self.instant is not None and not self.instant.is_ambiguous


@dataclass(frozen=True, slots=True)
class Decision:
    """What is to become of a frame.

    `spot` and no `because`: place it (`is_slate`: on its line, but not as a view). `because`: it
    waits, with `proposal`. Neither: it is left as it is, since its picture has not been read yet.
    `evidence`: why it was placed, for the record.
    """

    frame_id: int
    captured_at: datetime | None
    spot: Spot | None = None
    because: str = ""
    why: Why | None = None
    proposal: tuple[dict[str, Any], ...] = ()
    evidence: str = "time and exposure leave no doubt"
    is_slate: bool = False


def wait(timed: Timed, why: Why, because: str, proposal: Sequence[dict[str, Any]] = ()) -> Decision:
    """Let a frame wait for a person, with the reason and what is likely."""
    return Decision(timed.frame_id, timed.at, because=because, why=why, proposal=tuple(proposal))


def as_proposal(spot: Spot, why: str) -> dict[str, Any]:
    """Return a place with its reason as plain values."""
    return {
        "line": spot.line_id,
        "tile_x": spot.tile_x,
        "tile_y": spot.tile_y,
        "ev": spot.ev,
        "focus_slice": spot.focus_slice,
        "why": why,
    }
