"""Lay one picture over another: a map with the error to be expected, or a reasoned refusal.

First guesses at small size, then parts of the reference are found again in the moving picture at
growing sizes, and each time a map is fitted robustly. What decides is measured on parts that were
held out of the fit. A picture of something else gives no map.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass
from enum import StrEnum
from math import exp, lgamma, log

import cv2
import numpy as np
from numpy.typing import NDArray

from .blocks import BLOCK_PX, CELLS, Matcher, Matches, Part, choose_parts
from .doubts import look_once_more
from .evidence import Judged, choose, climb, robust_fit
from .limits import Limits
from .matrices import (
    Matrix,
    Model,
    Points,
    apply,
    corner_errors,
    corners,
    normalise,
)
from .pictures import Picture
from .starts import (
    Plane,
    Start,
    expected_scales,
    feature_starts,
    grid_starts,
    spectrum_starts,
)

FIRST_PX = 400
WIDE_SEARCH_PX = 12
SEARCH_PX = 6
ROUNDS = 8
SETTLED_PX = 0.25
#: Spread of a richer model from which on it has no share in the map, px of the level.
MOST_SPREAD = 2.0
#: Enough at the first level, since the next one looks again.
WHOLE_PX = 1.0
#: First guesses whose corners lie within this share of the reference lead to the same place.
SAME_START_SHARE = 0.025
#: Share of agreeing parts below which further rounds lead nowhere.
HOPELESS_SHARE = 0.1
#: A finer level is looked at if the error to be expected is less than this share of the search.
REACH_SHARE = 0.9
#: How many parts decide in the wide search whether a first guess is followed.
SOME_PARTS = 64
#: Share of parts that must agree in the wide search, where chance alone gives about 0.06.
FIRST_SHARE = 0.14


class Verdict(StrEnum):
    """Whether a map was found."""

    ALIGNED = "aligned"
    CANNOT_TELL = "cannot_tell"


@dataclass(frozen=True, kw_only=True, eq=False)
class Alignment:
    """What was found.

    Attributes:
        matrix: Maps moving (x, y, 1) px to reference px; None if it cannot be told.
        residual_px: Error to be expected at the worst corner, px of the reference.
        held_out_px: Median distance of parts that agree, measured while held out.
        agreeing: Share of the parts looked for that agree with the map while held out.
        parts: How many parts were looked for.
        middle_evidence: How unlikely so many agreeing parts in the middle are by chance, as the
            negative decimal logarithm of the probability.
        reason: Why it cannot be told; empty if it can.
        found_by: Which first guess led here.
        bend_px: How far the pictures are bent against each other at worst, px of the reference;
            part of `residual_px`. 0 if the parts show no bend.
        bend_place: Where, in words.
    """

    verdict: Verdict
    matrix: Matrix | None
    model: Model | None
    residual_px: float | None
    held_out_px: float | None
    agreeing: float
    parts: int
    middle_evidence: float
    reason: str
    found_by: str
    bend_px: float = 0.0
    bend_place: str = ""


@dataclass(frozen=True, eq=False)
class _Fitted:
    """A map as far as it has come."""

    judged: Judged
    matches: Matches
    agreeing: float
    held_out_px: float
    middle_evidence: float
    residual_px: float
    start: Start


def align(
    reference: Picture,
    moving: Picture,
    *,
    limits: Limits,
    scale_hint: float | None = None,
) -> Alignment:
    """Find the map from moving px to reference px.

    Args:
        scale_hint: Expected reference px over moving px, if the densities are known.
    """
    parts = choose_parts(reference)
    best: _Fitted | None = None
    tried: list[Matrix] = []
    near = SAME_START_SHARE * max(reference.width_px, reference.height_px)
    size = (moving.width_px, moving.height_px)
    for start in _starts(reference, moving, scale_hint):
        if any(float(corner_errors(start.matrix, one, *size).max()) < near for one in tried):
            continue
        tried.append(start.matrix)
        fitted = _refine(reference, moving, parts, start, limits, coarse_only=True)
        if fitted is not None and (best is None or fitted.agreeing > best.agreeing):
            best = fitted
            tried.append(fitted.judged.matrix)
        if best is not None and _is_sure(best, limits):
            break
    if best is None or not _is_believable(best, limits):
        return _refusal(best, limits, len(parts))
    return _answer(reference, moving, parts, best, limits)


def _answer(
    reference: Picture, moving: Picture, parts: list[Part], best: _Fitted, limits: Limits
) -> Alignment:
    """Refine a map, look once more for what may be wrong with it, and believe it or not."""
    for attempt in range(2):
        refined = _refine(
            reference, moving, parts, best.start, limits, coarse_only=False, from_=best
        )
        best = refined or best
        if not _is_believable(best, limits):
            return _refusal(best, limits, len(parts))
        doubts = look_once_more(
            reference,
            moving,
            parts,
            best.judged.matrix,
            best.matches,
            best.residual_px,
            level=reference.level_for(FIRST_PX),
            limits=limits,
        )
        if doubts.better is None or attempt > 0:
            break
        start = Start(doubts.better, 0.0, "repeat")
        again = _refine(reference, moving, parts, start, limits, coarse_only=True)
        if again is None:
            break
        best = again
    if doubts.reason:
        return _refusal(best, limits, len(parts), doubts.reason)
    return Alignment(
        verdict=Verdict.ALIGNED,
        matrix=normalise(best.judged.matrix),
        model=best.judged.model,
        residual_px=float(np.hypot(best.residual_px, doubts.bend_px)),
        held_out_px=best.held_out_px,
        agreeing=best.agreeing,
        parts=best.matches.asked,
        middle_evidence=best.middle_evidence,
        reason="",
        found_by=best.start.found_by,
        bend_px=doubts.bend_px,
        bend_place=doubts.bend_place,
    )


def _starts(reference: Picture, moving: Picture, hint: float | None) -> Iterator[Start]:
    plane = Plane(reference)
    scales = expected_scales(reference, moving, hint)
    yield from grid_starts(plane, moving, scales=scales, turns_deg=[0.0], steps=[1.0], keep=1)
    yield from grid_starts(plane, moving, scales=scales)
    for on_slopes in (True, False):
        yield from feature_starts(reference, moving, on_slopes=on_slopes)
    yield from spectrum_starts(plane, reference, moving)


def _refine(
    reference: Picture,
    moving: Picture,
    parts: list[Part],
    start: Start,
    limits: Limits,
    *,
    coarse_only: bool,
    from_: _Fitted | None = None,
) -> _Fitted | None:
    matrix = start.matrix if from_ is None else from_.judged.matrix
    if not _is_sane(matrix, reference, moving, limits):
        return None
    first = reference.level_for(FIRST_PX)
    if from_ is None:
        some = parts[:: 1 + len(parts) // SOME_PARTS]
        wide = Matcher(reference, moving, some, level=first, search_px=WIDE_SEARCH_PX)
        guess = _first_fit(wide.match(matrix), matrix)
        if guess is None:
            return None
        matcher = Matcher(reference, moving, parts, level=first, search_px=SEARCH_PX)
        from_ = _settle(matcher, reference, moving, guess, start, limits, is_first=True)
    if from_ is None or coarse_only:
        return from_
    return _finer(reference, moving, parts, from_, limits)


def _finer(
    reference: Picture, moving: Picture, parts: list[Part], best: _Fitted, limits: Limits
) -> _Fitted:
    """Look more finely, at once as finely as pays if the map is sure enough, else step by step."""
    finest = _finest(reference, best.judged.matrix, limits)
    now = reference.level_for(FIRST_PX)
    near = REACH_SHARE * SEARCH_PX
    level = finest
    while level < now:
        matcher = Matcher(reference, moving, parts, level=level, search_px=SEARCH_PX)
        if level < now - 1 and best.residual_px > near * matcher.level_px:
            level += 1
            continue
        fitted = _settle(
            matcher, reference, moving, best.judged.matrix, best.start, limits, is_first=False
        )
        if fitted is None or not _is_better(fitted, best):
            level += 1
            continue
        best, now, level = fitted, level, finest
    return best


def _settle(
    matcher: Matcher,
    reference: Picture,
    moving: Picture,
    matrix: Matrix,
    start: Start,
    limits: Limits,
    *,
    is_first: bool,
) -> _Fitted | None:
    """Match and fit at one level until the map stays where it is, then choose its model."""
    size = (moving.width_px, moving.height_px)
    spacing = max(reference.width_px, reference.height_px) / matcher.level_px / CELLS
    shared = max(1.0, BLOCK_PX / spacing) ** 2
    model = Model.AFFINE if np.allclose(matrix[2, :2], 0, atol=1e-12) else Model.HOMOGRAPHY
    fitted: _Fitted | None = None
    moved = np.inf
    for turn in range(ROUNDS):
        matches = matcher.match(matrix, is_first=turn == 0)
        if len(matches) < limits.least_parts:
            return None
        climbed = climb(model, matches, matrix)
        if climbed is None or not _is_sane(climbed, reference, moving, limits):
            return None
        moved = float(corner_errors(climbed, matrix, *size).max()) / matcher.level_px
        enough = WHOLE_PX if is_first else SETTLED_PX
        if turn == 0 or (moved >= enough and turn < ROUNDS - 2):
            matrix = climbed
            continue
        judged = choose(
            matches,
            matrix,
            size=size,
            models=tuple(Model),
            shared=shared,
            most_spread_px=MOST_SPREAD * matcher.level_px,
        )
        if judged is None or not _is_sane(judged.matrix, reference, moving, limits):
            return None
        moved = float(corner_errors(judged.reached, matrix, *size).max()) / matcher.level_px
        matrix, model = judged.matrix, judged.climbed
        fitted = _fitted(judged, matches, start, limits, shared)
        if moved < enough or fitted.agreeing < HOPELESS_SHARE:
            break
    return fitted if moved <= limits.agree_px else None


def _first_fit(matches: Matches, matrix: Matrix) -> Matrix | None:
    """Fit a similarity to the parts found in a wide search, many of them false."""
    if len(matches) < 6:
        return None
    reach = 2.5 * matches.level_px
    found, kept = cv2.estimateAffinePartial2D(
        apply(matrix, matches.moving),
        matches.reference,
        method=cv2.RANSAC,
        ransacReprojThreshold=reach,
        maxIters=3000,
    )
    if found is None or int(kept.sum()) < max(6, FIRST_SHARE * len(matches)):
        return None
    inside = kept.ravel() > 0
    step = np.vstack((found, [0, 0, 1]))
    if int(inside.sum()) > 2 * Model.AFFINE.parameters:
        with suppress(ValueError, np.linalg.LinAlgError):
            step, _ = robust_fit(
                Model.AFFINE,
                apply(matrix, matches.moving)[inside],
                matches.reference[inside],
                step,
                least_sigma=0.5 * matches.level_px,
            )
    return normalise(step @ matrix)


def _fitted(
    judged: Judged, matches: Matches, start: Start, limits: Limits, shared: float
) -> _Fitted:
    agrees = judged.held_out_px <= limits.agree_px * matches.level_px
    held = judged.held_out_px[agrees]
    median = float(np.median(held)) if len(held) else np.inf
    residual = float(
        np.linalg.norm(
            (
                limits.spread_factor * judged.spread_px,
                limits.held_out_share * median,
                limits.floor_px * matches.level_px,
            )
        )
    )
    share = float(agrees.sum()) / max(1, matches.asked)
    middle = _middle_evidence(matches, agrees, limits, shared)
    return _Fitted(judged, matches, share, median, middle, residual, start)


def _middle_evidence(
    matches: Matches, agrees: NDArray[np.bool_], limits: Limits, shared: float
) -> float:
    """How unlikely the agreement in the middle of the shared area is, if the map were false.

    The rim does not count: two pictures of a studio share frame, ground and target strip. A part
    of another picture finds its best place anywhere in the search, so it agrees with chance p, the
    area of agreement over the area of the search; the number that agree is then binomial. Parts
    that see the same px count as one.
    """
    cell = matches.cell.astype(np.float64)
    low, high = cell.min(axis=0), cell.max(axis=0)
    half = limits.middle_share * (high - low) / 2
    inner = np.all(np.abs(cell - (low + high) / 2) <= half + 1e-9, axis=1)
    side = matches.surfaces.shape[1]
    chance = np.pi * limits.agree_px**2 / side**2
    count, hits = int(inner.sum() / shared), int((agrees & inner).sum() / shared)
    return _binomial_evidence(hits, count, chance)


def _binomial_evidence(hits: int, count: int, chance: float) -> float:
    """Return -log10 of the probability of at least so many hits.

    >>> round(_binomial_evidence(1, 1, 0.1), 6), round(_binomial_evidence(2, 3, 0.1), 3)
    (1.0, 1.553)
    """
    if hits <= count * chance:
        return 0.0
    logs = [
        lgamma(count + 1)
        - lgamma(k + 1)
        - lgamma(count - k + 1)
        + k * log(chance)
        + (count - k) * log(1 - chance)
        for k in range(hits, count + 1)
    ]
    top = max(logs)
    return -(top + log(sum(exp(each - top) for each in logs))) / log(10)


def _is_better(new: _Fitted, old: _Fitted) -> bool:
    """Whether a finer level still sees what the coarser one saw."""
    return new.agreeing >= 0.6 * old.agreeing and new.residual_px < 1.5 * old.residual_px + (
        old.matches.level_px
    )


def _is_sure(fitted: _Fitted, limits: Limits) -> bool:
    return fitted.agreeing >= 2 * limits.least_share and _is_believable(fitted, limits)


def _is_believable(fitted: _Fitted, limits: Limits) -> bool:
    return (
        fitted.agreeing >= limits.least_share
        and fitted.middle_evidence >= limits.least_middle_evidence
        and fitted.agreeing * fitted.matches.asked >= limits.least_parts
    )


def _refusal(best: _Fitted | None, limits: Limits, parts: int, reason: str = "") -> Alignment:
    asked = parts if best is None else best.matches.asked
    return Alignment(
        verdict=Verdict.CANNOT_TELL,
        matrix=None,
        model=None,
        residual_px=None,
        held_out_px=None,
        agreeing=0.0 if best is None else best.agreeing,
        parts=asked,
        middle_evidence=0.0 if best is None else best.middle_evidence,
        reason=reason or _reason(best, limits, asked),
        found_by="",
    )


def _reason(best: _Fitted | None, limits: Limits, asked: int) -> str:
    next_step = (
        "They may show different things, or one of them hardly anything. Look whether both are "
        "of the same face; if they are, mark corresponding points by hand."
    )
    if asked < limits.least_parts:
        return (
            f"Only {asked} parts of the reference hold enough structure to be looked for; at "
            f"least {limits.least_parts} are needed. {next_step}"
        )
    if best is None:
        return f"No place was found at which the two pictures share structure. {next_step}"
    agreeing = round(best.agreeing * asked)
    if best.agreeing < limits.least_share or agreeing < limits.least_parts:
        return (
            f"Of {asked} parts of the reference only {agreeing} lie where the best map puts "
            f"them; {limits.least_share:.0%} and {limits.least_parts} parts are needed. {next_step}"
        )
    return (
        "The two pictures agree along their rim, where frame, ground and target lie, but not in "
        f"the middle. {next_step}"
    )


def _finest(reference: Picture, matrix: Matrix, limits: Limits) -> int:
    """Return the finest level that both pictures resolve and that is worth its cost."""
    scale = float(np.sqrt(abs(np.linalg.det(matrix[:2, :2]))))
    level = max(0, round(float(np.log2(max(scale, 1e-6))) - 0.1))
    return max(level, reference.level_for(limits.finest_px))


def _is_sane(matrix: Matrix, reference: Picture, moving: Picture, limits: Limits) -> bool:
    """Whether a map keeps the picture in shape, unfolded, and over the reference."""
    if not np.all(np.isfinite(matrix)):
        return False
    at = corners(moving.width_px, moving.height_px)
    third = at @ matrix[2, :2] + matrix[2, 2]
    if third.min() <= 0.2 * third.max():
        return False
    mapped = apply(matrix, at)
    area = _area(mapped)
    scale = np.sqrt(abs(area) / (moving.width_px * moving.height_px))
    if area == 0 or not limits.scale_from <= scale <= limits.scale_to:
        return False
    box = corners(reference.width_px, reference.height_px)
    shared, _ = cv2.intersectConvexConvex(
        np.asarray(mapped, np.float32), np.asarray(box, np.float32)
    )
    smaller = min(abs(area), float(reference.width_px * reference.height_px))
    return bool(shared >= limits.least_overlap * smaller)


def _area(points: Points) -> float:
    x, y = points[:, 0], points[:, 1]
    return float(0.5 * np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y))
