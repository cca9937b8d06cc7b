"""Does a frame in ultraviolet or raking light surely show another object than its line's? Pure.

The structure of the frame's pattern is held against the reference of the face, and only if it does
not fit that, against those of other objects, front and back. Without a reference of its own nothing
is said.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from imaging_requests.imaging.likeness.pattern import Grey
from imaging_requests.imaging.likeness.structure import Structure, structure_likeness
from imaging_requests.imaging.recognition import (
    Recognised,
    StructureLimits,
    judge_structure,
    kind_of,
)

LIGHTS = ("UV", "RK")
AS_LARGE = (1.0,)
SIDE_WORDS = {"F": "front", "B": "back"}


class Strangers:
    """The structure of known faces by object and face, also of those that are kept as tiles."""

    def __init__(
        self, faces: Mapping[tuple[int, str], Structure], limits: Mapping[str, StructureLimits]
    ) -> None:
        self.faces, self.limits = faces, limits

    def names_other(
        self, pattern: Grey | None, object_id: int, *, face: str, technique: str
    ) -> tuple[int, str] | None:
        """Return another face that a frame surely shows as a whole, by object and side, if so.

        Both sides of every other object are looked at, and the other side of its own: which side
        lay before the camera is as doubtful as which object.
        """
        own_face = self.faces.get((object_id, face))
        if pattern is None or technique not in LIGHTS or own_face is None:
            return None
        limits = self._limits(technique, face)
        seen = Structure(pattern)
        at_once = structure_likeness(seen, own_face, sizes=AS_LARGE)
        if at_once is None or at_once >= limits.not_own:
            return None
        own = structure_likeness(seen, own_face)
        named: dict[tuple[int, str], float] = {}
        for side in sorted({each for _, each in self.faces}):
            likes = {
                f"{pk}": like
                for (pk, of_side), known in self.faces.items()
                if of_side == side
                and (pk, side) != (object_id, face)
                and (like := structure_likeness(seen, known)) is not None
            }
            found = judge_structure(own, likes, self._for_side(limits, technique, face, side))
            if found.verdict is Recognised.FAIL and found.best_other is not None:
                named[int(found.other), side] = found.best_other
        return max(named, key=lambda key: named[key], default=None)

    def _limits(self, technique: str, face: str) -> StructureLimits:
        return self.limits[kind_of(technique, face, is_tiled=False)]

    def _for_side(
        self, own: StructureLimits, technique: str, face: str, side: str
    ) -> StructureLimits:
        """Return the limits for one side of others; that of a back is strict among backs only.

        Backs are so like each other that only a very good fit names one of them. A front and a
        back are not: there the limits of fronts tell.
        """
        if side == face:
            return own
        front = self._limits(technique, "F")
        return replace(own, other_surely=front.other_surely, other_lead=front.other_lead)
