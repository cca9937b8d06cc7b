"""Near misses in words: how little density buys how many tiles and minutes."""

import math
from collections.abc import Iterable
from dataclasses import replace

from imaging_requests.reckoning.shots.answer import NearMiss
from imaging_requests.reckoning.shots.cover import Case, Cover, density_down, plain
from imaging_requests.reckoning.shots.words import MM_PER_INCH


def near_miss_of(case: Case, cover: Cover, *, saved_min: float) -> NearMiss | None:
    """Describe the near miss of a view, or None if there is none.

    ``saved_min`` are the minutes at the station that the smaller tile count saves. Beyond the
    free tolerance the lead has to tick it; below the largest reduction nothing is ever offered.
    """
    if cover.miss is None:
        return None
    exact, then = cover.miss
    settings, required = case.settings, cover.px_per_mm
    largest = settings.number("near_miss.largest_fraction")
    free = settings.number("density.tolerance_free_fraction")
    density = density_down(exact, required * (1 - largest))
    miss = NearMiss(
        views=(case.view.code,),
        px_per_mm=density,
        ppi=round(density * MM_PER_INCH, 1),
        change_percent=-_tenths_up((1 - exact / required) * 100),
        tiles_now=(cover.tiling.across, cover.tiling.down),
        tiles_then=(then.across, then.down),
        count_now=cover.tiling.count,
        count_then=then.count,
        saves_minutes=round(saved_min, 1),
        needs_lead=exact < required * (1 - free),
        sentence="",
    )
    return replace(miss, sentence=_sentence(miss))


def gather(misses: Iterable[NearMiss]) -> tuple[NearMiss, ...]:
    """Put near misses of the same density and tiles together, so that one tick answers them."""
    groups: dict[object, list[NearMiss]] = {}
    for miss in misses:
        groups.setdefault((miss.px_per_mm, miss.tiles_now, miss.tiles_then), []).append(miss)
    gathered = []
    for group in groups.values():
        together = replace(
            group[0],
            views=tuple(code for miss in group for code in miss.views),
            saves_minutes=round(sum(miss.saves_minutes for miss in group), 1),
        )
        gathered.append(replace(together, sentence=_sentence(together)))
    return tuple(gathered)


def _tenths_up(percent: float) -> float:
    """Round up to the next tenth, so that the reduction named is always large enough."""
    return math.ceil(round(percent * 10, 6)) / 10


def _sentence(miss: NearMiss) -> str:
    tick = "; this needs the lead's tick." if miss.needs_lead else "."
    return (
        f"{', '.join(miss.views)}: {abs(miss.change_percent):.1f} % less density "
        f"({miss.px_per_mm:.2f} px/mm, {miss.ppi:.0f} ppi) saves "
        f"{miss.count_now - miss.count_then} of {miss.count_now} tiles, "
        f"{plain(miss.saves_minutes)} min{tick}"
    )
