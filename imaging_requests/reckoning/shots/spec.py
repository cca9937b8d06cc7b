"""How one view of one object is made: density, tiles, exposures, slices, minutes, light."""

from functools import partial

from imaging_requests.reckoning.shots.answer import Lamp, ViewSpec
from imaging_requests.reckoning.shots.cover import Area, Case, area_of, cover_of, look_up, plain
from imaging_requests.reckoning.shots.dose import flash_lxs, view_light_lxh
from imaging_requests.reckoning.shots.facts import ObjectFacts
from imaging_requests.reckoning.shots.focus import depth_of_field_mm, focus_slices
from imaging_requests.reckoning.shots.minutes import view_desk_minutes, view_minutes
from imaging_requests.reckoning.shots.near_miss import near_miss_of
from imaging_requests.reckoning.shots.owed import OwedView
from imaging_requests.reckoning.shots.raking import fall_off_ev
from imaging_requests.reckoning.shots.settings import StudioSettings
from imaging_requests.reckoning.shots.words import AZIMUTH_DEG, MM_PER_INCH


def view_spec(view: OwedView, facts: ObjectFacts, *, settings: StudioSettings) -> ViewSpec:
    """Work out one view of one object.

    Height and width must be known; an unknown warp counts as flat. Raises ``ValueError`` if the
    sizes are missing and :class:`BadSettingsError` if the view's method has no settings.
    """
    case = look_up(view, facts, settings)
    area = area_of(case)
    cover = cover_of(case, area)
    method = case.method
    exposures, lamp = _exposures(case, area)
    slices, depth, focus_notes = _slices(case, cover.px_per_mm)
    exposure_s = _exposure_s(case, exposures)

    def minutes_for(tiles: int) -> float:
        frames = tiles * slices * len(exposures)
        return view_minutes(method, tiles=tiles, frames=frames, exposure_s_per_tile=exposure_s)

    count = cover.tiling.count
    frames = count * slices * len(exposures)
    minutes = minutes_for(count)
    saved = 0.0 if cover.miss is None else minutes - minutes_for(cover.miss[1].count)
    joined = None if method.fixed_tiles else _joined_px(area, cover.px_per_mm)
    joined_bytes = None if joined is None else joined[0] * joined[1] * method.bytes_per_px
    return ViewSpec(
        technique=view.technique,
        face=view.face,
        direction=view.direction,
        station=case.station.name,
        px_per_mm=cover.px_per_mm,
        ppi=round(cover.px_per_mm * MM_PER_INCH, 1),
        field_mm=cover.tiling.field_mm,
        tiles=(cover.tiling.across, cover.tiling.down),
        tile_count=count,
        empty_tiles=cover.tiling.empty,
        orientation=cover.tiling.orientation,
        joined_px=joined,
        joined_bytes=joined_bytes,
        exposures_ev=exposures,
        focus_slices=slices,
        usable_depth_mm=depth,
        frames=frames,
        minutes=minutes,
        desk_minutes=view_desk_minutes(method, tiles=count, slices=slices),
        people=method.people,
        setup_card=_setup_card(case, cover.px_per_mm),
        lamp=lamp,
        light_lxh=_light_lxh(case, minutes=minutes, tiles=count, frames=frames),
        uv_minutes=count * exposure_s / 60,
        notes=(*cover.notes, *focus_notes, *_file_notes(joined_bytes, settings)),
        near_miss=near_miss_of(case, cover, saved_min=saved),
    )


def _exposures(case: Case, area: Area) -> tuple[tuple[float, ...], Lamp | None]:
    """The bracket in EV and, for raking light, where the lamp stands."""
    values, chosen = case.settings.values, case.view.line.exposures_ev
    direction = case.view.direction
    if case.method.bracket == "uv":
        return chosen or values.numbers("bracket.uv_ev"), None
    if case.method.bracket != "raking" or direction is None:
        return chosen or values.numbers("bracket.single_ev"), None
    steps = values.steps("raking.lamp_distance.classes", "distance_mm")
    distance = steps.at(case.long_side_mm)
    extent = area.face_mm[0] if direction in ("L", "R") else area.face_mm[1]
    fall_off = fall_off_ev(distance, extent)
    is_narrow = fall_off <= values.number("bracket.raking.narrow_up_to_ev")
    bracket = values.numbers(f"bracket.raking.{'narrow' if is_narrow else 'wide'}_ev")
    lamp = Lamp(
        azimuth_deg=AZIMUTH_DEG[direction],
        elevation_deg=values.number("raking.elevation_deg"),
        distance_mm=distance,
        fall_off_ev=round(fall_off, 2),
    )
    return chosen or bracket, lamp


def _exposure_s(case: Case, exposures: tuple[float, ...]) -> float:
    """Summed exposure time of one tile, for methods whose minutes it governs."""
    if not case.method.adds_exposure_time:
        return 0.0
    base = case.settings.number("uv.base_exposure_s")
    return float(sum(base * 2**offset for offset in exposures))


def _slices(case: Case, px_per_mm: float) -> tuple[int, float | None, tuple[str, ...]]:
    """Focus slices, usable depth in mm, and the offer of a smaller aperture if it saves one."""
    pitch_um, settings = case.station.pitch_um, case.settings
    if not case.method.has_focus_slices or pitch_um is None:
        return 1, None, ()
    depth_at = partial(
        depth_of_field_mm,
        px_per_mm,
        pitch_um=pitch_um,
        circle_px=settings.number("focus.circle_px"),
    )
    fraction = settings.number("focus.usable_fraction")
    standard = settings.number("focus.aperture")
    other = settings.number("focus.alternative_aperture")
    warp = case.facts.warp_mm or 0.0
    usable, usable_other = (
        fraction * depth_at(aperture=standard),
        fraction * depth_at(aperture=other),
    )
    slices, fewer = focus_slices(warp, usable), focus_slices(warp, usable_other)
    if fewer >= slices:
        return slices, round(usable, 1), ()
    note = (
        f"At f/{plain(standard)} {usable:.1f} mm are sharp and the warp is {plain(warp)} mm: "
        f"{slices} focus slices. At f/{plain(other)} ({usable_other:.1f} mm) {fewer} would do."
    )
    return slices, round(usable, 1), (note,)


def _light_lxh(case: Case, *, minutes: float, tiles: int, frames: int) -> float:
    settings = case.settings
    flash = flash_lxs(
        settings.number("light.flash_aperture"),
        settings.number("light.flash_iso"),
        constant=settings.number("light.exposure_constant_lxs"),
    )
    return view_light_lxh(
        case.method, minutes=minutes, tiles=tiles, frames=frames, flash_lxs_per_frame=flash
    )


def _joined_px(area: Area, px_per_mm: float) -> tuple[int, int]:
    """Pixels of the joined picture, margins and target strip included."""
    return round(area.cover_mm[0] * px_per_mm), round(area.cover_mm[1] * px_per_mm)


def _file_notes(joined_bytes: int | None, settings: StudioSettings) -> tuple[str, ...]:
    limit = settings.number("file.classic_tiff_limit_bytes")
    if joined_bytes is None or joined_bytes <= limit:
        return ()
    return (f"The joined picture takes {joined_bytes / 1e9:.1f} GB and needs BigTIFF.",)


def _setup_card(case: Case, px_per_mm: float) -> str:
    """Name of the station's standard card: station, technique, density."""
    density = f"{px_per_mm:02.0f}" if px_per_mm == int(px_per_mm) else f"{px_per_mm:05.2f}"
    return f"{case.station.name.upper()}-{case.view.technique}-{density}"
