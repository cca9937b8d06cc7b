"""What one view has to cover, at which density, with how many tiles."""

import math
from dataclasses import dataclass

from imaging_requests.reckoning.shots.facts import ObjectFacts, Point
from imaging_requests.reckoning.shots.geometry import (
    FrameShape,
    Tiling,
    near_miss_density,
    plan_tiles,
)
from imaging_requests.reckoning.shots.methods import Method, Station
from imaging_requests.reckoning.shots.outline import bounding_box
from imaging_requests.reckoning.shots.owed import OwedView
from imaging_requests.reckoning.shots.settings import StudioSettings
from imaging_requests.reckoning.shots.words import BACK, FRONT, THROUGH


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """One view of one object with everything looked up, and with sizes that are known."""

    view: OwedView
    facts: ObjectFacts
    height_mm: float
    width_mm: float
    method: Method
    station: Station
    settings: StudioSettings

    @property
    def long_side_mm(self) -> float:
        """The longer side of the face; it decides density classes and the lamp distance."""
        return max(self.height_mm, self.width_mm)


@dataclass(frozen=True, slots=True, kw_only=True)
class Area:
    """What is covered: the face (or region), and the same with margins and target strip.

    ``outline_mm`` is the outline of an irregular face within the covered area, else empty.
    """

    face_mm: tuple[float, float]
    cover_mm: tuple[float, float]
    outline_mm: tuple[Point, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Cover:
    """A tile plan at a density; ``miss`` is the density below at which fewer tiles would do."""

    px_per_mm: float
    tiling: Tiling
    miss: tuple[float, Tiling] | None
    notes: tuple[str, ...]


def look_up(view: OwedView, facts: ObjectFacts, settings: StudioSettings) -> Case:
    """Find the method and station of a view; raises ``ValueError`` if the sizes are missing."""
    if facts.height_mm is None or facts.width_mm is None:
        raise ValueError("Height and width are needed before a view can be worked out.")
    method = settings.method(view.method)
    return Case(
        view=view,
        facts=facts,
        height_mm=facts.height_mm,
        width_mm=facts.width_mm,
        method=method,
        station=settings.stations[method.station],
        settings=settings,
    )


def area_of(case: Case) -> Area:
    """The area of a view: the face, the region of a detail, or the frame that stays on."""
    width, height, outline = case.width_mm, case.height_mm, _outline(case)
    facts, detail = case.facts, case.view.detail
    if detail is not None:
        width, height, outline = detail.region_mm[2], detail.region_mm[3], ()
    elif case.view.face == THROUGH and facts.frame_stays_on:
        width = max(width, facts.frame_width_mm or width)
        height = max(height, facts.frame_height_mm or height)
        outline = ()
    margin = case.station.margin_mm
    return Area(
        face_mm=(width, height),
        cover_mm=(width + 2 * margin, height + 2 * margin + case.station.target_strip_mm),
        outline_mm=tuple((x + margin, y + margin) for x, y in outline),
    )


def cover_of(case: Case, area: Area) -> Cover:
    """The tiles of a view at its density, or at the near miss where the lead lets it decide."""
    density, notes = _density(case)
    frame = _frame_shape(case)
    if case.method.fixed_tiles is not None:
        return _one_frame_each(case.method.fixed_tiles, frame, area, density, notes)
    width, height = area.cover_mm
    settings = case.settings
    miss = near_miss_density(
        width,
        height,
        frame=frame,
        px_per_mm=density,
        largest_reduction=settings.number("near_miss.largest_fraction"),
        outline_mm=area.outline_mm,
    )
    lowest = density * (1 - settings.number("near_miss.by_default_up_to_fraction"))
    is_default = settings.values.flag("near_miss.is_applied_by_default")
    if miss is not None and is_default and miss[0] >= lowest:
        used = density_down(miss[0], lowest)
        note = f"Density lowered from {plain(density)} to {plain(used)} px/mm to save tiles."
        return Cover(px_per_mm=used, tiling=miss[1], miss=None, notes=(*notes, note))
    tiling = plan_tiles(width, height, frame=frame, px_per_mm=density, outline_mm=area.outline_mm)
    return Cover(px_per_mm=density, tiling=tiling, miss=miss, notes=notes)


def density_down(exact: float, lowest: float) -> float:
    """The density in hundredths, never above the exact one and never below the lowest allowed.

    >>> density_down(7.8119, 7.2), density_down(7.2049, 7.201)
    (7.81, 7.2049)
    """
    rounded = math.floor(exact * 100) / 100
    return rounded if rounded >= lowest else exact


def plain(value: float) -> str:
    """A number as people write it: no trailing zeros, thousands set apart."""
    return f"{value:,.6g}"


def _outline(case: Case) -> tuple[Point, ...]:
    """Outline of the face of a view; a back without one of its own mirrors the front."""
    outlines = case.facts.outlines_mm
    outline = outlines.get(case.view.face, ())
    if not outline and case.view.face == THROUGH:
        outline = outlines.get(FRONT, ())
    if not outline and case.view.face == BACK:
        outline = tuple((case.width_mm - x, y) for x, y in outlines.get(FRONT, ()))
    if not outline:
        return ()
    left, top, _, _ = bounding_box(outline)
    return tuple((x - left, y - top) for x, y in outline)


def _frame_shape(case: Case) -> FrameShape:
    station, overlap = case.station, case.view.line.overlap
    if station.plate_mm is not None:
        return FrameShape(
            size=station.plate_mm,
            is_plate=True,
            overlap=station.overlap_mm if overlap is None else overlap,
            orientations=station.orientations,
        )
    is_limited = case.method.is_limited_by_uv_field
    return FrameShape(
        size=station.frame_px or (0.0, 0.0),
        is_plate=False,
        overlap=station.overlap_fraction if overlap is None else overlap,
        orientations=station.orientations,
        limit_mm=case.settings.number("uv.field_limit_mm") if is_limited else math.inf,
    )


def _density(case: Case) -> tuple[float, tuple[str, ...]]:
    """Required px/mm: of the detail, of the line, pinned for the object, or by long side."""
    detail, line = case.view.detail, case.view.line
    if detail is not None:
        return detail.px_per_mm, ()
    if line.px_per_mm is not None:
        return line.px_per_mm, ()
    factor = case.method.density_factor
    pinned = case.facts.pinned_px_per_mm.get(case.method.density)
    if pinned is not None:
        density = pinned * factor
        return density, (f"The density is pinned for this object: {plain(density)} px/mm.",)
    steps = case.settings.densities[case.method.density]
    density = steps.at(case.long_side_mm) * factor
    limit = steps.nearest_limit(case.long_side_mm)
    notice = case.settings.number("density.class_change_notice_fraction")
    if limit is None or abs(case.long_side_mm - limit) > notice * limit:
        return density, ()
    beyond = limit if case.long_side_mm > limit else math.nextafter(limit, math.inf)
    return density, (
        f"The long side of {plain(case.long_side_mm)} mm lies close to the class limit of "
        f"{plain(limit)} mm: beyond it the density would be {plain(steps.at(beyond) * factor)} "
        f"instead of {plain(density)} px/mm. Pin the density if measuring again must not "
        f"change it.",
    )


def _one_frame_each(
    tiles: tuple[int, int],
    frame: FrameShape,
    area: Area,
    density: float,
    notes: tuple[str, ...],
) -> Cover:
    """Edges: one frame each, so the longest edge decides which density can be reached."""
    margins = area.cover_mm[0] - area.face_mm[0]
    reachable = max(frame.size) / (max(area.face_mm) + margins)
    if reachable < density:
        density = density_down(reachable, 0)
        notes = (f"One frame per edge reaches {plain(density)} px/mm on the longest edge.",)
    tiling = Tiling(
        across=tiles[0],
        down=tiles[1],
        orientation=frame.orientations[0],
        field_mm=frame.fields_mm(density)[0],
    )
    return Cover(px_per_mm=density, tiling=tiling, miss=None, notes=notes)
