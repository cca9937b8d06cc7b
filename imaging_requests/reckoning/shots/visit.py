"""What belongs to the visit and not to a view: order, station totals, moves, light, files."""

from collections.abc import Sequence

from imaging_requests.reckoning.shots.answer import (
    Auxiliary,
    Dose,
    Moves,
    ShotView,
    StationTotal,
    Step,
)
from imaging_requests.reckoning.shots.facts import ObjectFacts
from imaging_requests.reckoning.shots.methods import SizeClass
from imaging_requests.reckoning.shots.minutes import split_over_days, with_reserve
from imaging_requests.reckoning.shots.settings import StudioSettings
from imaging_requests.reckoning.shots.words import BACK, FACE_NAMES, FRONT, THROUGH

_FACE_ORDER = (FRONT, BACK, "E", THROUGH)


def size_class(facts: ObjectFacts, settings: StudioSettings) -> SizeClass:
    """The first size class that the object fits; an unknown weight counts as none."""
    long_side = facts.long_side_mm
    assert long_side is not None
    weight = facts.weight_kg or 0.0
    return next(size for size in settings.sizes if size.fits(long_side, weight))


def ordered(views: Sequence[ShotView], settings: StudioSettings) -> tuple[ShotView, ...]:
    """Views in the order of a visit: station by station, all of the front, then the back, then
    the edges; on each face ultraviolet last."""
    stations = list(settings.stations)
    techniques = list(settings.values.texts("order.techniques"))
    before = settings.values.text("order.before_technique_unknown")

    def place(view: ShotView) -> tuple[int, int, float]:
        if view.technique in techniques:
            rank: float = techniques.index(view.technique)
        else:
            rank = techniques.index(before) - 0.5
        return stations.index(view.station), _FACE_ORDER.index(view.face), rank

    return tuple(sorted(views, key=place))


def station_totals(
    views: Sequence[ShotView], size: SizeClass, settings: StudioSettings
) -> tuple[StationTotal, ...]:
    """Minutes per station: views, placing, one turn if both faces are shot there, reserve."""
    totals = []
    for station in settings.stations.values():
        here = [view for view in views if view.station == station.name]
        if not here:
            continue
        placing = size.place_min if station.is_placed_separately else 0.0
        turn = size.turn_min if {FRONT, BACK} <= {view.face for view in here} else 0.0
        minutes = placing + turn + sum(view.minutes for view in here)
        totals.append(
            StationTotal(
                station=station.name,
                views=tuple(view.view for view in here),
                placing_min=placing,
                turn_min=turn,
                minutes=minutes,
                minutes_with_reserve=with_reserve(
                    minutes,
                    factor=settings.number("reserve.factor"),
                    round_up_to=settings.number("reserve.round_up_to_min"),
                ),
                saving_if_following_min=max(
                    settings.method(view.method).saving_if_following_min for view in here
                ),
                day_split=_day_split(here, settings),
            )
        )
    return tuple(totals)


def usable_rental_min(settings: StudioSettings) -> float:
    """Minutes of a rented day that are left for exposures."""
    return (
        settings.number("rental.hire_min")
        - settings.number("rental.warm_up_min")
        - settings.number("rental.dismantling_min")
    )


def _day_split(
    views: Sequence[ShotView], settings: StudioSettings
) -> tuple[tuple[int, float], ...]:
    usable = usable_rental_min(settings)
    for view in views:
        if view.face == THROUGH and view.minutes > usable:
            method = settings.method(view.method)
            return split_over_days(
                view.tile_count,
                per_plate=method.per_tile_min,
                fixed=view.minutes - method.per_tile_min * view.tile_count,
                usable=usable,
            )
    return ()


def moves(facts: ObjectFacts, size: SizeClass, settings: StudioSettings) -> Moves:
    """Fetching, returning and unframing; a sealed or staying frame costs no unframing."""
    unframe = 0.0
    if facts.framed and not facts.sealed and not facts.frame_stays_on:
        unframe = size.unframe_min
        if facts.glazed:
            unframe += settings.number("size.glazed_extra_min")
    return Moves(
        size_class=size.name,
        fetch_min=size.move_min,
        return_min=size.move_min,
        unframe_min=unframe,
        people=size.people,
        lift=size.lift,
    )


def steps(
    views: Sequence[ShotView], totals: Sequence[StationTotal], settings: StudioSettings
) -> tuple[Step, ...]:
    """The visit step by step: place, every view, and the one turn between front and back."""
    found: list[Step] = []
    for total in totals:
        if settings.stations[total.station].is_placed_separately:
            found.append(Step(do="place", station=total.station))
        is_turned = total.turn_min == 0
        for view in (view for view in views if view.station == total.station):
            if not is_turned and view.face == BACK:
                found.append(Step(do="turn", station=total.station))
                is_turned = True
            found.append(Step(do="shoot", station=total.station, view=view.view))
    return tuple(found)


def count_dose(
    views: Sequence[ShotView], facts: ObjectFacts, settings: StudioSettings
) -> Dose | None:
    """Light per face against the studio's share of the year; None while the class is unknown.

    Only painted faces count towards the share.
    """
    if facts.light_class is None:
        return None
    share = settings.number(f"light.yearly_limit_lxh.{facts.light_class}") * settings.number(
        "light.studio_share_fraction"
    )
    light: dict[str, float] = {}
    ultraviolet: dict[str, float] = {}
    for view in views:
        if view.light_lxh:
            light[view.face] = light.get(view.face, 0.0) + view.light_lxh
        if view.uv_minutes:
            ultraviolet[view.face] = ultraviolet.get(view.face, 0.0) + view.uv_minutes
    painted = facts.painted_faces if facts.painted_faces is not None else (FRONT,)
    counted = sum(dose for face, dose in light.items() if face in painted)
    cap = facts.uv_cap_min
    return Dose(
        light_lxh_by_face={face: round(dose, 1) for face, dose in light.items()},
        light_lxh=round(counted, 1),
        used_before_lxh=facts.light_used_lxh,
        yearly_share_lxh=share,
        over_share=counted + facts.light_used_lxh > share,
        uv_minutes_by_face={face: round(m, 1) for face, m in ultraviolet.items()},
        uv_cap_min=settings.number("uv.cap_min") if cap is None else cap,
    )


def auxiliary_frames(views: Sequence[ShotView], settings: StudioSettings) -> tuple[Auxiliary, ...]:
    """Slate and target once per visit at its first camera station; the rest per set-up card."""
    cameras = settings.values.texts("auxiliary.camera_stations")
    first = next((view.station for view in views if view.station in cameras), None)
    found: list[Auxiliary] = []
    for rule in settings.auxiliary:
        if rule.per == "visit":
            if first is not None:
                found.append(
                    Auxiliary(role=rule.role, station=first, technique=None, count=rule.count)
                )
            continue
        cards: dict[str, ShotView] = {}
        for view in views:
            if view.method in rule.methods:
                cards.setdefault(view.setup_card, view)
        found += [
            Auxiliary(
                role=rule.role, station=view.station, technique=view.technique, count=rule.count
            )
            for view in cards.values()
        ]
    return tuple(found)


def files_by_station(
    views: Sequence[ShotView], auxiliary: Sequence[Auxiliary], settings: StudioSettings
) -> tuple[tuple[str, int], ...]:
    """Files each drop must bring: frames of the views and auxiliary frames."""
    counts = {
        name: sum(view.frames for view in views if view.station == name)
        + sum(item.count for item in auxiliary if item.station == name)
        for name in settings.stations
    }
    return tuple((name, count) for name, count in counts.items() if count)


def visit_cautions(
    totals: Sequence[StationTotal],
    dose: Dose | None,
    facts: ObjectFacts,
    settings: StudioSettings,
) -> tuple[str, ...]:
    """Cautions that come out of the sums: light book, ultraviolet minutes, X-ray over days."""
    found: list[str] = []
    for total in totals:
        if total.day_split:
            plates = " + ".join(f"{count} plates" for count, _ in total.day_split)
            found.append(
                f"The X-ray takes {len(total.day_split)} days ({plates}): the object stays "
                f"unmoved between them, or three re-registration markers per edge are needed."
            )
    if dose is None:
        return tuple(found)
    if dose.over_share:
        found.append(
            f"Light: this list costs about {dose.light_lxh:,.0f} lx·h and "
            f"{dose.used_before_lxh:,.0f} are in the light book, together more than the studio's "
            f"yearly share of {dose.yearly_share_lxh:,.0f}. Split it over years, lower or shorten "
            f"the light, or ask the conservator, who decides."
        )
    for face, minutes in dose.uv_minutes_by_face.items():
        if minutes > dose.uv_cap_min:
            found.append(
                f"Ultraviolet: {minutes:,.3g} min on the {FACE_NAMES[face]} are more than the cap "
                f"of {dose.uv_cap_min:,.3g} min per face and state: a conservator signs or the "
                f"view is split."
            )
    return tuple(found)


def lower_light_notes(
    views: Sequence[ShotView], dose: Dose | None, settings: StudioSettings
) -> tuple[str, ...]:
    """Say what lower lamps would cost where continuous light takes much of the yearly share."""
    if dose is None:
        return ()
    lower = settings.number("light.lower_lamp_lx")
    notable = dose.yearly_share_lxh * settings.number("light.lower_lamp_from_fraction")
    return tuple(
        f"{view.view} costs about {view.light_lxh:,.0f} of {dose.yearly_share_lxh:,.0f} lx·h; "
        f"at {lower:,.0f} lx it would cost {lower * view.minutes / 60:,.0f}."
        for view in views
        if settings.method(view.method).lamp_on == "view"
        and settings.method(view.method).lamp_lx > lower
        and view.light_lxh > notable
    )
