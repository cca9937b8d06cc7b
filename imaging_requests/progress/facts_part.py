"""The facts of an object as pages list them."""

from __future__ import annotations

from typing import Any

from django.utils import timezone

from imaging_requests.collection.models import ObjectFacts

YES_NO = {True: "yes", False: "no", None: "not known"}


def fact_rows(facts: ObjectFacts | None) -> list[dict[str, Any]]:
    """Lay out one record of facts, label by label; nothing if nobody has recorded any."""
    if facts is None:
        return []
    rows: list[dict[str, Any]] = []
    for label, value, unit in (
        ("Height", facts.height_mm, "mm"),
        ("Width", facts.width_mm, "mm"),
        ("Depth", facts.depth_mm, "mm"),
        ("Warp", facts.warp_mm, "mm"),
        ("Weight", facts.weight_kg, "kg"),
    ):
        rows.append(
            {"label": label, "value": f"{value:g}", "unit": unit}
            if value is not None
            else {"label": label, "value": "not known"}
        )
    rows += [
        {"label": "Support", "value": facts.get_support_display() or "not known"},
        {"label": "Painted", "value": facts.get_painted_faces_display()},
        {"label": "Framed", "value": YES_NO[facts.framed]},
        {"label": "Glazed", "value": YES_NO[facts.glazed]},
        {"label": "Light", "value": facts.get_light_class_display() or "not known"},
        {"label": "Flaking", "value": facts.get_flaking_display()},
        {"label": "Flash", "value": "allowed" if facts.flash_allowed else "forbidden"},
        {"label": "UV", "value": "allowed" if facts.uv_allowed else "forbidden"},
        {"label": "Recorded", "value": f"{timezone.localtime(facts.recorded_at):%-d %b %Y}"},
    ]
    return rows
