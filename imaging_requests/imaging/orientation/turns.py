"""Which of the eight turns and mirrors of a picture fits its reference?

Each is laid over the reference at small size and compared at every shift by the channels of
`alignment.features`, which do not depend on the kind of light. A clear lead decides. Without one
the best few are aligned in earnest, and only if exactly one of them is believed it is named.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from imaging_requests.imaging.alignment.align import Verdict, align
from imaging_requests.imaging.alignment.limits import Limits as AlignmentLimits
from imaging_requests.imaging.alignment.matrices import Matrix
from imaging_requests.imaging.alignment.pictures import Picture, finished
from imaging_requests.imaging.alignment.starts import Plane, placed

from .limits import Limits

STEPS = (0.93, 1.0, 1.07)
LEAST_OVERLAP = 0.6
ALIGNED_PX = 800
MOST_ALIGNED = 3


class Turn(StrEnum):
    """What was done to the picture; undoing it brings the picture to its reference."""

    NONE = "none"
    CLOCKWISE = "turned 90° clockwise"
    HALF = "turned upside down"
    ANTICLOCKWISE = "turned 90° anticlockwise"
    MIRRORED = "mirrored left to right"
    MIRRORED_CLOCKWISE = "mirrored left to right, then turned 90° clockwise"
    FLIPPED = "mirrored top to bottom"
    MIRRORED_ANTICLOCKWISE = "mirrored left to right, then turned 90° anticlockwise"

    @property
    def is_mirrored(self) -> bool:
        """Whether left and right are exchanged, however it is turned."""
        return self in MIRRORS

    @property
    def quarters(self) -> int:
        """Clockwise quarter turns that follow the mirror, if there is one."""
        return QUARTERS[self]

    def matrix(self) -> Matrix:
        """Return the turn and mirror about the origin, 3 x 3, for x to the right and y down."""
        cos, sin = [(1, 0), (0, 1), (-1, 0), (0, -1)][self.quarters]
        turned = np.array([[cos, -sin, 0.0], [sin, cos, 0.0], [0.0, 0.0, 1.0]])
        if self.is_mirrored:
            turned = turned @ np.diag([-1.0, 1.0, 1.0])
        return turned

    def undo(self) -> Turn:
        """Return what brings a picture back that this was done to."""
        return self if self.is_mirrored else _BY_QUARTERS[(-self.quarters) % 4]


MIRRORS = frozenset(
    {Turn.MIRRORED, Turn.MIRRORED_CLOCKWISE, Turn.FLIPPED, Turn.MIRRORED_ANTICLOCKWISE}
)
QUARTERS = {
    Turn.NONE: 0,
    Turn.CLOCKWISE: 1,
    Turn.HALF: 2,
    Turn.ANTICLOCKWISE: 3,
    Turn.MIRRORED: 0,
    Turn.MIRRORED_CLOCKWISE: 1,
    Turn.FLIPPED: 2,
    Turn.MIRRORED_ANTICLOCKWISE: 3,
}
_BY_QUARTERS = {0: Turn.NONE, 1: Turn.CLOCKWISE, 2: Turn.HALF, 3: Turn.ANTICLOCKWISE}


def apply_turn(pixels: np.ndarray, turn: Turn) -> np.ndarray:
    """Turn and mirror an array, (rows, columns[, channels]); a view, nothing is copied.

    >>> apply_turn(np.array([[1, 2], [3, 4]]), Turn.CLOCKWISE).tolist()
    [[3, 1], [4, 2]]
    >>> apply_turn(np.array([[1, 2], [3, 4]]), Turn.MIRRORED).tolist()
    [[2, 1], [4, 3]]
    """
    first = pixels[:, ::-1] if turn.is_mirrored else pixels
    return np.rot90(first, -turn.quarters)


class Answer(StrEnum):
    """Whether a turn could be told, and how clearly."""

    CLEAR = "clear"
    LIKELY = "likely"
    CANNOT_TELL = "cannot_tell"


@dataclass(frozen=True, slots=True, kw_only=True)
class Orientation:
    """What was done to the picture, as far as it can be told.

    Attributes:
        turn: What was done to it; None if it cannot be told.
        correlation: Of the best way round with the reference, -1 to 1.
        margin: Lead of the best over the next, in correlation.
        reason: Why it cannot be told; empty if it can.
    """

    answer: Answer
    turn: Turn | None
    correlation: float
    margin: float
    reason: str


def find_turn(
    reference: Picture, picture: Picture, *, limits: Limits, alignment: AlignmentLimits
) -> Orientation:
    """Find which turn or mirror was done to a picture of the same face as the reference.

    Args:
        reference: A picture of the whole face, the right way round.
        picture: A picture of the whole face, perhaps turned or mirrored, in any light.
    """
    plane = Plane(reference)
    whole = max(reference.width_px, reference.height_px) / max(picture.width_px, picture.height_px)
    fits = {turn: _fit(plane, picture, turn, whole) for turn in Turn}
    ordered = sorted(fits, key=lambda turn: -fits[turn])
    best, second = ordered[0], ordered[1]
    correlation, margin = fits[best], fits[best] - fits[second]
    if correlation >= limits.least_correlation and margin >= limits.clear_margin:
        return Orientation(
            answer=Answer.CLEAR, turn=best, correlation=correlation, margin=margin, reason=""
        )
    believed = [
        turn
        for turn in ordered[:MOST_ALIGNED]
        if fits[turn] >= limits.worth_aligning
        and _aligns(reference, picture, turn, alignment=alignment)
    ]
    if len(believed) == 1:
        named = believed[0]
        others = max(fits[turn] for turn in Turn if turn is not named)
        return Orientation(
            answer=Answer.LIKELY,
            turn=named,
            correlation=fits[named],
            margin=fits[named] - others,
            reason="",
        )
    why = "it fits no way round" if not believed else "it fits more than one way round equally well"
    return Orientation(
        answer=Answer.CANNOT_TELL,
        turn=None,
        correlation=correlation,
        margin=margin,
        reason=f"The picture was laid over its reference in all eight turns and mirrors; {why}.",
    )


def _fit(plane: Plane, picture: Picture, turn: Turn, whole: float) -> float:
    """Best correlation of the picture with what `turn` did undone, over scales and shifts."""
    best = -1.0
    for step in STEPS:
        scale = whole * step * float(plane.to_small[0, 0])
        values, inside, _ = placed(picture, turn.undo().matrix(), scale)
        if max(values.shape) <= plane.side:
            best = max(best, plane.correlate(values, inside, LEAST_OVERLAP)[0])
    return best


def _aligns(
    reference: Picture, picture: Picture, turn: Turn, *, alignment: AlignmentLimits
) -> bool:
    upright = finished(
        np.ascontiguousarray(apply_turn(picture.reduced(ALIGNED_PX)[0], turn.undo()))
    )
    fixed = finished(reference.reduced(ALIGNED_PX)[0])
    found = align(fixed, upright, limits=alignment)
    if found.verdict is not Verdict.ALIGNED or found.matrix is None:
        return False
    inner = found.matrix[:2, :2]
    angle = abs(float(np.degrees(np.arctan2(inner[1, 0] - inner[0, 1], inner[0, 0] + inner[1, 1]))))
    return bool(np.linalg.det(inner) > 0 and angle < 45)
