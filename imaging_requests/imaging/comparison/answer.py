"""A comparison as plain values for JSON, and as lines of text."""

from __future__ import annotations

import json
from importlib import resources
from typing import Any

import numpy as np

from .pairing import Comparison
from .render import why_of_picture

VERSION = 1
LEAST_SAID_PERCENT = 0.01


def as_data(found: Comparison, *, px_per_mm: float, output: str | None) -> dict[str, Any]:
    """Plain values of a comparison; see the schema ``compare.json``.

    Args:
        px_per_mm: Density of the earlier file, by which the map's places are told in mm.
        output: Where the picture was written; None if nowhere.
    """
    grading = found.grading
    return {
        "version": VERSION,
        "technique": grading.technique,
        "grade": grading.grade.value,
        "meaning": grading.grade.meaning,
        "sentence": grading.sentence,
        "rows": [
            {
                "row": finding.row,
                "grade": finding.grade.value,
                "reason": finding.reason,
                "known": finding.is_known,
            }
            for finding in grading.findings
        ],
        "warnings": list(grading.warnings),
        "alignment": _alignment(found, px_per_mm),
        "chart": _chart(found),
        "map": _map(found),
        "no_map_because": found.no_map,
        "output": output,
    }


def _alignment(found: Comparison, px_per_mm: float) -> dict[str, Any] | None:
    if found.fit is None:
        return None
    residual = found.fit.residual_px
    density = found.map.px_per_mm if found.map is not None else px_per_mm
    return {
        "residual_mm": None if residual is None else round(residual / density, 4),
        "agreeing_percent": round(100 * found.fit.agreeing, 1),
        "parts": found.fit.parts,
    }


def _chart(found: Comparison) -> dict[str, Any] | None:
    charts = found.charts
    if charts is None:
        return None
    return {
        "found_in_both": charts.has_both,
        "mean_delta_e00": _rounded(charts.mean_delta_e),
        "after_gain_delta_e00": _rounded(charts.after_gain),
        "reason": charts.reason,
    }


def _map(found: Comparison) -> dict[str, Any] | None:
    drawn = found.map
    if drawn is None:
        return None
    known = drawn.change.size[drawn.inside & np.isfinite(drawn.change.size)]
    return {
        "may_be_shown": found.may_show,
        "unit": drawn.change.unit,
        "floor": round(drawn.floor, 3),
        "marked_percent": round(100 * drawn.marked_share, 4),
        "shares_of": "face" if drawn.is_of_face else "picture",
        "shares_because": "" if drawn.is_of_face else why_of_picture(found.no_face),
        "hatched_percent": round(100 * drawn.hatched_share, 4),
        "saturated_percent": round(100 * drawn.saturated_share, 4),
        "median_change": round(float(np.median(known)), 3) if known.size else None,
        "px_per_mm": round(drawn.px_per_mm, 4),
        "zones": [
            {
                "x_mm": round(zone.x_px / drawn.px_per_mm, 2),
                "y_mm": round(zone.y_px / drawn.px_per_mm, 2),
                "width_mm": round(zone.width_px / drawn.px_per_mm, 2),
                "height_mm": round(zone.height_px / drawn.px_per_mm, 2),
                "area_mm2": round(zone.area_mm2, 2),
                "mean_change": round(zone.mean, 2),
            }
            for zone in drawn.zones
        ],
    }


def _rounded(value: float | None) -> float | None:
    return None if value is None else round(value, 3)


def as_text(data: dict[str, Any]) -> str:
    """The same for people: the sentence first, then what it rests on."""
    lines = [data["sentence"]]
    lines += [f"  {row['grade']}  {row['row']}: {row['reason']}" for row in data["rows"]]
    lines += [f"Note: {warning}" for warning in data["warnings"]]
    if data["alignment"] is not None and data["alignment"]["residual_mm"] is not None:
        fit = data["alignment"]
        lines.append(
            f"Alignment: off by {fit['residual_mm']:.2f} mm, {fit['agreeing_percent']:.0f} % of "
            f"{fit['parts']} parts agree."
        )
    if data["map"] is not None:
        drawn = data["map"]
        lines.append(
            f"Changed by more than {drawn['floor']:.1f} {drawn['unit']}: "
            f"{drawn['marked_percent']:.2f} % of the {drawn['shares_of']}; cannot be told: "
            f"{drawn['hatched_percent']:.2f} %."
        )
        if drawn["saturated_percent"] >= LEAST_SAID_PERCENT:
            lines.append(
                f"{drawn['saturated_percent']:.2f} % of the {drawn['shares_of']} is saturated in "
                "one of the pictures; what changed there is hidden."
            )
        lines += [drawn["shares_because"]] if drawn["shares_because"] else []
    if data["no_map_because"]:
        lines.append(data["no_map_because"])
    if data["output"]:
        lines.append(f"Picture: {data['output']}")
    return "\n".join(lines)


def load_schema() -> dict[str, Any]:
    """Schema of ``as_data``.

    >>> load_schema()["title"]
    'Answer of the command compare'
    """
    place = resources.files("imaging_requests.imaging.comparison").joinpath("schemas/compare.json")
    schema: dict[str, Any] = json.loads(place.read_text(encoding="utf-8"))
    return schema
