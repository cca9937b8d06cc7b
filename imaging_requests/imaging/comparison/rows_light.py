"""Rows of the table that concern lamps, filters, charts, bands and X-ray exposure."""

from __future__ import annotations

from .limits import GradeLimits
from .set_up import Pair, SetUp, angle_between, lamp_type, widest_turn
from .terms import Comparability, Finding, by_limits, unknown, worst

A, B, C, N = Comparability.A, Comparability.B, Comparability.C, Comparability.N
NO_FILTER = "none"
NO_POLARISER = "none"


def visible_lamps(before: SetUp, after: SetUp, limits: GradeLimits) -> Finding:
    """Same type and polarisation, angles within limits; polarised against not: N."""
    row = "lamps"
    if not (before.polarisation and after.polarisation):
        return unknown(row, "the polarisers were not recorded for both")
    if (before.polarisation == NO_POLARISER) != (after.polarisation == NO_POLARISER):
        return Finding(row=row, grade=N, reason="one picture was polarised and the other was not")
    if before.polarisation != after.polarisation:
        words = f"polarisers {after.polarisation} instead of {before.polarisation}"
        return Finding(row=row, grade=C, reason=words)
    if not (before.light and after.light):
        return unknown(row, "the kind of light was not recorded for both")
    if before.light != after.light:
        words = f"{after.light} light instead of {before.light} light"
        return Finding(row=row, grade=C, reason=words)
    if not (before.lamps and after.lamps):
        return unknown(row, "the lamps were not recorded for both")
    if before.lamp_types != after.lamp_types:
        words = f"other lamps ({', '.join(after.lamps)} instead of {', '.join(before.lamps)})"
        return Finding(row=row, grade=C, reason=words)
    return _lamp_angles(before, after, limits, same_items=before.lamps == after.lamps)


def _lamp_angles(before: SetUp, after: SetUp, limits: GradeLimits, *, same_items: bool) -> Finding:
    row = "lamps"
    if before.elevation_deg is None or after.elevation_deg is None:
        return unknown(row, "the height of the lamps was not recorded for both")
    if not before.azimuths_deg or not after.azimuths_deg:
        return unknown(row, "the directions of the lamps were not recorded for both")
    turned = widest_turn(before.azimuths_deg, after.azimuths_deg)
    if turned is None:
        return Finding(row=row, grade=C, reason="another number of lamps")
    raised = abs(after.elevation_deg - before.elevation_deg)
    grade = by_limits(max(turned, raised), limits.lamps_deg)
    same = "the same lamps" if same_items else "other lamps of the same type"
    if max(turned, raised) < 0.05:
        return Finding(row=row, grade=grade, reason=f"{same} in the same places")
    what = "azimuth" if turned >= raised else "elevation"
    words = f"{same}, {what} {max(turned, raised):.0f}° off"
    return Finding(row=row, grade=grade, reason=words)


def chart(pair: Pair, limits: GradeLimits) -> Finding:
    """Mean ΔE00 between the charts of both shoots."""
    row = "chart"
    if pair.has_chart is False:
        return Finding(row=row, grade=N, reason="one of the pictures has no colour chart")
    if pair.chart_delta_e is None:
        return unknown(row, "the charts of the two shoots have not been compared")
    difference = pair.chart_delta_e
    words = f"the charts of the two shoots differ by {difference:.1f} ΔE00 on average"
    first, second, third = limits.chart_delta_e
    if difference > third + 1e-9:
        return Finding(row=row, grade=N, reason=words)
    return Finding(row=row, grade=by_limits(difference, (first, second)), reason=words)


def raking(before: SetUp, after: SetUp, limits: GradeLimits) -> Finding:
    """Azimuth and elevation of the raking lamp; light from another direction: N."""
    row = "rake"
    if not before.azimuths_deg or not after.azimuths_deg:
        return unknown(row, "the direction of the raking lamp was not recorded for both")
    turned = angle_between(before.azimuths_deg[0], after.azimuths_deg[0])
    if turned > limits.rake_other_direction_deg:
        return Finding(row=row, grade=N, reason="the light comes from another direction")
    if before.elevation_deg is None or after.elevation_deg is None:
        return unknown(row, "the height of the raking lamp was not recorded for both")
    raised = after.elevation_deg - before.elevation_deg
    by_turn = by_limits(turned, limits.rake_azimuth_deg)
    by_height = by_limits(raised, limits.rake_elevation_deg)
    grade = worst([by_turn, by_height])
    parts = []
    if abs(raised) > 0.05 and (by_height is grade or grade is A):
        parts.append(
            f"the lamp stood at {after.elevation_deg:.1f}° instead of {before.elevation_deg:.1f}°"
        )
    if turned > 0.5 and (by_turn is grade or grade is A):
        parts.append(f"its direction is {turned:.0f}° off")
    return Finding(row=row, grade=grade, reason=" and ".join(parts) or "the lamp stood as before")


def ultraviolet_items(before: SetUp, after: SetUp) -> Finding:
    """Same lamps and filters A, same specification B, other C; without a barrier filter N."""
    row = "filters"
    if NO_FILTER in (before.barrier_filter, after.barrier_filter):
        words = "a picture was made without the barrier filter and shows reflected violet"
        return Finding(row=row, grade=N, reason=words)
    if not (before.barrier_filter and after.barrier_filter):
        return unknown(row, "the barrier filter was not recorded for both")
    if not (before.lamps and after.lamps and before.lamp_filter and after.lamp_filter):
        return unknown(row, "ultraviolet lamps and their filters were not recorded for both")
    if _filters(before) != _filters(after):
        words = f"filters {_filters(after)} instead of {_filters(before)}"
        if _filter_types(before) != _filter_types(after):
            return Finding(row=row, grade=C, reason=words)
        return Finding(row=row, grade=B, reason=f"{words}, of the same specification")
    if before.lamps == after.lamps:
        return Finding(row=row, grade=A, reason="the same lamps and filters")
    same = before.lamp_types == after.lamp_types
    words = "other lamps of the same specification" if same else "other ultraviolet lamps"
    return Finding(row=row, grade=B if same else C, reason=words)


def _filters(set_up: SetUp) -> str:
    return f"{set_up.lamp_filter} and {set_up.barrier_filter}"


def _filter_types(set_up: SetUp) -> tuple[str, str]:
    return lamp_type(set_up.lamp_filter), lamp_type(set_up.barrier_filter)


def ultraviolet_patch(pair: Pair, limits: GradeLimits) -> Finding:
    """Light of the fluorescent reference patch in both files; no patch: N."""
    row = "patch"
    if pair.has_patch is False:
        return Finding(row=row, grade=N, reason="one of the pictures has no reference patch")
    if pair.patch_percent is None:
        return unknown(row, "the reference patches of the two shoots have not been compared")
    words = f"the reference patches differ by {abs(pair.patch_percent):.0f} % in the files"
    return Finding(row=row, grade=by_limits(pair.patch_percent, limits.patch_percent), reason=words)


def infrared_band(before: SetUp, after: SetUp, pair: Pair, limits: GradeLimits) -> Finding:
    """Both ends of the band, the lamp's kind, the ink lines; another kind of sensor: N."""
    row = "band"
    if before.sensor and after.sensor and before.sensor != after.sensor:
        words = f"another kind of sensor ({after.sensor} instead of {before.sensor})"
        return Finding(row=row, grade=N, reason=words)
    by_ink = A if pair.ink_points is None else by_limits(pair.ink_points, limits.ink_points)
    ink_words = (
        f"the ink lines differ by {abs(pair.ink_points or 0):.0f} % of carbon ink's contrast"
    )
    if before.band_nm is None or after.band_nm is None:
        if by_ink is C:
            return Finding(row=row, grade=C, reason=ink_words)
        return unknown(row, "the infrared band was not recorded for both")
    off = max(abs(a - b) for a, b in zip(before.band_nm, after.band_nm, strict=True))
    grade = by_limits(off, limits.band_nm)
    if before.lamps and after.lamps and before.lamp_types != after.lamp_types:
        return Finding(row=row, grade=C, reason="another kind of infrared lamp")
    if worst([grade, by_ink]) is not grade:
        words = f"{ink_words}, so the band is not the one that was recorded"
        return Finding(row=row, grade=by_ink, reason=words)
    words = f"the band differs by {off:.0f} nm" if off > 0.5 else "the same band"
    return Finding(row=row, grade=grade, reason=words)


def x_ray_exposure(before: SetUp, after: SetUp, limits: GradeLimits) -> Finding:
    """Voltage, mA·s and detector; polarity that nobody stated: N."""
    row = "x_ray"
    known = ("positive", "negative")
    if before.polarity not in known or after.polarity not in known:
        return Finding(row=row, grade=N, reason="the polarity of one picture is not known")
    if not (before.voltage_kv and after.voltage_kv and before.charge_mas and after.charge_mas):
        return unknown(row, "voltage and exposure were not recorded for both")
    if not (before.camera_serial and after.camera_serial):
        return unknown(row, "the detector was not recorded for both")
    volts = after.voltage_kv - before.voltage_kv
    percent = 100 * (after.charge_mas / before.charge_mas - 1)
    found = [
        (by_limits(volts, limits.voltage_kv), f"{abs(volts):.1f} kV apart"),
        (by_limits(percent, limits.charge_percent), f"mA·s differ by {abs(percent):.0f} %"),
        (
            A if before.camera_serial == after.camera_serial else C,
            f"another detector ({after.camera_serial} instead of {before.camera_serial})",
        ),
    ]
    grade = worst([each for each, _ in found])
    words = " and ".join(text for each, text in found if each is grade)
    return Finding(
        row=row, grade=grade, reason="the same exposure and detector" if grade is A else words
    )
