"""Rules of one infrared frame and of one X-ray plate."""

from __future__ import annotations

import numpy as np

from imaging_requests.imaging.measure.delta_e import lab_to_xyz
from imaging_requests.imaging.measure.finding import Finding, Place
from imaging_requests.imaging.measure.infrared import InkLines, linearity, read_ink_lines
from imaging_requests.imaging.measure.outline import Outline
from imaging_requests.imaging.measure.plan import Sight
from imaging_requests.imaging.measure.specks import count_specks
from imaging_requests.imaging.measure.xray import (
    Polarity,
    dead_lines,
    find_marker,
    signal_to_noise,
)

POLARITY_WORDS = {
    Polarity.DENSE_BRIGHT: "dense parts bright, as on film",
    Polarity.DENSE_DARK: "dense parts dark, as a detector gives it",
}


def check_infrared(sight: Sight) -> list[Finding]:
    """I1, I2, I4 and I6."""
    return [*_saturated(sight), *_dead_pixels(sight), *_strip(sight)]


def check_x_ray(sight: Sight) -> list[Finding]:
    """X1, X2, X3 and X5."""
    rules, frame = sight.tools.rules, sight.frame
    found = [_polarity(sight)]
    values = [value for part in frame.samples() if (value := signal_to_noise(part)) is not None]
    if not values:
        because = "The plate has no smooth part of middling density, so its noise is not known."
        found.append(rules.unknown("X2", because))
    else:
        ratio = float(np.median(values))
        found.append(
            rules.found(
                "X2",
                ratio,
                good=f"The signal is {ratio:.0f} times the noise.",
                bad=f"The signal is only {ratio:.0f} times the noise, so fine detail drowns. The "
                "radiographer decides whether the plate is exposed again.",
            )
        )
    found.append(_x_ray_ends(sight))
    rows, columns = dead_lines(frame.share)
    lines = rows + columns
    found.append(
        rules.found(
            "X5",
            lines,
            good="No dead lines.",
            bad=f"{rows} rows and {columns} columns of the detector are dead. Have it calibrated, "
            "and expose the plate again if they cross the paint.",
        )
    )
    return found


def _polarity(sight: Sight) -> Finding:
    rules, stated = sight.tools.rules, sight.plan.polarity
    marker = find_marker(sight.frame.share)
    if marker is None:
        because = (
            "No lead marker can be found on this plate, so its polarity is not proven. Look at it "
            "and state it."
        )
        return rules.unknown("X1", because)
    place = marker.place.scaled(sight.frame.factor)
    words = POLARITY_WORDS[marker.polarity]
    if not stated:
        because = f"Nobody has stated the polarity. The lead marker says: {words}. State it."
        return rules.unknown("X1", because, place=place)
    return rules.found(
        "X1",
        float(marker.polarity.value == stated),
        good=f"The lead marker agrees with the stated polarity: {words}.",
        bad=f"The lead marker contradicts the stated polarity: it says {words}. Correct the "
        "statement; the file itself stays as it is.",
        place=place,
    )


def _x_ray_ends(sight: Sight) -> Finding:
    frame, rules = sight.frame, sight.tools.rules
    if frame.low_map is None or frame.high_map is None:
        return rules.unknown("X3", "The ends of the scale were not counted.")
    outline = sight.outline
    ends = frame.low_map + frame.high_map
    if isinstance(outline, Outline):
        inside = outline.mask(ends.shape[:2])
        percent = 100 * float(ends[inside].mean()) if inside.any() else 0.0
        where = "the object"
    else:
        percent, where = 100 * float(ends.mean()), "the plate"
    return rules.found(
        "X3",
        percent,
        good=f"Of {where} {percent:.2f} % is at the end of the scale.",
        bad=f"{percent:.1f} % of {where} is at the end of the scale; nothing can be read there. If "
        "it is air beside the object or lead, say so; else the radiographer decides.",
    )


def _saturated(sight: Sight) -> list[Finding]:
    frame, rules = sight.frame, sight.tools.rules
    if frame.high_map is None:
        return [rules.unknown("I1", "The ends of the scale were not counted.")]
    percent = 100 * float(frame.high_map.mean())
    return [
        rules.found(
            "I1",
            percent,
            good=f"{percent:.3f} % of the frame is saturated.",
            bad=f"{percent:.2f} % of the frame is saturated. Shorten the exposure or take the "
            "lamps back, and shoot the tile again.",
        )
    ]


def _dead_pixels(sight: Sight) -> list[Finding]:
    rules = sight.tools.rules
    least = rules.number("specks.least_share")
    shares = [
        share
        for part in sight.frame.samples()
        if (share := count_specks(part, least=least)) is not None
    ]
    if not shares:
        return [rules.unknown("I2", "The frame is too small to look for dead pixels.")]
    percent = 100 * float(np.mean(shares))
    return [
        rules.found(
            "I2",
            percent,
            good=f"Dead pixels left: {percent:.4f} %.",
            bad=f"{percent:.3f} % of the pixels are dead. Renew the sensor's table of bad pixels "
            "and export the tile again.",
        )
    ]


def _strip(sight: Sight) -> list[Finding]:
    rules, strip, row = sight.tools.rules, sight.tools.strip, sight.grey_row
    light = sight.frame.light
    if row is None or light is None:
        because = (
            "The infrared strip cannot be found in this frame, so band and linearity are not "
            "known. A frame that shows it, with the same filter, tells for all tiles."
        )
        return [rules.unknown(rule, because) for rule in ("I4", "I6")]
    known = np.array(strip.infrared_greys_l[-len(row.light) :])
    reference = lab_to_xyz(np.column_stack([known, 0 * known, 0 * known]))[:, 1]
    fit = linearity(row.light, reference)
    found = []
    if fit is None:
        found.append(rules.unknown("I4", "The grey steps of the strip do not differ."))
    else:
        found.append(
            rules.found(
                "I4",
                fit,
                good=f"The grey steps lie on a straight line (R² {fit:.4f}).",
                bad=f"The grey steps do not lie on a straight line (R² {fit:.4f}): a tone curve "
                "was applied. Export the tile linear.",
            )
        )
    return [*found, _band(sight)]


def ink_lines(sight: Sight) -> InkLines | None:
    """Read the two ink lines of the infrared strip; None if they are not in the frame."""
    strip, row, light = sight.tools.strip, sight.grey_row, sight.frame.light
    if row is None or light is None:
        return None
    step = strip.infrared_step_mm
    return read_ink_lines(
        light,
        row,
        carbon_steps=strip.carbon_mm / step,
        iron_gall_steps=strip.iron_gall_mm / step,
        width_steps=strip.line_mm / step,
    )


def ink_ratio(sight: Sight) -> float | None:
    """Contrast of iron-gall ink over that of carbon ink; None if the lines were not read."""
    lines = ink_lines(sight)
    least = sight.tools.rules.number("infrared.least_carbon_contrast")
    return None if lines is None or lines.carbon < least else lines.ratio


def _band(sight: Sight) -> Finding:
    rules, strip, row = sight.tools.rules, sight.tools.strip, sight.grey_row
    assert row is not None
    lines = ink_lines(sight)
    if lines is None:
        return rules.unknown("I6", "The ink lines of the strip lie outside this frame.")
    step = strip.infrared_step_mm
    x, y = row.at((strip.carbon_mm + strip.iron_gall_mm) / 2 / step)
    side = 2 * float(np.hypot(*row.step_px))
    place = Place(x - side / 2, y - side / 2, side, side).scaled(sight.frame.factor)
    if lines.carbon < rules.number("infrared.least_carbon_contrast"):
        because = "The carbon line is not dark where it should be, so the strip was not read right."
        return rules.unknown("I6", because, place=place)
    percent = 100 * lines.ratio
    return rules.found(
        "I6",
        percent,
        good=f"Iron-gall ink has vanished ({percent:.1f} % of carbon ink's contrast).",
        bad=f"Iron-gall ink is still visible ({percent:.0f} % of carbon ink's contrast): the "
        "camera saw shorter waves than about 1,200 nm. Check sensor and filter, and shoot again.",
        place=place,
    )
