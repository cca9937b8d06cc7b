"""How placed frames make one picture: which frame where, what is missing, what does not fit. Pure.

A bracket is whole when each tile has exactly the exposures that were asked for; that its frames
share aperture and ISO and were made within a short time is measured as well, and said as a fault.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import groupby

from imaging_requests.deliverables.models import DeliverableKind
from imaging_requests.intake.layout import Spot
from imaging_requests.intake.words import Grid, gap_words, listed, spot_words


@dataclass(frozen=True, slots=True, kw_only=True)
class Placed:
    """A frame on a shot line, with what the camera says of it."""

    frame_id: int
    tile_x: int
    tile_y: int
    focus_slice: int
    ev: float
    captured_at: datetime | None
    f_number: float | None = None
    iso: int | None = None


@dataclass(frozen=True, slots=True)
class Seat:
    """A frame in its place in the picture."""

    frame: Placed
    spot: Spot


@dataclass(frozen=True, slots=True, kw_only=True)
class Composition:
    """What the frames make: seats in shooting order, gaps and faults in sentences."""

    kind: str
    seats: tuple[Seat, ...]
    missing: tuple[str, ...]
    faults: tuple[str, ...]
    captured_at: datetime | None
    cover_id: int | None

    @property
    def is_complete(self) -> bool:
        """Whether every tile has every exposure and every focus slice."""
        return not self.missing and bool(self.seats)

    @property
    def fingerprint(self) -> frozenset[tuple[int, int, int, int, float]]:
        """Which frame sits where; two compositions of the same frames are the same picture."""
        return frozenset(
            (s.frame.frame_id, s.spot.tile_x, s.spot.tile_y, s.spot.focus_slice, s.spot.ev)
            for s in self.seats
        )


def kind_of(*, tiles: int, exposures: int) -> str:
    """Return how frames of so many tiles and exposures make one picture.

    >>> str(kind_of(tiles=1, exposures=4)), str(kind_of(tiles=6, exposures=1))
    ('bracket', 'mosaic')
    """
    if tiles > 1:
        return DeliverableKind.BRACKET_MOSAIC if exposures > 1 else DeliverableKind.MOSAIC
    return DeliverableKind.BRACKET if exposures > 1 else DeliverableKind.SINGLE


def compose(
    expected: Sequence[Spot],
    grid: Grid,
    frames: Iterable[Placed],
    *,
    tolerance_ev: float,
    span_min: float,
) -> Composition:
    """Seat frames on the places a line asks for, and say what is missing or does not fit.

    A frame fits a place if tile and focus slice agree and its exposure offset is within
    `tolerance_ev`; the nearest offset wins, then the newest frame. `span_min` is the longest time
    the exposures of one tile may take.
    """
    seats = _seated(expected, list(frames), tolerance_ev)
    filled = {seat.spot for seat in seats}
    gaps = gap_words(list(expected), filled, grid)
    instants = [seat.frame.captured_at for seat in seats if seat.frame.captured_at is not None]
    return Composition(
        kind=kind_of(tiles=grid.tiles, exposures=len(grid.exposures_ev)),
        seats=tuple(seats),
        missing=tuple(f"{words[:1].upper()}{words[1:]}." for words in gaps),
        faults=tuple(_faults(seats, grid, span_min)),
        captured_at=min(instants, default=None),
        cover_id=_cover(seats, grid),
    )


def _seated(expected: Sequence[Spot], frames: list[Placed], tolerance_ev: float) -> list[Seat]:
    seats: list[Seat] = []
    taken: set[int] = set()
    for spot in expected:
        fitting = [
            frame
            for frame in frames
            if frame.frame_id not in taken
            and (frame.tile_x, frame.tile_y, frame.focus_slice)
            == (spot.tile_x, spot.tile_y, spot.focus_slice)
            and abs(frame.ev - spot.ev) <= tolerance_ev
        ]
        if fitting:
            best = min(fitting, key=lambda f: (abs(f.ev - spot.ev), _newest_first(f)))
            taken.add(best.frame_id)
            seats.append(Seat(best, spot))
    return seats


def _newest_first(frame: Placed) -> float:
    return -(frame.captured_at.timestamp() if frame.captured_at is not None else 0)


def _cover(seats: Sequence[Seat], grid: Grid) -> int | None:
    """Return the frame that stands for the picture: middle exposure, first tile and slice."""
    exposures = sorted(grid.exposures_ev)
    middle = exposures[(len(exposures) - 1) // 2] if exposures else 0.0

    def distance(seat: Seat) -> tuple[int, int, int, float]:
        spot = seat.spot
        return (spot.tile_y, spot.tile_x, spot.focus_slice, abs(spot.ev - middle))

    return min(seats, key=distance).frame.frame_id if seats else None


def _faults(seats: Sequence[Seat], grid: Grid, span_min: float) -> list[str]:
    found: list[str] = []
    if seats and all(seat.frame.captured_at is None for seat in seats):
        found.append("No frame says when it was taken; the start of the session is taken instead.")
    if len(grid.exposures_ev) < 2:
        return found
    named = Grid(grid.across, grid.down, (), grid.slices)
    ordered = sorted(seats, key=lambda s: s.spot)
    for _, together in groupby(
        ordered, key=lambda s: (s.spot.tile_y, s.spot.tile_x, s.spot.focus_slice)
    ):
        tile = list(together)
        name = spot_words(tile[0].spot, named)
        where = "The exposures" if name == "the one frame" else f"The exposures of {name}"
        found += _faults_of_tile(tile, where, span_min)
    return found


def _faults_of_tile(tile: Sequence[Seat], where: str, span_min: float) -> list[str]:
    found: list[str] = []
    apertures = sorted({s.frame.f_number for s in tile if s.frame.f_number is not None})
    if len(apertures) > 1:
        values = listed([f"f/{value:g}" for value in apertures])
        found.append(f"{where} were made at {values}; one bracket has one aperture.")
    isos = sorted({s.frame.iso for s in tile if s.frame.iso is not None})
    if len(isos) > 1:
        values = listed([f"ISO {value}" for value in isos])
        found.append(f"{where} were made at {values}; one bracket has one ISO value.")
    instants = [s.frame.captured_at for s in tile if s.frame.captured_at is not None]
    if instants:
        spent = max(instants) - min(instants)
        if spent > timedelta(minutes=span_min):
            found.append(
                f"{where} took {spent.total_seconds() / 60:.0f} min; one bracket takes at most "
                f"{span_min:g} min, so that light and object do not change."
            )
    return found
