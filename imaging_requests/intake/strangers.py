"""Does a frame in ultraviolet or raking light surely show another object than its line's? Pure.

The structure of the frame's pattern is held against the reference of the face, and only if it does
not fit that, against those of other objects. Without a reference of its own nothing is said.
"""

from __future__ import annotations

from collections.abc import Mapping

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


class Strangers:
    """Reference patterns by object and face, described when they are first needed."""

    def __init__(
        self, references: Mapping[tuple[int, str], Grey], limits: Mapping[str, StructureLimits]
    ) -> None:
        self.references, self.limits = references, limits
        self._described: dict[tuple[int, str], Structure] = {}

    def names_other(
        self, pattern: Grey | None, object_id: int, *, face: str, technique: str
    ) -> int | None:
        """Return another object whose face a frame surely shows as a whole, if it is so."""
        if pattern is None or technique not in LIGHTS or (object_id, face) not in self.references:
            return None
        limits = self.limits[kind_of(technique, face, is_tiled=False)]
        seen, own_face = Structure(pattern), self._face(object_id, face)
        at_once = structure_likeness(seen, own_face, sizes=AS_LARGE)
        if at_once is None or at_once >= limits.not_own:
            return None
        own = structure_likeness(seen, own_face)
        likes = {
            str(pk): like
            for pk, side in self.references
            if side == face
            and pk != object_id
            and (like := structure_likeness(seen, self._face(pk, face))) is not None
        }
        found = judge_structure(own, likes, limits)
        return int(found.other) if found.verdict is Recognised.FAIL else None

    def _face(self, object_id: int, face: str) -> Structure:
        if (object_id, face) not in self._described:
            self._described[object_id, face] = Structure(self.references[object_id, face])
        return self._described[object_id, face]
