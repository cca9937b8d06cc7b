"""The answer of the shot derivation: dataclasses, and the same as plain data for JSON.

The shape of the plain data is fixed by ``imaging_requests/reckoning/schemas/shot_list.json``.
"""

from collections.abc import Mapping
from dataclasses import dataclass, fields, is_dataclass
from typing import Any


@dataclass(frozen=True, slots=True, kw_only=True)
class FactQuestion:
    """A fact that is missing or doubtful, put to a person. Until it is answered: no shot list."""

    fact: str
    question: str
    who: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Lamp:
    """Position of the raking lamp as seen by the viewer of the face; elevation from the surface."""

    azimuth_deg: float
    elevation_deg: float
    distance_mm: float
    fall_off_ev: float


@dataclass(frozen=True, slots=True, kw_only=True)
class NearMiss:
    """The smallest reduction of density that would lower the number of tiles of these views.

    ``change_percent`` is negative, ``saves_minutes`` is at the station and over all ``views``.
    ``needs_lead`` is false inside the free tolerance and true beyond it.
    """

    views: tuple[str, ...]
    px_per_mm: float
    ppi: float
    change_percent: float
    tiles_now: tuple[int, int]
    tiles_then: tuple[int, int]
    count_now: int
    count_then: int
    saves_minutes: float
    needs_lead: bool
    sentence: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ViewSpec:
    """How one view is made of one object: geometry, exposures, time and light.

    ``tiles`` is (across, down), ``tile_count`` leaves out tiles that an irregular outline does
    not touch (``empty_tiles``, as (across, down) indices from the top left). ``field_mm`` is what
    one frame covers. ``frames`` counts the exposures of the view, without auxiliary frames.
    """

    technique: str
    face: str
    direction: str | None
    station: str
    px_per_mm: float
    ppi: float
    field_mm: tuple[float, float]
    tiles: tuple[int, int]
    tile_count: int
    empty_tiles: tuple[tuple[int, int], ...]
    orientation: str
    joined_px: tuple[int, int] | None
    joined_bytes: int | None
    exposures_ev: tuple[float, ...]
    focus_slices: int
    usable_depth_mm: float | None
    frames: int
    minutes: float
    desk_minutes: float
    people: int
    setup_card: str
    lamp: Lamp | None
    light_lxh: float
    uv_minutes: float
    notes: tuple[str, ...]
    near_miss: NearMiss | None


@dataclass(frozen=True, slots=True, kw_only=True)
class ShotView:
    """One line of the shot list: the duty (or duties) and how it is made."""

    view: str
    technique: str
    face: str
    direction: str | None
    method: str
    anchors: tuple[str, ...]
    protocol_lines: tuple[str, ...]
    detail: str | None
    tiles: tuple[int, int]
    tile_count: int
    empty_tiles: tuple[tuple[int, int], ...]
    orientation: str
    field_mm: tuple[float, float]
    joined_px: tuple[int, int] | None
    joined_bytes: int | None
    exposures_ev: tuple[float, ...]
    focus_slices: int
    px_per_mm: float
    ppi: float
    minutes: float
    desk_minutes: float
    frames: int
    station: str
    setup_card: str
    lamp: Lamp | None
    people: int
    light_lxh: float
    uv_minutes: float
    cautions: tuple[str, ...]
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class SkippedView:
    """A view that is not shot now, with the reason: not applicable, or already there."""

    view: str
    technique: str
    face: str
    direction: str | None
    rule: str
    reason: str
    on_request: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class StationTotal:
    """Minutes at one station for one visit of the object.

    ``minutes`` is the plain sum, ``minutes_with_reserve`` the booking: with reserve, rounded up.
    ``saving_if_following_min`` could be saved if an object of the same density class came just
    before; plans must not rely on it. ``day_split`` lists plates and minutes per rental day where
    one day is not enough.
    """

    station: str
    views: tuple[str, ...]
    placing_min: float
    turn_min: float
    minutes: float
    minutes_with_reserve: int
    saving_if_following_min: float = 0.0
    day_split: tuple[tuple[int, float], ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Auxiliary:
    """Frames that belong to a set-up and not to a view."""

    role: str
    station: str
    technique: str | None
    count: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Dose:
    """Light and ultraviolet that the list would cost, and the light book.

    Visible light in lux hours per face; only painted faces count towards the yearly share of the
    studio. ``uv_minutes`` per face. ``over_share`` tells whether list plus light book pass it.
    """

    light_lxh_by_face: Mapping[str, float]
    light_lxh: float
    used_before_lxh: float
    yearly_share_lxh: float
    over_share: bool
    uv_minutes_by_face: Mapping[str, float]
    uv_cap_min: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Moves:
    """What it takes to bring the object and to handle it."""

    size_class: str
    fetch_min: float
    return_min: float
    unframe_min: float
    people: int
    lift: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """One step of the visit: place, shoot, turn, in order."""

    do: str
    station: str
    view: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class ShotList:
    """The whole answer. Where ``questions`` is not empty and ``provisional`` is false, there are
    no views: the questions come first."""

    object: str
    protocol: str
    settings: str
    provisional: bool
    questions: tuple[FactQuestion, ...] = ()
    views: tuple[ShotView, ...] = ()
    not_applicable: tuple[SkippedView, ...] = ()
    already_met: tuple[SkippedView, ...] = ()
    stations: tuple[StationTotal, ...] = ()
    desk_minutes: float = 0.0
    moves: Moves | None = None
    order: tuple[Step, ...] = ()
    dose: Dose | None = None
    auxiliary: tuple[Auxiliary, ...] = ()
    frames: int = 0
    expected_files: int = 0
    expected_files_by_station: tuple[tuple[str, int], ...] = ()
    cautions: tuple[str, ...] = ()
    near_misses: tuple[NearMiss, ...] = ()
    notes: tuple[str, ...] = ()

    def station(self, name: str) -> StationTotal | None:
        """Total of one station, or None if nothing is shot there."""
        return next((s for s in self.stations if s.station == name), None)

    def view(self, code: str) -> ShotView | None:
        """The line of one view by its code, or None."""
        return next((v for v in self.views if v.view == code), None)


def as_data(value: Any) -> Any:
    """Turn an answer into plain lists, dictionaries, text and numbers for JSON.

    >>> as_data(Step(do="turn", station="bay"))
    {'do': 'turn', 'station': 'bay', 'view': None}
    """
    if is_dataclass(value) and not isinstance(value, type):
        return {f.name: as_data(getattr(value, f.name)) for f in fields(value)}
    if isinstance(value, Mapping):
        return {str(key): as_data(item) for key, item in value.items()}
    if isinstance(value, tuple | list):
        return [as_data(item) for item in value]
    return value
