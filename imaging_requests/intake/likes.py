"""What the pictures of frames say for or against the tiles of shot lines. Pure.

Three kinds of pictures are compared with, the surest first: frames that lie on the same tile of
the same line already (siblings), the reference of the object's face in the same kind of light, and
in other light. X-ray looks too different from anything but itself.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from imaging_requests.imaging.likeness.evidence import Levels, evidence
from imaging_requests.imaging.likeness.pattern import (
    STEADY,
    WHOLE,
    Grey,
    Region,
    Views,
    describe,
    likenesses,
    mirrored,
    tile_region,
    views,
)
from imaging_requests.intake.layout import AGAINST, Tile
from imaging_requests.intake.limits import PictureLimits
from imaging_requests.intake.sheets import LineSheet

VISIBLE = ("VF", "VC")
NOT_COMPARED = ("XR",)
SIBLINGS = 2
AS_IT_IS = ""
TURNS = {
    "mirrored left to right": mirrored,
    "upside down": lambda pattern: np.ascontiguousarray(np.rot90(pattern, 2)),
    "turned a quarter to the left": lambda pattern: np.ascontiguousarray(np.rot90(pattern)),
    "turned a quarter to the right": lambda pattern: np.ascontiguousarray(np.rot90(pattern, 3)),
    "mirrored top to bottom": lambda pattern: np.ascontiguousarray(pattern[::-1]),
}


@dataclass(frozen=True, slots=True)
class Said:
    """What one picture says: evidence by tile, the turn in which it fits, the likeness there."""

    by_tile: Mapping[Tile, float] = field(default_factory=dict)
    turn: str = AS_IT_IS
    best: float | None = None


class Pictures:
    """Reference patterns by object and face, and what likenesses are worth."""

    def __init__(self, references: Mapping[tuple[int, str], Grey], limits: PictureLimits) -> None:
        self.references, self.limits = references, limits
        self._views: dict[tuple[tuple[int, str], Region], Views] = {}

    def say(self, patterns: Mapping[int, Grey], lines: Sequence[LineSheet]) -> dict[int, Said]:
        """Compare frames with the references of lines; try turns where one fits nowhere as it is.

        A picture that fits in a turn only is laid out as if it were turned back, and says so. Only
        whole faces in visible light are turned: a tile shows too little to be sure. A back hardly
        differs from its mirrored self, so one that fits well is turned too while a turn can still
        fit so much better that it counts.
        """
        as_they_are = self._likes(patterns, lines)
        best = {pk: max(likes.values(), default=None) for pk, likes in as_they_are.items()}
        enough = max(self.limits.same.surely, 1 - self.limits.turned_lead)
        doubtful = {
            pk: pattern
            for pk, pattern in patterns.items()
            if (like := best[pk]) is not None and like < enough
        }
        turns = dict.fromkeys(patterns, AS_IT_IS)
        whole = [line for line in lines if line.technique in VISIBLE and line.grid.tiles == 1]
        for name, turned in TURNS.items() if doubtful else ():
            found = self._likes({pk: turned(each) for pk, each in doubtful.items()}, whole)
            for pk, likes in found.items():
                like = max(likes.values(), default=-1.0)
                needed = max(self.limits.same.surely, (best[pk] or 0) + self.limits.turned_lead)
                if like >= needed:
                    turns[pk], best[pk] = name, like
                    as_they_are[pk] |= likes
        by_line = {line.line_id: line for line in lines}
        return {
            pk: Said(self._weigh(likes, by_line), turns[pk], best[pk])
            for pk, likes in as_they_are.items()
        }

    def _weigh(
        self, likes: Mapping[Tile, float], lines: Mapping[int, LineSheet]
    ) -> dict[Tile, float]:
        """Turn likenesses into evidence; a tile that another outdoes by far is ruled out."""
        says = {tile: self._worth(like, lines[tile[0]]) for tile, like in likes.items()}
        outdone = max(says.values(), default=0.0) - self.limits.contradicts
        return {tile: AGAINST if each <= outdone else each for tile, each in says.items()}

    def _likes(
        self, patterns: Mapping[int, Grey], lines: Iterable[LineSheet]
    ) -> dict[int, dict[Tile, float]]:
        found: dict[int, dict[Tile, float]] = {pk: {} for pk in patterns}
        described = [describe(pattern) for pattern in patterns.values()]
        known: dict[tuple[tuple[int, str], Region], list[float]] = {}
        for line in lines:
            face = (line.object_id, line.face)
            if face not in self.references or line.is_detail or line.technique in NOT_COMPARED:
                continue
            for tile in tiles_of(line):
                grid = line.grid
                at = (face, tile_region(tile[2], tile[1], grid.across, grid.down, self._overlap))
                if at not in known:
                    known[at] = [float(like) for like in likenesses(described, self._seen(*at))]
                for pk, like in zip(patterns, known[at], strict=True):
                    if not math.isnan(like):
                        found[pk][tile] = like
        return found

    @property
    def _overlap(self) -> float:
        return self.limits.overlap

    def _seen(self, face: tuple[int, str], region: Region) -> Views:
        if (face, region) not in self._views:
            self._views[face, region] = views(self.references[face], region)
        return self._views[face, region]

    def _worth(self, like: float, line: LineSheet) -> float:
        is_visible = line.technique in VISIBLE
        return evidence(like, self.limits.same if is_visible else self.limits.other)

    def siblings(
        self,
        patterns: Mapping[int, Grey],
        siblings: Mapping[Tile, Sequence[Grey]],
        *,
        levels: Levels | None = None,
    ) -> dict[int, dict[Tile, float]]:
        """Say what frames of the same tile mean for each picture, tile by tile.

        They were taken in the same light unless other `levels` are given.
        """
        levels = levels or self.limits.sibling
        found: dict[int, dict[Tile, float]] = {pk: {} for pk in patterns}
        described = [describe(pattern) for pattern in patterns.values()]
        for tile, lying in siblings.items() if patterns else ():
            seen = np.concatenate([views(each, steps=STEADY) for each in lying[:SIBLINGS]])
            for pk, like in zip(patterns, likenesses(described, seen), strict=True):
                if not math.isnan(like):
                    found[pk][tile] = evidence(float(like), levels)
        return found

    def names_other(self, pattern: Grey | None, own: frozenset[int]) -> int | None:
        """Return another object whose face a picture surely shows as a whole, if it is so."""
        if pattern is None:
            return None
        described = [describe(pattern)]
        likes: dict[int, float] = {}
        for face in self.references:
            like = float(likenesses(described, self._seen(face, WHOLE))[0])
            if not math.isnan(like):
                likes[face[0]] = max(likes.get(face[0], -1.0), like)
        best = max(likes, key=lambda pk: likes[pk], default=None)
        if best is None or best in own or likes[best] < self.limits.same.surely:
            return None
        expected = max((likes[pk] for pk in own if pk in likes), default=-1.0)
        return best if likes[best] >= expected + self.limits.turned_lead else None


def tiles_of(line: LineSheet) -> list[Tile]:
    """Return the tiles that a line asks for."""
    return sorted({(line.line_id, spot.tile_y, spot.tile_x) for spot in line.expected})
