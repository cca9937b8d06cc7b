"""What may be wrong with a map although many parts agree with it; asked once, at the end."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .blocks import Matcher, Matches, Part
from .limits import Limits
from .matrices import Matrix
from .pictures import Picture
from .rivals import strongest_rival
from .unevenness import Bend, bend_of, departures, is_only_around, moved_part, shared_of

WIDE_PX = 16
#: Share of agreeing parts from which on the whole picture fits, and not a piece of it.
WHOLE_SHARE = 0.75
BY_HAND = "Mark corresponding points by hand."


@dataclass(frozen=True, slots=True, eq=False)
class Doubts:
    """What a last look found.

    Attributes:
        bend_px: How far the pictures are bent against each other at worst, px of the reference.
        bend_place: Where, in words.
        reason: Why the map cannot be believed; empty if it can.
        better: A map that the parts prefer; None if there is none.
    """

    bend_px: float
    bend_place: str
    reason: str = ""
    better: Matrix | None = None


def look_once_more(
    reference: Picture,
    moving: Picture,
    parts: list[Part],
    matrix: Matrix,
    matches: Matches,
    residual_px: float,
    *,
    level: int,
    limits: Limits,
) -> Doubts:
    """Ask whether a map holds everywhere and nowhere else.

    Args:
        matches: What the map was made of.
        residual_px: Error that is reported for the map so far, px of the reference.
        level: At which the parts are looked for widely.
    """
    sizes = (reference.width_px, reference.height_px), (moving.width_px, moving.height_px)
    matcher = Matcher(
        reference, moving, parts, level=level, search_px=WIDE_PX, is_whole_search=False
    )
    wide = matcher.match(matrix)
    bend = bend_of(wide, *sizes, matrix, limits)
    worst = max(bend, _fine_bend(matches, wide, sizes, matrix, limits), key=lambda one: one.px)
    found = worst.px, worst.place
    uneven = _uneven(wide, bend, worst, residual_px, max(sizes[0]), limits)
    agrees = np.linalg.norm(departures(matches, matrix), axis=1) <= limits.agree_px
    rival = strongest_rival(reference, moving, parts, matrix, wide, level=level, limits=limits)
    if rival is not None and rival.lead < limits.rival_lead:
        repeats = (
            f"The picture fits nearly as well {rival.away_px:.0f} px away, as where a pattern "
            f"repeats itself. {BY_HAND}"
        )
        is_whole = float(agrees.mean()) >= WHOLE_SHARE
        is_better = rival.lead <= -limits.rival_lead
        return Doubts(
            *found,
            repeats if is_whole or not uneven else uneven,
            rival.matrix if is_better else None,
        )
    if is_only_around(agrees, matches, shared_of(matches, sizes[0]), limits):
        return Doubts(
            *found,
            "The two pictures agree around the middle, as in a shared frame, but show something "
            f"else within it. Look whether both are of the same face. {BY_HAND}",
        )
    return Doubts(*found, uneven)


def _uneven(
    wide: Matches, bend: Bend, worst: Bend, residual_px: float, longest_px: int, limits: Limits
) -> str:
    """Say that one map does not hold everywhere, and where; empty if it does."""
    if worst.px > limits.most_bend * longest_px:
        return (
            f"One map does not hold everywhere: the pictures are off by up to {worst.px:.0f} px "
            f"{worst.place}. A part may have moved, or the lens bends one of them. {BY_HAND}"
        )
    moved = moved_part(wide, bend, residual_px / wide.level_px, limits)
    if moved is None:
        return ""
    place, away_px = moved
    return (
        f"One map does not hold everywhere: a part {place} lies {away_px:.0f} px elsewhere. "
        f"{BY_HAND}"
    )


def _fine_bend(
    matches: Matches,
    wide: Matches,
    sizes: tuple[tuple[int, int], tuple[int, int]],
    matrix: Matrix,
    limits: Limits,
) -> Bend:
    """The bend that the parts show at a finer level than the wide search."""
    source = matches if matches.level_px < wide.level_px else wide
    return bend_of(source, *sizes, matrix, limits)
