"""Rules of one frame in raking light and under ultraviolet lamps."""

from __future__ import annotations

import numpy as np

from imaging_requests.imaging.measure.finding import Finding, Place
from imaging_requests.imaging.measure.fluorescence import Glow, Source
from imaging_requests.imaging.measure.plan import Sight
from imaging_requests.imaging.measure.raking import Gauge, read_gauge
from imaging_requests.imaging.measure.specks import count_specks

SIDE_WORDS = {"L": "left", "R": "right", "T": "top", "B": "bottom"}
AZIMUTH_DEG = {"T": 0.0, "R": 90.0, "B": 180.0, "L": 270.0}
SOURCE_WORDS = {
    Source.VIOLET: (
        "violet",
        "Most likely the barrier filter was not on the lens, or a lamp without its own filter. Put "
        "the barrier filter on and shoot all exposures again.",
    ),
    Source.NEUTRAL: (
        "neutral",
        "It looks like room light. Darken the room, cover screens and pilot lamps, and shoot all "
        "exposures again.",
    ),
    Source.RED: (
        "red",
        "It looks like a leak of red or infrared. Check the filter on the lens for one that blocks "
        "infrared too, and shoot all exposures again.",
    ),
}


def find_gauge(sight: Sight) -> Gauge | None:
    """Read the rake gauge: the bed along x for light from the sides, the other for top and bottom.

    If a direction was declared and its own bed shows nothing, the other is read: light from a wrong
    side falls on the other bed.
    """
    to_px, light, strip = sight.strip_to_px, sight.frame.light, sight.tools.strip
    if to_px is None or light is None:
        return None
    density = float(np.hypot(to_px[0, 0], to_px[1, 0]))
    span = float(np.hypot(*light.shape[:2])) / density
    level = (-20.0, strip.level_bed_mm[0], span, strip.level_bed_mm[1])
    upright = (strip.upright_bed_mm[0], -span, strip.upright_bed_mm[1], span + 20)
    first = sight.plan.direction not in ("T", "B")
    for is_level in (first, not first):
        bed = level if is_level else upright
        gauge = read_gauge(light, to_px, bed, is_level=is_level, pin_mm=strip.pin_mm)
        if gauge is not None:
            return gauge
    return None


def check_raking(sight: Sight) -> list[Finding]:
    """R3, R4 and R7 from the gauge."""
    rules, plan = sight.tools.rules, sight.plan
    gauge = find_gauge(sight)
    if gauge is None:
        because = (
            "The rake gauge cannot be read in this frame, so neither side nor height of the lamp "
            "is known. Shoot one frame that shows the whole strip, with the lamp where it is."
        )
        return [rules.unknown(rule, because) for rule in ("R3", "R4", "R7")]
    found = []
    if plan.direction in AZIMUTH_DEG:
        off = (gauge.azimuth_deg - AZIMUTH_DEG[plan.direction] + 180) % 360 - 180
        declared, seen = SIDE_WORDS[plan.direction], SIDE_WORDS[gauge.side]
        found.append(
            rules.found(
                "R3",
                off,
                good=f"The light comes from the {seen}, as declared.",
                bad=f"Declared {declared}, but the light comes from the {seen}: the gauge's shadow "
                "points the other way. If the lamp stood right, file the frame under its true "
                "side; if not, move the lamp and shoot again.",
            )
        )
    wanted = plan.elevation_deg or rules.number("raking.elevation_deg")
    if gauge.elevation_deg is None:
        because = "The gauge's shadow runs off its bed, so the lamp's height cannot be read."
        found.append(rules.unknown("R4", because))
    else:
        off = gauge.elevation_deg - wanted
        move = "lower" if off > 0 else "higher"
        found.append(
            rules.found(
                "R4",
                off,
                good=f"The lamp stands at {gauge.elevation_deg:.1f}°, the card says {wanted:g}°.",
                bad=f"The card says {wanted:g}°, the gauge says {gauge.elevation_deg:.1f}° (shadow "
                f"{gauge.shadow_mm:.0f} mm). Set the lamp {move}: a degree looks like a change of "
                "the surface.",
            )
        )
    found.append(
        rules.found(
            "R7",
            gauge.contrast,
            good=f"The gauge's shadow is dark ({gauge.contrast:.0f}:1).",
            bad=f"The gauge's shadow is filled with light from elsewhere ({gauge.contrast:.0f}:1). "
            "Switch off or cover what else shines, and shoot again.",
        )
    )
    return found


def check_fluorescence(sight: Sight) -> list[Finding]:
    """U1, U4, U5 from the reference patches and U6 from single pixels."""
    rules, glow = sight.tools.rules, sight.glow
    found = []
    if glow is None:
        because = (
            "The glowing reference patches cannot be found in this frame, so nobody can say what "
            "light reached the camera. Shoot one frame with the target strip now, the lamps as "
            "they are."
        )
        found = [rules.unknown(rule, because) for rule in ("U1", "U4", "U5")]
    else:
        place = _glow_place(sight, glow)
        found = [*_slip(sight, glow, place), *_level(sight, glow, place)]
    return [*found, *check_hot_pixels(sight)]


def check_hot_pixels(sight: Sight) -> list[Finding]:
    """U6: single bright pixels of long exposures, in five parts of the frame."""
    rules = sight.tools.rules
    least = rules.number("specks.least_share")
    shares, pixels = [], 0
    for part in sight.frame.samples():
        share = count_specks(part, least=least, is_bright_only=True)
        if share is not None:
            shares.append(share)
            pixels += part.shape[0] * part.shape[1]
    # the parts of a small frame lie over each other, and each pixel counts once
    pixels = min(pixels, sight.frame.width_px * sight.frame.height_px)
    if pixels < rules.number("specks.least_pixels"):
        return [rules.unknown("U6", "The frame is too small to look for hot pixels.")]
    ppm = 1e6 * float(np.mean(shares))
    return [
        rules.found(
            "U6",
            ppm,
            good=f"Hot pixels: {ppm:.0f} per million.",
            bad=f"{ppm:.0f} of a million pixels are hot. Take a dark frame of the same length and "
            "have it subtracted, or let the camera cool down.",
        )
    ]


def _slip(sight: Sight, glow: Glow, place: Place) -> list[Finding]:
    rules = sight.tools.rules
    if glow.is_saturated:
        because = (
            "The glowing patch is at the end of the scale in this exposure, so nothing can be held "
            "against it; a darker exposure of the bracket tells."
        )
        return [rules.unknown("U1", because, place=place)]
    percent = 100 * glow.slip
    source = glow.source(
        violet_ratio=rules.number("uv.violet_blue_over_green"),
        red_ratio=rules.number("uv.red_over_green"),
    )
    word, remedy = SOURCE_WORDS[source]
    return [
        rules.found(
            "U1",
            percent,
            good=f"Only the glow reached the camera (white patch {percent:.1f} % of the glowing "
            "patch).",
            bad="Light reached the camera that should have been blocked (white patch "
            f"{percent:.0f} % of the glowing patch, {word}). {remedy}",
            place=place,
        )
    ]


def _level(sight: Sight, glow: Glow, place: Place) -> list[Finding]:
    rules = sight.tools.rules
    found = []
    if sight.plan.ev == 0 and not glow.is_saturated:
        off = float(np.log2(max(glow.level, 1e-6) / rules.number("uv.target_level")))
        found.append(
            rules.found(
                "U4",
                off,
                good=f"The glowing patch is at the level of the card ({off:+.2f} EV).",
                bad=f"The glowing patch is {off:+.2f} EV off the level of the card. Change the "
                "exposure time by that much and shoot the bracket again.",
                place=place,
            )
        )
    if glow.unevenness is None:
        because = "Only one glowing patch is in this frame, so the lamps cannot be compared."
        found.append(rules.unknown("U5", because, place=place))
    elif glow.is_saturated:
        because = "The glowing patches are at the end of the scale in this exposure."
        found.append(rules.unknown("U5", because, place=place))
    else:
        percent = 100 * glow.unevenness
        found.append(
            rules.found(
                "U5",
                percent,
                good=f"Both glowing patches agree within {percent:.0f} %.",
                bad=f"The glowing patches differ by {percent:.0f} %: one lamp is nearer or weaker. "
                "Set both at the same distance and angle, and shoot again.",
                place=place,
            )
        )
    return found


def _glow_place(sight: Sight, glow: Glow) -> Place:
    side = glow.side_px
    x, y = glow.centre_px
    return Place(x - side / 2, y - side / 2, side, 3 * side).scaled(sight.frame.factor)
