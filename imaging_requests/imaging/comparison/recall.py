"""Set-up recall: from one test frame to advice in numbers, until a set-up is back where it was.

Formulas: distance ``Δu = u·(a/b − 1)`` with the measured density a and the wanted one b (plus is
away); tilt ``θ = asin(k·u/h)`` with the keystone k over the height h; exposure
``log2(wanted / measured)``; lamp height ``d·(tan α_wanted − tan α_measured)`` at the distance d.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum


class Part(StrEnum):
    """What of the set-up is spoken of."""

    DISTANCE = "distance"
    TILT = "tilt"
    PAN = "pan"
    EXPOSURE = "exposure"
    LAMP = "lamp"


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured:
    """What a test frame shows; None for what it does not.

    Attributes:
        px_per_mm: Density in the middle of the picture.
        keystone: How much longer the lower edge is than the upper one, as a share of the length.
        side_keystone: How much longer the right edge is than the left one.
        level: Linear level of the reference patch, 0 to 1.
        shadow_mm: Length of the gauge's shadow.
    """

    px_per_mm: float | None = None
    keystone: float | None = None
    side_keystone: float | None = None
    level: float | None = None
    shadow_mm: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Wanted:
    """What the set-up was, and what it takes to turn a difference into a movement.

    Attributes:
        px_per_mm, level: To be reached; None leaves the part out.
        distance_mm: Lens to object.
        height_mm, width_mm: Between the edges over which the keystones were measured.
        elevation_deg: Of the raking lamp; ``lamp_distance_mm`` along the floor, lamp to gauge.
        pin_mm: Height of the gauge's pin.
    """

    distance_mm: float
    px_per_mm: float | None = None
    height_mm: float | None = None
    width_mm: float | None = None
    level: float | None = None
    elevation_deg: float | None = None
    lamp_distance_mm: float | None = None
    pin_mm: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Tolerances:
    """How near is near enough, so that the pair reaches grade A."""

    distance_mm: float
    tilt_deg: float
    exposure_ev: float
    elevation_deg: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Advice:
    """One movement.

    ``amount``: in ``unit``, signed: plus is away, top (or left side) away from the camera, more
    light, lamp higher. ``is_good``: within tolerance, nothing to do.
    """

    part: Part
    amount: float
    unit: str
    is_good: bool
    sentence: str


def distance_change_mm(distance_mm: float, px_per_mm: float, wanted_px_per_mm: float) -> float:
    """How far to move the camera, plus is away: ``u·(a/b − 1)``.

    >>> round(distance_change_mm(2400, 12.17, 12.00))
    34
    """
    return distance_mm * (px_per_mm / wanted_px_per_mm - 1)


def tilt_from_keystone_deg(keystone: float, distance_mm: float, height_mm: float) -> float:
    """Angle that makes a keystone: ``asin(k·u/h)``; its sign is the keystone's.

    Raises:
        ValueError: No tilt makes so strong a keystone.

    >>> round(tilt_from_keystone_deg(0.004, 2400, 920), 1)
    0.6
    """
    sine = keystone * distance_mm / height_mm
    if abs(sine) > 1:
        raise ValueError(
            f"A keystone of {100 * keystone:.1f} % over {height_mm:g} mm at {distance_mm:g} mm "
            "cannot come from a tilt. Check the measurement and the distance."
        )
    return math.degrees(math.asin(sine))


def elevation_from_shadow_deg(pin_mm: float, shadow_mm: float) -> float:
    """Elevation of a lamp by the shadow of a pin: ``atan(pin / shadow)``.

    >>> round(elevation_from_shadow_deg(10, 56.7), 1)
    10.0
    """
    return math.degrees(math.atan2(pin_mm, shadow_mm))


def lamp_rise_mm(elevation_deg: float, wanted_deg: float, lamp_distance_mm: float) -> float:
    """How far to raise a lamp, minus is lower: ``d·(tan α_wanted − tan α_measured)``.

    >>> round(lamp_rise_mm(10.71, 10, 3000))
    -38
    """
    return lamp_distance_mm * (
        math.tan(math.radians(wanted_deg)) - math.tan(math.radians(elevation_deg))
    )


def advise(measured: Measured, wanted: Wanted, tolerances: Tolerances) -> tuple[Advice, ...]:
    """Say how to move camera, easel, exposure and lamp; only for what is known on both sides.

    Raises:
        ValueError: A value makes no sense (a density, level or distance that is not above zero).

    >>> near = Tolerances(distance_mm=5, tilt_deg=0.1, exposure_ev=0.05, elevation_deg=1)
    >>> told = advise(
    ...     Measured(px_per_mm=12.17, keystone=0.004),
    ...     Wanted(px_per_mm=12, distance_mm=2400, height_mm=920),
    ...     near,
    ... )
    >>> [each.sentence for each in told]
    ['Move the camera 34 mm back.', 'Tip the easel top 0.6° towards you.']
    """
    _demand_above_zero(measured, wanted)
    found: list[Advice] = []
    if measured.px_per_mm is not None and wanted.px_per_mm is not None:
        change = distance_change_mm(wanted.distance_mm, measured.px_per_mm, wanted.px_per_mm)
        found.append(_distance(change, tolerances))
    if measured.keystone is not None and wanted.height_mm is not None:
        angle = tilt_from_keystone_deg(measured.keystone, wanted.distance_mm, wanted.height_mm)
        found.append(_turn(Part.TILT, angle, tolerances))
    if measured.side_keystone is not None and wanted.width_mm is not None:
        angle = tilt_from_keystone_deg(measured.side_keystone, wanted.distance_mm, wanted.width_mm)
        found.append(_turn(Part.PAN, angle, tolerances))
    if measured.level is not None and wanted.level is not None:
        found.append(_exposure(math.log2(wanted.level / measured.level), tolerances))
    lamp = (measured.shadow_mm, wanted.elevation_deg, wanted.lamp_distance_mm, wanted.pin_mm)
    if None not in lamp:
        found.append(_lamp(measured, wanted, tolerances))
    return tuple(found)


def _demand_above_zero(measured: Measured, wanted: Wanted) -> None:
    for name, value in (
        ("The measured density", measured.px_per_mm),
        ("The measured level", measured.level),
        ("The shadow", measured.shadow_mm),
        ("The wanted density", wanted.px_per_mm),
        ("The distance", wanted.distance_mm),
        ("The height", wanted.height_mm),
        ("The width", wanted.width_mm),
        ("The wanted level", wanted.level),
        ("The distance of the lamp", wanted.lamp_distance_mm),
        ("The pin", wanted.pin_mm),
    ):
        if value is not None and not 0 < value < math.inf:
            raise ValueError(f"{name} must be above zero, got {value:g}.")
    if wanted.elevation_deg is not None and not 0 < wanted.elevation_deg < 90:
        raise ValueError("The wanted elevation must lie between 0 and 90 degrees.")


def _distance(change_mm: float, tolerances: Tolerances) -> Advice:
    good = abs(change_mm) <= tolerances.distance_mm
    way = "back" if change_mm > 0 else "closer"
    return Advice(
        part=Part.DISTANCE,
        amount=change_mm,
        unit="mm",
        is_good=good,
        sentence="The distance is right."
        if good
        else f"Move the camera {abs(change_mm):.0f} mm {way}.",
    )


def _turn(part: Part, away_deg: float, tolerances: Tolerances) -> Advice:
    good = abs(away_deg) <= tolerances.tilt_deg
    way = "towards you" if away_deg > 0 else "away from you"
    what = "Tip the easel top" if part is Part.TILT else "Turn the easel's left side"
    right = "The tilt is right." if part is Part.TILT else "The easel stands square."
    return Advice(
        part=part,
        amount=away_deg,
        unit="°",
        is_good=good,
        sentence=right if good else f"{what} {abs(away_deg):.1f}° {way}.",
    )


def _exposure(ev: float, tolerances: Tolerances) -> Advice:
    good = abs(ev) <= tolerances.exposure_ev
    return Advice(
        part=Part.EXPOSURE,
        amount=ev,
        unit="EV",
        is_good=good,
        sentence="The exposure is right."
        if good
        else f"Expose {'+' if ev > 0 else '−'}{abs(ev):.1f} EV.",
    )


def _lamp(measured: Measured, wanted: Wanted, tolerances: Tolerances) -> Advice:
    pin, shadow = wanted.pin_mm or 0.0, measured.shadow_mm or 0.0
    target, distance = wanted.elevation_deg or 0.0, wanted.lamp_distance_mm or 0.0
    angle = elevation_from_shadow_deg(pin, shadow)
    rise = lamp_rise_mm(angle, target, distance)
    good = abs(angle - target) <= tolerances.elevation_deg
    way = "higher" if rise > 0 else "lower"
    return Advice(
        part=Part.LAMP,
        amount=rise,
        unit="mm",
        is_good=good,
        sentence=f"The lamp stands at {angle:.1f}°, which is right."
        if good
        else f"Set the lamp {abs(rise):.0f} mm {way}: it stands at {angle:.1f}° instead of "
        f"{target:.1f}°.",
    )
