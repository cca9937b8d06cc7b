"""How an owed view is made, kept with it as a snapshot: density, tiles, exposures, minutes.

A view whose facts are incomplete gets a provisional snapshot that names what is missing. Without
height and width there is no geometry at all: `tiles` and `minutes` are then null.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from imaging_requests.reckoning import shots
from imaging_requests.reckoning.shots.cautions import object_cautions, view_cautions

COVERAGE = "coverage.min_percent"
FREE_TOLERANCE = "density.tolerance_free_fraction"


@dataclass(frozen=True, kw_only=True)
class Making:
    """What must be reached (density, tolerance, coverage) and the snapshot of how."""

    px_per_mm: float
    tolerance_percent: float
    min_coverage_percent: float
    spec: dict[str, Any]


def missing_facts(facts: shots.ObjectFacts, *, settings: shots.StudioSettings) -> tuple[str, ...]:
    """The names of facts that are missing or doubtful, in the order in which they are asked."""
    questions = shots.ask_facts(facts, settings=settings)
    return tuple(dict.fromkeys(question.fact for question in questions))


def making_of(
    view: shots.OwedView,
    facts: shots.ObjectFacts,
    *,
    settings: shots.StudioSettings,
    origin: str,
    missing: Sequence[str],
) -> Making:
    """Work out how one view is made. `origin` names the version of the rules it follows."""
    tolerance = view.line.tolerance_percent
    if tolerance is None:
        tolerance = settings.number(FREE_TOLERANCE) * 100
    unsure = tuple(dict.fromkeys((*missing, *view.provisional_on)))
    common: dict[str, Any] = {
        "line": view.line_id,
        "origin": origin,
        "cautions": list(
            dict.fromkeys(
                (
                    *view_cautions(facts, view.technique, settings=settings),
                    *object_cautions(facts, frozenset({view.technique}), settings=settings),
                )
            )
        ),
    }
    if unsure:
        common |= {"provisional": True, "missing": list(unsure)}
    if facts.long_side_mm is None:
        density, worked_out = _density_unmeasured(view, facts, settings), _UNMEASURED
    else:
        answer = shots.view_spec(view, facts, settings=settings)
        density, worked_out = answer.px_per_mm, _worked_out(answer)
    return Making(
        px_per_mm=density,
        tolerance_percent=round(tolerance, 6),
        min_coverage_percent=settings.number(COVERAGE),
        spec=common | worked_out,
    )


def _density_unmeasured(
    view: shots.OwedView, facts: shots.ObjectFacts, settings: shots.StudioSettings
) -> float:
    """The density of an object without size: pinned or asked for, else the finest class."""
    if view.detail is not None:
        return view.detail.px_per_mm
    if view.line.px_per_mm is not None:
        return view.line.px_per_mm
    method = settings.method(view.method)
    pinned = facts.pinned_px_per_mm.get(method.density)
    finest = max(density for _, density in settings.densities[method.density].rows)
    return (finest if pinned is None else pinned) * method.density_factor


_UNMEASURED: dict[str, Any] = {
    "station": "",
    "tiles": None,
    "tile_count": None,
    "empty_tiles": [],
    "orientation": "",
    "exposures_ev": [],
    "focus_slices": 1,
    "frames": None,
    "minutes": None,
    "desk_minutes": None,
    "people": 1,
    "light_lxh": 0,
    "uv_minutes": 0,
    "setup_card": "",
    "lamp": None,
    "notes": [],
}


def _worked_out(answer: shots.ViewSpec) -> dict[str, Any]:
    data = shots.as_data(answer)
    found: dict[str, Any] = {name: data[name] for name in _UNMEASURED}
    found["light_lxh"] = round(answer.light_lxh, 2)
    found["uv_minutes"] = round(answer.uv_minutes, 3)
    return found
