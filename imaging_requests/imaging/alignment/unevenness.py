"""Does one map hold everywhere? A bent picture, a part that moved, another picture in a frame.

The parts are looked for around the place where a map puts them, and three questions are asked.
Does a smooth field, cubic in x and y as a lens leaves it, foretell where held-out parts lie better
than the map does? Then the pictures are bent against each other and the error grows towards the
rim. Do neighbours lie together at another place? Then a part of the picture moved, and one map is
wrong for it. Do the parts around the middle agree and those in the middle not, although both
pictures show something there? Then they share a frame and not a picture.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import comb

import numpy as np
from numpy.typing import NDArray

from .blocks import BLOCK_PX, CELLS, Matches
from .evidence import FOLDS, folds_of
from .limits import Limits
from .matrices import Matrix, Points, apply, inverse
from .rivals import standard_errors

Size = tuple[int, int]
Mask = NDArray[np.bool_]

TERMS = 10
GRID_PLACES = 17
NEIGHBOUR_CELLS = 2
FIT_TURNS = 6
#: A departure beyond so many median departures has no weight in a field.
CUT_MEDIANS = 4.0
#: Middle windows that are looked at, shares of the width and height of what both show.
MIDDLES = (0.25, 0.34, 0.45, 0.55, 0.64)


@dataclass(frozen=True, slots=True, eq=False)
class Bend:
    """How a smooth field departs from the map.

    Attributes:
        px: The largest departure on what both pictures show, px of the reference; 0 if held-out
            parts do not show any.
        place: Where, in words.
        parts: (n, 2) where each part was found, away from where the map puts it, px of the level.
        at_parts: (n, 2) what of that the field explains.
    """

    px: float
    place: str
    parts: Points
    at_parts: Points


def bend_of(
    matches: Matches, reference: Size, moving: Size, matrix: Matrix, limits: Limits
) -> Bend:
    """Return how far the pictures are bent against each other."""
    offset = departures(matches, matrix)
    none = Bend(0.0, "", offset, np.zeros_like(offset))
    at = _normalised(matches.reference, reference)
    folds = folds_of(matches.cell)
    held = np.zeros_like(offset)
    for fold in range(FOLDS):
        kept = folds != fold
        if int(kept.sum()) < 2 * TERMS:
            return none
        held[~kept] = _basis(at[~kept]) @ _robust_field(at[kept], offset[kept])
    most = (matches.surfaces.shape[1] - 1) / 2
    plain = np.minimum(np.linalg.norm(offset, axis=1), most)
    bent = np.minimum(np.linalg.norm(offset - held, axis=1), most)
    if standard_errors(plain - bent, shared_of(matches, reference)) < limits.bend_evidence:
        return none
    field = _robust_field(at, offset)
    places = _shown_places(at, reference, moving, matrix)
    if len(places) == 0:
        return none
    away = np.linalg.norm(_basis(places) @ field, axis=1)
    worst = int(np.argmax(away))
    return Bend(
        float(away[worst]) * matches.level_px,
        place_words(float(places[worst, 0]), float(places[worst, 1])),
        offset,
        _basis(at) @ field,
    )


def departures(matches: Matches, matrix: Matrix) -> Points:
    """How far each part was found from where a map puts it, (n, 2) px of the level."""
    return (apply(matrix, matches.moving) - matches.reference) / matches.level_px


def shared_of(matches: Matches, reference: Size) -> float:
    """How many times the same px are seen by neighbouring parts, 1 or more."""
    return max(1.0, BLOCK_PX * CELLS * matches.level_px / max(reference)) ** 2


def _shown_places(at: Points, reference: Size, moving: Size, matrix: Matrix) -> Points:
    """Places of a grid that both show, no further than a cell beyond the parts; -1 to 1."""
    x, y = np.meshgrid(*(2 * [np.linspace(-1, 1, GRID_PLACES)]))
    places = np.stack((x.ravel(), y.ravel()), axis=1)
    half = np.array([(reference[0] - 1) / 2, (reference[1] - 1) / 2])
    there = apply(inverse(matrix), (places + 1) * half)
    cell = 2 / CELLS * max(reference) / np.array(reference)
    inside = np.all((there >= -1) & (there <= np.array(moving)), axis=1)
    near = np.all((places >= at.min(axis=0) - cell) & (places <= at.max(axis=0) + cell), axis=1)
    return np.asarray(places[inside & near], np.float64)


def _normalised(points: Points, size: Size) -> Points:
    half = np.array([(size[0] - 1) / 2, (size[1] - 1) / 2])
    return np.asarray(points / half - 1, np.float64)


def _basis(at: Points) -> NDArray[np.float64]:
    """The ten terms of a polynomial of third degree at places (n, 2), -1 to 1."""
    x, y = at.T
    return np.stack([x**i * y**j for i in range(4) for j in range(4 - i)], axis=1)


def _robust_field(at: Points, offset: Points) -> NDArray[np.float64]:
    """Fit a field, (terms, 2); parts that lie far from it lose their weight."""
    basis = _basis(at)
    weights = np.ones(len(at))
    field: NDArray[np.float64] = np.zeros((TERMS, 2))
    for _ in range(FIT_TURNS):
        root = np.sqrt(weights)[:, None]
        field = np.asarray(np.linalg.lstsq(basis * root, offset * root, rcond=1e-6)[0], np.float64)
        away = np.linalg.norm(offset - basis @ field, axis=1)
        ratio = away / max(CUT_MEDIANS * float(np.median(away)), 0.5)
        weights = np.where(ratio < 1, (1 - ratio**2) ** 2, 0.0)
    return field


def moved_part(
    wide: Matches, bend: Bend, near_px: float, limits: Limits
) -> tuple[str, float] | None:
    """Return where a part of the picture lies elsewhere, and how far, px of the reference.

    A part found away from its place counts if enough of its neighbours are away alike; by chance
    two of them are so with the area of agreement over the area of the search.

    Args:
        wide: Parts looked for in a wide search.
        bend: What a smooth field explains already.
        near_px: Error of the map that is reported anyway, px of the level.
    """
    rest = bend.parts - bend.at_parts
    reach = limits.agree_px
    is_away = np.linalg.norm(rest, axis=1) > max(2 * reach, 2 * near_px)
    cell = wide.cell
    near = np.abs(cell[:, None, :] - cell[None, :, :]).max(axis=2) <= NEIGHBOUR_CELLS
    alike = np.linalg.norm(rest[:, None, :] - rest[None, :, :], axis=2) <= 1.5 * reach
    count = (near & alike & is_away[None, :]).sum(axis=1)
    of = near.sum(axis=1)
    group = is_away & (count >= np.maximum(limits.moved_parts, limits.moved_share * of))
    if group.sum() < limits.least_parts:
        return None
    low, high = cell.min(axis=0), cell.max(axis=0)
    middle = 2 * (cell[group].mean(axis=0) - low) / np.maximum(high - low, 1) - 1
    away = float(np.median(np.linalg.norm(rest[group], axis=1))) * wide.level_px
    return place_words(2 * float(middle[0]), 2 * float(middle[1])), away


def is_only_around(agrees: Mask, matches: Matches, shared: float, limits: Limits) -> bool:
    """Whether parts agree around the middle and, against all odds, not within it.

    Windows about the middle are tried, from small to large. The hits in one are expected with a
    share of the rate outside; the question is asked only of parts where the moving picture shows
    structure as it does elsewhere.
    """
    typical = float(np.median(matches.structure)) if len(matches) else 0.0
    asked = matches.structure >= limits.structure_share * typical
    cell = matches.cell.astype(np.float64)
    low, high = cell.min(axis=0), cell.max(axis=0)
    from_middle = np.abs(cell - (low + high) / 2)
    for share in MIDDLES:
        inner = asked & np.all(from_middle <= share * (high - low) / 2 + 0.25, axis=1)
        outer = asked & ~np.all(from_middle <= share * (high - low) / 2 + 1.25, axis=1)
        if not inner.any() or not outer.any():
            continue
        rate = limits.middle_rate * float(agrees[outer].mean())
        count, hits = round(inner.sum() / shared), round((agrees & inner).sum() / shared)
        if _at_most(hits, count, rate) < 10**-limits.least_absence:
            return True
    return False


def _at_most(hits: int, count: int, rate: float) -> float:
    """Probability of at most so many hits.

    >>> round(_at_most(1, 3, 0.5), 3)
    0.5
    """
    return float(sum(comb(count, k) * rate**k * (1 - rate) ** (count - k) for k in range(hits + 1)))


def place_words(x: float, y: float) -> str:
    """Name a place, -1 to 1 from left to right and from top to bottom.

    >>> place_words(0.9, -0.8), place_words(0.1, 0.7), place_words(0, 0)
    ('at the upper right', 'at the bottom', 'in the middle')
    """
    across = "left" if x < -0.4 else "right" if x > 0.4 else ""
    if y < -0.4:
        return f"at the upper {across}" if across else "at the top"
    if y > 0.4:
        return f"at the lower {across}" if across else "at the bottom"
    return f"at the {across}" if across else "in the middle"
