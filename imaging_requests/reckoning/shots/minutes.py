"""Minutes: of one view at its station and at the desk, of a station visit, of rented X-ray days."""

import math

from imaging_requests.reckoning.shots.methods import Method

_DIGITS = 9


def view_minutes(
    method: Method, *, tiles: int, frames: int, exposure_s_per_tile: float = 0.0
) -> float:
    """Minutes of one view at its station.

    Set-up + per frame + per tile (with the summed exposure time where the method adds it) + flat
    field + ambient frame + a look at the result.
    """
    per_tile = method.per_tile_min
    if method.adds_exposure_time:
        per_tile += exposure_s_per_tile / 60
    return (
        method.setup_min
        + method.per_frame_min * frames
        + per_tile * tiles
        + method.flat_min
        + method.ambient_min
        + method.look_min
    )


def view_desk_minutes(method: Method, *, tiles: int, slices: int) -> float:
    """Minutes of one view at the desk: developing, joining, merging focus slices."""
    minutes = (
        method.desk_min
        + method.desk_per_further_tile_min * (tiles - 1)
        + method.desk_per_tile_min * tiles
    )
    if slices > 1:
        minutes += method.desk_per_tile_if_sliced_min * tiles
    return minutes


def with_reserve(minutes: float, *, factor: float, round_up_to: float) -> int:
    """Minutes to book: times the reserve, rounded up to a step.

    The quotient is rounded to 1e-9 first, so that a product that is whole on paper is not pushed
    to the next step by its last binary digit.

    >>> [with_reserve(m, factor=1.15, round_up_to=5) for m in (194, 87, 240, 100)]
    [225, 105, 280, 115]
    """
    steps = math.ceil(round(minutes * factor / round_up_to, _DIGITS))
    return int(steps * round_up_to)


def split_over_days(
    plates: int, *, per_plate: float, fixed: float, usable: float
) -> tuple[tuple[int, float], ...]:
    """Plates and minutes per rented day, each day filled before the next begins.

    Every day pays the ``fixed`` minutes again. Raises ``ValueError`` if not one plate fits.

    >>> split_over_days(84, per_plate=8, fixed=23, usable=420)
    ((49, 415.0), (35, 303.0))
    """
    most = int(round((usable - fixed) / per_plate, _DIGITS))
    if most < 1:
        raise ValueError("Not one plate fits into a rented day with these settings.")
    days = []
    while plates > 0:
        today = min(plates, most)
        days.append((today, float(fixed + per_plate * today)))
        plates -= today
    return tuple(days)
