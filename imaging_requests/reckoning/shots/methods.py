"""Rows of the studio settings: stations, working methods, size classes and stepped tables."""

from dataclasses import dataclass
from typing import Any, Final, Protocol

BRACKETS: Final = ("single", "raking", "uv")
LAMP_ON: Final = ("none", "fixed", "view", "tiles")


class Table(Protocol):
    """What a row needs from the settings: values by dotted id, refused in words if missing."""

    def raw(self, name: str) -> Any: ...
    def number(self, name: str) -> float: ...
    def pair(self, name: str) -> tuple[float, float]: ...
    def text(self, name: str) -> str: ...
    def texts(self, name: str) -> tuple[str, ...]: ...
    def flag(self, name: str) -> bool: ...
    def has(self, name: str) -> bool: ...


@dataclass(frozen=True, slots=True)
class Steps:
    """A stepped table by long side: pairs of (up to mm, result); the last is open (None).

    >>> density = Steps(((400, 24), (1500, 12), (None, 8)))
    >>> [density.at(side) for side in (400, 401, 1500, 9000)]
    [24, 12, 12, 8]
    """

    rows: tuple[tuple[float | None, float], ...]

    def at(self, long_side_mm: float) -> float:
        """The result for a long side; a limit belongs to the class it closes."""
        return next(r for limit, r in self.rows if limit is None or long_side_mm <= limit)

    def nearest_limit(self, long_side_mm: float) -> float | None:
        """The class limit closest to a long side, or None if the table has only one class."""
        limits = [limit for limit, _ in self.rows if limit is not None]
        return min(limits, key=lambda limit: abs(limit - long_side_mm), default=None)


@dataclass(frozen=True, slots=True, kw_only=True)
class Station:
    """Where work is done. Either ``frame_px`` (camera) or ``plate_mm`` is set, not both.

    Overlap is a fraction of the field (camera) or millimetres (plates).
    """

    name: str
    title: str
    frame_px: tuple[float, float] | None
    plate_mm: tuple[float, float] | None
    pitch_um: float | None
    margin_mm: float
    target_strip_mm: float
    overlap_fraction: float
    overlap_mm: float
    orientations: tuple[str, str]
    is_placed_separately: bool

    @classmethod
    def read(cls, name: str, values: Table) -> "Station":
        """Read the station ``station.<name>`` from the settings."""
        start = f"station.{name}."

        def optional(key: str) -> float | None:
            return values.number(start + key) if values.has(start + key) else None

        def optional_pair(key: str) -> tuple[float, float] | None:
            return values.pair(start + key) if values.has(start + key) else None

        first, second = values.texts(start + "orientations")
        return cls(
            name=name,
            title=values.text(start + "name"),
            frame_px=optional_pair("frame_px"),
            plate_mm=optional_pair("plate_mm"),
            pitch_um=optional("pitch_um"),
            margin_mm=values.number(start + "margin_mm"),
            target_strip_mm=values.number(start + "target_strip_mm"),
            overlap_fraction=optional("overlap_fraction") or 0.0,
            overlap_mm=optional("overlap_mm") or 0.0,
            orientations=(first, second),
            is_placed_separately=values.flag(start + "is_placed_separately"),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Method:
    """How one kind of view is made: station, density, bracket, minutes at station and desk, light.

    ``lamp_on`` says for how long visible light falls on the object: ``fixed`` (``lamp_on_min``),
    ``view`` (every minute of the view), ``tiles`` (``per_tile_min`` of each tile) or ``none``.
    """

    name: str
    technique: str
    station: str
    density: str
    density_factor: float
    bracket: str
    fixed_tiles: tuple[int, int] | None
    has_focus_slices: bool
    is_limited_by_uv_field: bool
    setup_min: float
    per_frame_min: float
    per_tile_min: float
    adds_exposure_time: bool
    flat_min: float
    ambient_min: float
    look_min: float
    desk_min: float
    desk_per_further_tile_min: float
    desk_per_tile_min: float
    desk_per_tile_if_sliced_min: float
    people: int
    lamp_lx: float
    lamp_on: str
    lamp_on_min: float
    uses_flash: bool
    saving_if_following_min: float
    bytes_per_px: int

    @classmethod
    def read(cls, name: str, values: Table) -> "Method":
        """Read the method ``method.<name>`` from the settings."""
        start = f"method.{name}."
        tiles = values.raw(start + "fixed_tiles")

        def number(key: str) -> float:
            return values.number(start + key)

        return cls(
            name=name,
            technique=values.text(start + "technique"),
            station=values.text(start + "station"),
            density=values.text(start + "density"),
            density_factor=number("density_factor"),
            bracket=values.text(start + "bracket"),
            fixed_tiles=None if tiles is None else (int(tiles[0]), int(tiles[1])),
            has_focus_slices=values.flag(start + "has_focus_slices"),
            is_limited_by_uv_field=values.flag(start + "is_limited_by_uv_field"),
            setup_min=number("setup_min"),
            per_frame_min=number("per_frame_min"),
            per_tile_min=number("per_tile_min"),
            adds_exposure_time=values.flag(start + "adds_exposure_time"),
            flat_min=number("flat_min"),
            ambient_min=number("ambient_min"),
            look_min=number("look_min"),
            desk_min=number("desk_min"),
            desk_per_further_tile_min=number("desk_per_further_tile_min"),
            desk_per_tile_min=number("desk_per_tile_min"),
            desk_per_tile_if_sliced_min=number("desk_per_tile_if_sliced_min"),
            people=int(number("people")),
            lamp_lx=number("lamp_lx"),
            lamp_on=values.text(start + "lamp_on"),
            lamp_on_min=number("lamp_on_min"),
            uses_flash=values.flag(start + "uses_flash"),
            saving_if_following_min=number("saving_if_following_min"),
            bytes_per_px=int(number("bytes_per_px")),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class SizeClass:
    """Minutes and people by size and weight; the last class has no limits (None)."""

    name: str
    long_side_up_to_mm: float | None
    weight_up_to_kg: float | None
    place_min: float
    turn_min: float
    move_min: float
    unframe_min: float
    people: int
    lift: bool

    @classmethod
    def read(cls, name: str, values: Table) -> "SizeClass":
        """Read the class ``size.<name>`` from the settings."""
        start = f"size.{name}."

        def limit(key: str) -> float | None:
            return None if values.raw(start + key) is None else values.number(start + key)

        return cls(
            name=name,
            long_side_up_to_mm=limit("long_side_up_to_mm"),
            weight_up_to_kg=limit("weight_up_to_kg"),
            place_min=values.number(start + "place_min"),
            turn_min=values.number(start + "turn_min"),
            move_min=values.number(start + "move_min"),
            unframe_min=values.number(start + "unframe_min"),
            people=int(values.number(start + "people")),
            lift=values.flag(start + "lift"),
        )

    @property
    def is_open(self) -> bool:
        """Whether every object fits."""
        return self.long_side_up_to_mm is None and self.weight_up_to_kg is None

    def fits(self, long_side_mm: float, weight_kg: float) -> bool:
        """Whether an object of this size and weight belongs to the class (limits included)."""
        return (self.long_side_up_to_mm is None or long_side_mm <= self.long_side_up_to_mm) and (
            self.weight_up_to_kg is None or weight_kg <= self.weight_up_to_kg
        )
