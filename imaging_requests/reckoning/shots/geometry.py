"""How many frames cover a face: tiles, both orientations, empty tiles and near misses.

One axis: ``n(L, f) = 1 if L ≤ f else ceil((L − f) / step) + 1`` with
``step = f·(1 − overlap)`` for a camera field and ``step = f − overlap`` in millimetres for plates.
The quotient is rounded to 1e-9 before ``ceil``, so that 100 mm with a field of 60 mm and 20 mm
overlap is 2 and not 3 by an error of the last binary digit.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import partial

from imaging_requests.reckoning.shots.outline import Rectangle, touches

_DIGITS = 9


@dataclass(frozen=True, slots=True, kw_only=True)
class FrameShape:
    """What one frame can cover: pixels of a camera, or millimetres of a plate.

    ``size`` is across × down in the first of the two ``orientations``. For a camera the field is
    ``size / density``, each side cut to ``limit_mm``; a plate keeps its size at every density.
    """

    size: tuple[float, float]
    is_plate: bool
    overlap: float
    orientations: tuple[str, str] = ("landscape", "portrait")
    limit_mm: float = math.inf

    def fields_mm(self, px_per_mm: float) -> tuple[tuple[float, float], tuple[float, float]]:
        """The field across × down in both orientations."""
        scale = 1.0 if self.is_plate else px_per_mm
        across, down = (min(side / scale, self.limit_mm) for side in self.size)
        return (across, down), (down, across)

    def step_mm(self, field_mm: float) -> float:
        """How far neighbouring frames lie apart at the most."""
        return field_mm - self.overlap if self.is_plate else field_mm * (1 - self.overlap)


@dataclass(frozen=True, slots=True, kw_only=True)
class Tiling:
    """A tile plan: ``across`` × ``down`` fields, ``count`` of them needed, the rest ``empty``."""

    across: int
    down: int
    orientation: str
    field_mm: tuple[float, float]
    empty: tuple[tuple[int, int], ...] = ()

    @property
    def count(self) -> int:
        """Tiles to shoot."""
        return self.across * self.down - len(self.empty)


def tiles_along(length_mm: float, field_mm: float, step_mm: float) -> int:
    """Count the frames along one axis.

    Lengths in millimetres, all above zero. Raises ``ValueError`` if frames would not advance.

    >>> [tiles_along(length, 60, 40) for length in (60, 100, 101)]
    [1, 2, 3]
    """
    if step_mm <= 0:
        raise ValueError("The overlap is as large as the field: the frames would not advance.")
    if length_mm <= field_mm:
        return 1
    return math.ceil(round((length_mm - field_mm) / step_mm, _DIGITS)) + 1


def plan_tiles(
    width_mm: float,
    height_mm: float,
    *,
    frame: FrameShape,
    px_per_mm: float,
    outline_mm: Sequence[tuple[float, float]] = (),
) -> Tiling:
    """Choose the orientation that needs fewer frames; a tie goes to the first orientation.

    ``width_mm`` × ``height_mm`` is the area to cover, margins and target strip included.
    ``outline_mm`` is the outline of an irregular face in the same coordinates; tiles it does not
    touch are left out of the count.

    >>> bay = FrameShape(size=(11600, 8700), is_plate=False, overlap=0.2)
    >>> plan = plan_tiles(600, 1580, frame=bay, px_per_mm=12)
    >>> plan.across, plan.down, plan.orientation
    (1, 2, 'portrait')
    """
    plans = []
    for name, (across_mm, down_mm) in zip(
        frame.orientations, frame.fields_mm(px_per_mm), strict=True
    ):
        across = tiles_along(width_mm, across_mm, frame.step_mm(across_mm))
        down = tiles_along(height_mm, down_mm, frame.step_mm(down_mm))
        plan = Tiling(across=across, down=down, orientation=name, field_mm=(across_mm, down_mm))
        if outline_mm:
            plan = _without_empty(plan, width_mm, height_mm, outline_mm)
        plans.append(plan)
    return min(plans, key=lambda plan: plan.count)


def tile_rectangles(
    plan: Tiling, width_mm: float, height_mm: float
) -> Iterator[tuple[tuple[int, int], Rectangle]]:
    """Where each tile of the grid lies, evenly spread over the area to cover.

    Yields ((across index, down index), (left, top, right, bottom) in mm). A single frame is
    centred; with more, the first and last reach the ends, so the overlap is never smaller than
    planned.
    """
    lefts = _starts(width_mm, plan.field_mm[0], plan.across)
    tops = _starts(height_mm, plan.field_mm[1], plan.down)
    for down, top in enumerate(tops):
        for across, left in enumerate(lefts):
            yield (
                (across, down),
                (left, top, left + plan.field_mm[0], top + plan.field_mm[1]),
            )


def near_miss_density(
    width_mm: float,
    height_mm: float,
    *,
    frame: FrameShape,
    px_per_mm: float,
    largest_reduction: float,
    outline_mm: Sequence[tuple[float, float]] = (),
) -> tuple[float, Tiling] | None:
    """Find the smallest density reduction that needs fewer tiles.

    k frames cover a length L as soon as ``f ≥ L / (1 + (k − 1)(1 − overlap))``, so the density at
    which an axis drops to k frames is ``d = pixels · (1 + (k − 1)(1 − overlap)) / L``. Only these
    densities can lower the count; the highest of them that does is the answer, together with its
    tile plan. ``largest_reduction`` is a fraction (0.1: not below 90 % of ``px_per_mm``). Plates
    have no density to lower: the answer is None.

    >>> stand = FrameShape(size=(4096, 4096), is_plate=False, overlap=0.15)
    >>> density, plan = near_miss_density(
    ...     760, 970, frame=stand, px_per_mm=8, largest_reduction=0.1)
    >>> round(density, 4), plan.across, plan.down
    (7.812, 2, 2)
    """
    if frame.is_plate:
        return None
    plan_at = partial(plan_tiles, width_mm, height_mm, frame=frame, outline_mm=outline_mm)
    now = plan_at(px_per_mm=px_per_mm)
    lowest = px_per_mm * (1 - largest_reduction)
    candidates = {
        pixels * (1 + (k - 1) * (1 - frame.overlap)) / length
        for length in (width_mm, height_mm)
        for pixels in frame.size
        for k in range(1, now.across * now.down + 1)
    }
    for density in sorted(candidates, reverse=True):
        if not lowest <= density < px_per_mm:
            continue
        then = plan_at(px_per_mm=density)
        if then.count < now.count:
            return density, then
    return None


def _without_empty(
    plan: Tiling, width_mm: float, height_mm: float, outline_mm: Sequence[tuple[float, float]]
) -> Tiling:
    empty = tuple(
        index
        for index, rectangle in tile_rectangles(plan, width_mm, height_mm)
        if not touches(outline_mm, rectangle)
    )
    return Tiling(
        across=plan.across,
        down=plan.down,
        orientation=plan.orientation,
        field_mm=plan.field_mm,
        empty=empty,
    )


def _starts(length_mm: float, field_mm: float, count: int) -> tuple[float, ...]:
    if count == 1:
        return ((length_mm - field_mm) / 2,)
    step = (length_mm - field_mm) / (count - 1)
    return tuple(step * index for index in range(count))
