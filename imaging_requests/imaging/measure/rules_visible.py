"""Rules of pictures in visible light: colour, greys, noise, evenness, banding, sharpness."""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from imaging_requests.imaging.measure.chart_find import ChartNotFound, FoundChart
from imaging_requests.imaging.measure.chart_read import (
    ColourReport,
    PatchReadings,
    compare_with_reference,
    read_patches,
)
from imaging_requests.imaging.measure.edge import Sfr, measure_edge
from imaging_requests.imaging.measure.evenness import banding, measure_field
from imaging_requests.imaging.measure.finding import Finding, Place
from imaging_requests.imaging.measure.outline import Outline
from imaging_requests.imaging.measure.plan import Sight
from imaging_requests.imaging.measure.regions import find_patches
from imaging_requests.imaging.measure.sampling import luminance

COLOUR_RULES = ("V1", "V2", "V3", "V4", "V5")
NO_CHART = (
    "The colour chart cannot be found in this frame, so nobody can say whether the colour is "
    "right. Point to it, or shoot one frame with it now."
)
EDGE_PX = 48
MARGIN_PX = 64
MOST_ROWS = 4096
MOST_EDGES = 24


def check_colour(sight: Sight) -> list[Finding]:
    """V1 to V5 from the chart."""
    rules, chart = sight.tools.rules, sight.chart
    if isinstance(chart, ChartNotFound):
        because = f"{NO_CHART} ({chart.because})"
        return [rules.unknown(rule, because) for rule in COLOUR_RULES]
    place = chart_place(chart, sight.frame.factor)
    if chart.is_mirrored:
        because = (
            "The chart reads as in a mirror, so the whole picture is mirrored. Export it again as "
            "the viewer sees it; then its colour is measured."
        )
        return [rules.unknown(rule, because, place=place) for rule in COLOUR_RULES]
    report = read_chart(sight, chart)
    if report is None:
        because = "The patches of the chart are too small or cut off in this frame to be read."
        return [rules.unknown(rule, because, place=place) for rule in COLOUR_RULES]
    return _colour_findings(sight, chart, report, place)


def read_chart(sight: Sight, chart: FoundChart) -> ColourReport | None:
    """Read a chart against its reference; None if its patches cannot be read."""
    found = _read_patches(sight, chart)
    return None if found is None else compare_with_reference(*found)


def chart_readings(sight: Sight, chart: FoundChart) -> PatchReadings | None:
    """Read the patches of a chart in full resolution; None if they cannot be read."""
    found = _read_patches(sight, chart)
    return None if found is None else found[0]


def _read_patches(sight: Sight, chart: FoundChart) -> tuple[PatchReadings, FoundChart] | None:
    encoding = sight.frame.encoding
    if encoding is None:
        return None
    full = chart.scaled(sight.frame.factor)
    corners = full.corners_px()
    left, top = (int(value) for value in np.maximum(np.floor(corners.min(axis=0)) - 2, 0))
    right, bottom = (int(value) for value in np.ceil(corners.max(axis=0)) + 3)
    part = sight.frame.crop(left, top, right - left, bottom - top)
    if part is None:
        return None
    move = np.array([[1, 0, -left], [0, 1, -top], [0, 0, 1.0]])
    moved = FoundChart(
        full.edition, move @ full.to_px, full.turn, full.is_mirrored, full.seen, full.delta_e
    )
    readings = read_patches(part, moved, encoding)
    return None if readings is None else (readings, moved)


def check_flat_field(sight: Sight) -> list[Finding]:
    """V6: a flat-field frame as it is."""
    light = sight.frame.light
    field = None if light is None else measure_field(light)
    if field is None:
        because = "This frame shows no evenly lit board, so its evenness cannot be measured."
        return [sight.tools.rules.unknown("V6", because)]
    return [
        sight.tools.rules.found(
            "V6",
            field.range_l,
            good=f"The light differs by {field.range_l:.2f} L* over the board "
            f"({field.fall_off_ev:+.2f} EV in the darkest corner).",
            bad=f"The light differs by {field.range_l:.2f} L* over the board "
            f"({field.fall_off_ev:+.2f} EV in the darkest corner). Even out the lamps, then shoot "
            "the flat field and the view again.",
            place=sight.frame.whole,
        )
    ]


def check_banding(sight: Sight) -> list[Finding]:
    """V13: mains flicker in continuous light, on the easel left and right of the face."""
    rules, frame = sight.tools.rules, sight.frame
    parts = _margins(sight)
    strength = banding(parts) if parts else None
    if strength is None:
        because = (
            "There is no even ground on both sides of the face to look for banding; a flat-field "
            "frame shows it."
        )
        return [rules.unknown("V13", because)]
    percent = 100 * strength
    return [
        rules.found(
            "V13",
            percent,
            good="No regular pattern runs through the rows.",
            bad=f"Bands of {percent:.1f} % run through the rows: the lamps flicker with the mains. "
            "Use a longer exposure (a multiple of 1/50 or 1/60 s) or flicker-free supplies.",
            place=frame.whole,
        )
    ]


def _margins(sight: Sight) -> list[NDArray[Any]]:
    """Light of the easel along the left and the right rim, beside the face."""
    frame, outline = sight.frame, sight.outline
    if sight.plan.role == "flat":
        left, right, top, bottom = 0, frame.width_px, 0, frame.height_px
    elif isinstance(outline, Outline):
        low, high = outline.corners.min(axis=0), outline.corners.max(axis=0)
        left, right = int(low[0] * frame.factor), int(high[0] * frame.factor)
        top, bottom = int(low[1] * frame.factor), int(high[1] * frame.factor)
    else:
        return []
    width = min(MARGIN_PX, left // 4, (frame.width_px - right) // 4)
    if sight.plan.role == "flat":
        width = min(MARGIN_PX, frame.width_px // 4)
    if width < 4 or frame.encoding is None:
        return []
    height = min(bottom - top, MOST_ROWS)
    parts = []
    for x in (0, frame.width_px - width):
        part = frame.crop(x, top, width, height)
        if part is None:
            return []
        parts.append(frame.encoding.to_luminance(part))
    return parts


def check_sharpness(sight: Sight) -> list[Finding]:
    """V8 and V9 from slanted edges of even patches beside the face, or of a target frame."""
    rules, plan = sight.tools.rules, sight.plan
    edges = find_edges(sight)
    if not edges and plan.role != "target" and plan.baseline_mtf50 is None:
        return []
    if not edges:
        because = (
            "There is no slanted edge in this frame. Tilt the sharpness target by about 5° and "
            "shoot it at the same distance."
        )
        found = [rules.unknown("V9", because)]
        if plan.baseline_mtf50 is not None:
            found.append(rules.unknown("V8", because))
        return found
    peak = float(np.median([edge.peak for edge, _ in edges]))
    mtf50 = [edge.mtf50 for edge, _ in edges if edge.mtf50 is not None]
    worst = min(edges, key=lambda each: each[0].mtf50 or 1.0)
    found = [
        rules.found(
            "V9",
            peak,
            good=f"The picture was not sharpened (peak of the response {peak:.2f}).",
            bad=f"The picture was sharpened (peak of the response {peak:.2f}). Develop the master "
            "again with sharpening at zero.",
            place=worst[1],
        )
    ]
    if plan.baseline_mtf50 is not None and mtf50:
        percent = 100 * float(np.median(mtf50)) / plan.baseline_mtf50
        found.append(
            rules.found(
                "V8",
                percent,
                good=f"Sharpness is {percent:.0f} % of the station's baseline.",
                bad=f"Sharpness is only {percent:.0f} % of the station's baseline "
                f"({float(np.median(mtf50)):.3f} cycles per pixel). Focus anew at 100 %, check for "
                "shake, and shoot again.",
                place=worst[1],
            )
        )
    return found


def find_edges(sight: Sight) -> list[tuple[Sfr, Place]]:
    """Slanted edges of even patches in the frame, measured in full resolution."""
    frame = sight.frame
    if frame.light is None or frame.encoding is None:
        return []
    patches = find_patches(luminance(frame.light), step=0.035)
    outline = sight.outline
    if isinstance(outline, Outline):
        beside = ~_inside(outline, patches.centres)
    elif sight.plan.role == "target":
        beside = np.ones(len(patches), bool)
    else:
        return []
    order = [i for i in np.argsort(-patches.sides.min(axis=1)) if beside[i]][:MOST_EDGES]
    found: list[tuple[Sfr, Place]] = []
    for index in order:
        angle = float(patches.angles[index])
        if abs(angle) < np.radians(1.5):
            continue
        for quarter in range(4):
            part = _edge_part(sight, patches.centres[index], patches.sides[index], angle, quarter)
            if part is None:
                continue
            levels, place = part
            edge = measure_edge(frame.encoding.to_luminance(levels))
            if isinstance(edge, Sfr):
                found.append((edge, place))
    return found


def chart_place(chart: FoundChart, factor: float) -> Place:
    """The box around a chart in px of the frame."""
    corners = chart.corners_px()
    (left, top), (right, bottom) = corners.min(axis=0), corners.max(axis=0)
    box = Place(float(left), float(top), float(right - left), float(bottom - top))
    return box.scaled(factor)


def _inside(outline: Outline, points: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Whether points lie within the face; what is painted there is no target."""
    corners = outline.corners.astype(np.float32)
    return np.array([cv2.pointPolygonTest(corners, (x, y), False) >= 0 for x, y in points], bool)


def _edge_part(
    sight: Sight,
    centre: NDArray[np.float64],
    sides: NDArray[np.float64],
    angle: float,
    quarter: int,
) -> tuple[NDArray[Any], Place] | None:
    """A square part of the frame around the middle of one side of a patch."""
    factor = sight.frame.factor
    turn = angle + quarter * np.pi / 2
    reach = float(sides[quarter % 2]) / 2
    x = (float(centre[0]) + reach * np.cos(turn)) * factor
    y = (float(centre[1]) + reach * np.sin(turn)) * factor
    side = int(min(EDGE_PX, 0.8 * float(sides.min()) * factor))
    if side < 16:
        return None
    left, top = round(x - side / 2), round(y - side / 2)
    if left < 0 or top < 0 or left + side > sight.frame.width_px:
        return None
    part = sight.frame.crop(left, top, side, side)
    if part is None or part.shape[:2] != (side, side):
        return None
    return part, Place(left, top, side, side)


def _colour_findings(
    sight: Sight, chart: FoundChart, report: ColourReport, place: Place
) -> list[Finding]:
    rules, edition = sight.tools.rules, chart.edition.title
    again = "Check profile, white balance and lamps, then shoot it again."
    return [
        rules.found(
            "V1",
            report.mean_de00,
            good=f"Colour is right: ΔE00 {report.mean_de00:.2f} on average ({edition}).",
            bad=f"Colour is off: ΔE00 {report.mean_de00:.1f} on average ({edition}). {again}",
            place=place,
        ),
        rules.found(
            "V2",
            report.max_de00,
            good=f"The worst patch, {report.worst_patch}, is off by ΔE00 {report.max_de00:.2f} "
            f"({edition}).",
            bad=f"Patch {report.worst_patch} of the chart is off by ΔE00 {report.max_de00:.1f} "
            f"({edition}). {again}",
            place=place,
        ),
        rules.found(
            "V3",
            report.grey_delta_l,
            good=f"The greys are as light as they should be, within {report.grey_delta_l:.2f} L*.",
            bad=f"Grey patch {report.grey_patch} is off by {report.grey_delta_l:.1f} L*. Correct "
            "the exposure or the tone curve, then shoot it again.",
            place=place,
        ),
        rules.found(
            "V4",
            report.neutrality,
            good=f"The greys are neutral within {report.neutrality:.2f}.",
            bad=f"Grey patch {report.neutral_patch} has a tint of {report.neutrality:.1f} in a*, "
            "b*. Set the white balance on the grey patch and shoot it again.",
            place=place,
        ),
        rules.found(
            "V5",
            report.noise_l,
            good=f"Noise on mid grey is {report.noise_l:.2f} L*.",
            bad=f"Noise on mid grey is {report.noise_l:.2f} L*. Lower the ISO or give more light.",
            place=place,
        ),
    ]
