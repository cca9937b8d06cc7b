"""What a likeness says for or against a place, between −1 and 1.

A likeness (Pearson's r, see ``pattern``) is turned into evidence by three levels: at or above
``surely`` it is 1, at ``nothing`` it is 0, at or below ``against`` it is the lowest value, straight
lines between. The lowest value is −1 where the two pictures show the same thing in the same kind of
light, so that a picture which looks otherwise cannot belong there; under other light it is never
more than a doubt.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Levels:
    """Likenesses −1 to 1 in rising order; ``lowest``: the evidence at ``against``, −1 to 0."""

    against: float
    nothing: float
    surely: float
    lowest: float

    def __post_init__(self) -> None:
        if not self.against < self.nothing < self.surely or not -1 <= self.lowest <= 0:
            raise ValueError("Levels must rise, and the lowest evidence lies between -1 and 0.")


def evidence(likeness: float | None, levels: Levels) -> float:
    """Return what a likeness says, ``levels.lowest`` to 1; 0 if nothing could be compared.

    >>> levels = Levels(against=0.1, nothing=0.3, surely=0.7, lowest=-1.0)
    >>> [round(evidence(like, levels), 2) for like in (0.9, 0.5, 0.3, 0.2, -0.4, None)]
    [1.0, 0.5, 0.0, -0.5, -1.0, 0.0]
    """
    if likeness is None:
        return 0.0
    if likeness >= levels.nothing:
        return min(1.0, (likeness - levels.nothing) / (levels.surely - levels.nothing))
    share = (levels.nothing - likeness) / (levels.nothing - levels.against)
    return levels.lowest * min(1.0, share)
