"""Rules of every frame: real depth, density, coverage, keystone, clipping, broken transfer."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from imaging_requests.imaging.measure.finding import Finding, Place
from imaging_requests.imaging.measure.lattice import project
from imaging_requests.imaging.measure.outline import NoOutline, Outline
from imaging_requests.imaging.measure.plan import Sight
from imaging_requests.imaging.measure.sampling import luminance, rectified
from imaging_requests.imaging.measure.scale import Density, percent_off, read_ruler

LEAST_PIXELS = 100_000
LEAST_ROW_PX = 8
FLAT_ROLES = ("flat", "dark", "ambient", "slate")
RULER_STEPS_PER_PX = 2


def check_depth(sight: Sight) -> list[Finding]:
    """G3 for pixels: a 16-bit frame with no more than 256 levels was made deeper afterwards."""
    frame, rules = sight.frame, sight.tools.rules
    if frame.bits <= 8:
        bad = (
            "The picture has 8 bits per channel. Develop it again from the raw file with 16 bits; "
            "a file made deeper afterwards does not help."
        )
        return [rules.found("G3", min(frame.distinct_levels or 0, 256), good="", bad=bad)]
    if frame.distinct_levels is None:
        return [rules.unknown("G3", "The levels of this picture were not counted.")]
    if sight.plan.role in FLAT_ROLES and frame.distinct_levels <= 256:
        because = "So even a picture does not show how many bits it has."
        return [rules.unknown("G3", because)]
    count = frame.distinct_levels
    if count <= 256 and frame.width_px * frame.height_px < LEAST_PIXELS:
        because = "The picture is so small that its levels do not show how many bits it has."
        return [rules.unknown("G3", because)]
    return [
        rules.found(
            "G3",
            count,
            good=f"The picture uses {count:,} levels in its richest channel.",
            bad=f"Upgraded from 8 bit: no channel uses more than {count} levels. Develop it again "
            "from the raw file and keep 16 bits in every step.",
        )
    ]


def check_transfer(sight: Sight) -> list[Finding]:
    """G13: border lines, constant rows, repeated rows and blocks."""
    faults, rules = sight.frame.transfer, sight.tools.rules
    if faults is None:
        return [rules.unknown("G13", "The rows of this picture were not looked at.")]
    if sight.plan.role == "dark":
        return []
    if sight.frame.width_px < LEAST_ROW_PX:
        because = "The picture is so narrow that each of its rows looks like a broken one."
        return [rules.unknown("G13", because)]
    parts = []
    if faults.constant_rows:
        parts.append(f"{faults.constant_rows} rows hold one level only")
    if faults.repeated_rows:
        parts.append(f"{faults.repeated_rows} rows repeat the row above")
    if faults.border:
        parts.append(f"a black or white line runs along the {' and the '.join(faults.border)}")
    if faults.repeated_block is not None:
        parts.append(f"a block of rows from row {faults.repeated_block} on was there before")
    place = None
    if faults.repeated_block is not None:
        place = Place(0, faults.repeated_block, sight.frame.width_px, 4)
    return [
        rules.found(
            "G13",
            faults.count,
            good="No broken lines, no repeated rows or blocks.",
            bad=f"The file was broken on its way: {'; '.join(parts)}. Copy it again from the card "
            "before the card is formatted, or export it anew.",
            place=place,
        )
    ]


def check_clipping(sight: Sight) -> list[Finding]:
    """V7: clipped pixels inside the outline, or in the whole frame if the outline is not seen."""
    frame, rules = sight.frame, sight.tools.rules
    if frame.low_map is None or frame.high_map is None:
        return [rules.unknown("V7", "The ends of the scale were not counted.")]
    outline = sight.outline
    clipped = frame.low_map + frame.high_map
    where, place = "the whole frame", frame.whole
    if isinstance(outline, Outline):
        mask = outline.mask(clipped.shape[:2])
        share = 100 * float(clipped[mask].mean()) if mask.any() else 0.0
        where, place = "the face", outline_place(sight, outline)
        light = float(frame.high_map[mask].mean()) if mask.any() else 0.0
    else:
        share = 100 * float(clipped.mean())
        light = float(frame.high_map.mean())
    end = "white" if light * 200 >= share else "black"
    remedy = "Stop down or take the lamps back" if end == "white" else "Give more light"
    return [
        rules.found(
            "V7",
            share,
            good=f"Of {where} {share:.3f} % is clipped.",
            bad=f"{share:.2f} % of {where} is clipped, mostly at the {end} end: nothing can be "
            f"read there any more. {remedy} and shoot it again; if it is gilding, say so in "
            "the note.",
            place=place,
        )
    ]


def check_density(sight: Sight) -> list[Finding]:
    """G6: true px/mm from the ruler on the strip, else from the known size of the face."""
    rules, plan = sight.tools.rules, sight.plan
    if plan.px_per_mm is None:
        return []
    measured, how = measured_density(sight)
    if measured is None:
        because = (
            "Neither the ruler on the strip nor a face of known size can be read in this frame, so "
            "its true density is not known."
        )
        return [rules.unknown("G6", because)]
    off = percent_off(measured, plan.px_per_mm)
    return [
        rules.found(
            "G6",
            off,
            good=f"The density is {measured:.2f} px/mm by {how}, planned were {plan.px_per_mm:g}.",
            bad=f"The density is {measured:.2f} px/mm by {how}, planned were {plan.px_per_mm:g} "
            f"({off:+.1f} %). The camera stood too far away: move it closer by {-off:.1f} % of the "
            "distance from lens to object and shoot again.",
        )
    ]


def check_geometry(sight: Sight) -> list[Finding]:
    """G10 and V14: is the face wholly in the frame, and square."""
    rules, plan = sight.tools.rules, sight.plan
    if plan.face_mm is None or plan.face not in ("F", "B"):
        return []
    outline = sight.outline
    if isinstance(outline, NoOutline):
        because = f"The outline of the face cannot be found: {_lower(outline.because)}"
        return [rules.unknown("G10", because), rules.unknown("V14", because)]
    density = outline.px_per_mm(*plan.face_mm)
    rows, columns = sight.frame.share.shape[:2]
    margins = [margin / density for margin in outline.margins_px(columns, rows)]
    least = min(margins)
    side = ("left", "top", "right", "bottom")[margins.index(least)]
    keystone = outline.keystone_percent()
    place = outline_place(sight, outline)
    return [
        rules.found(
            "G10",
            least,
            good=f"The whole face is in the frame, with {least:.0f} mm or more around it.",
            bad=f"The face comes within {max(least, 0):.1f} mm of the {side} rim. Move "
            "the camera or take it back a little, so that easel shows all round.",
            place=place,
        ),
        rules.found(
            "V14",
            keystone,
            good=f"Opposite edges agree within {keystone:.2f} %.",
            bad=f"Opposite edges differ by {keystone:.2f} %: camera and face are not parallel. Tip "
            "the easel or level the camera, and shoot again.",
            place=place,
        ),
    ]


def measured_density(sight: Sight) -> tuple[float | None, str]:
    """px/mm of the frame itself and what it was read from."""
    ruler = read_strip_ruler(sight)
    if ruler is not None:
        return ruler.px_per_mm * sight.frame.factor, "the ruler"
    outline = sight.outline
    if sight.plan.face_mm is not None and isinstance(outline, Outline):
        density = outline.px_per_mm(*sight.plan.face_mm)
        return density * sight.frame.factor, "the size of the face"
    return None, ""


def read_strip_ruler(sight: Sight) -> Density | None:
    """The ruler on the strip of a picture in visible light, px of the reduced picture per mm."""
    to_px, light = sight.strip_to_px, sight.frame.light
    if to_px is None or light is None:
        return None
    strip = sight.tools.strip
    x, y = strip.ruler_mm
    across = float(to_px[0, 0] ** 2 + to_px[1, 0] ** 2) ** 0.5
    rows, columns = light.shape[:2]
    step = 1 / across / RULER_STEPS_PER_PX
    length = float((rows**2 + columns**2) ** 0.5) / across
    part, seen = rectified(luminance(light), to_px, (x + 0.5, y - 1.5, length, 3.0), step)
    inside = seen.all(axis=0)
    profile = part.mean(axis=0)[: int(inside.argmin()) if not inside.all() else None]

    def place(edges: NDArray[np.float64]) -> NDArray[np.float64]:
        # the chart is small, so its map is not to be trusted over the length of the ruler: edges
        # are found in the rectified part, and their distances measured in the picture itself
        along = np.column_stack([x + 0.5 + (edges + 0.5) * step, np.full(len(edges), y)])
        at = project(to_px, along)
        return np.asarray(np.hypot(*(at - at[0]).T))

    return read_ruler(profile, block_mm=strip.ruler_block_mm, place=place)


def outline_place(sight: Sight, outline: Outline) -> Place:
    """The box around the outline in px of the frame."""
    (left, top), (right, bottom) = outline.corners.min(axis=0), outline.corners.max(axis=0)
    box = Place(float(left), float(top), float(right - left), float(bottom - top))
    return box.scaled(sight.frame.factor)


def _lower(sentence: str) -> str:
    return sentence[:1].lower() + sentence[1:]
