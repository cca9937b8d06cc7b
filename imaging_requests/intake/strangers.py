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
    """The structure of known faces by object and face, also of those that are kept as tiles."""

    def __init__(
        self, faces: Mapping[tuple[int, str], Structure], limits: Mapping[str, StructureLimits]
    ) -> None:
        self.faces, self.limits = faces, limits

    def names_other(
        self, pattern: Grey | None, object_id: int, *, face: str, technique: str
    ) -> int | None:
        """Return another object whose face a frame surely shows as a whole, if it is so."""
        own_face = self.faces.get((object_id, face))
        if pattern is None or technique not in LIGHTS or own_face is None:
            return None
        limits = self.limits[kind_of(technique, face, is_tiled=False)]
        seen = Structure(pattern)
        at_once = structure_likeness(seen, own_face, sizes=AS_LARGE)
        if at_once is None or at_once >= limits.not_own:
            return None
        own = structure_likeness(seen, own_face)
        likes = {
            str(pk): like
            for (pk, side), known in self.faces.items()
            if side == face
            and pk != object_id
            and (like := structure_likeness(seen, known)) is not None
        }
        found = judge_structure(own, likes, limits)
        return int(found.other) if found.verdict is Recognised.FAIL else None
