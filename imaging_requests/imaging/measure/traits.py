"""What a frame shows of its set-up and its object, kept to hold it against another picture later.

Verdicts say whether a frame is good by itself. Whether two pictures can be compared, or show the
two sides of one object, takes the measured values of both.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

from imaging_requests.imaging.files.verdicts import Outcome
from imaging_requests.imaging.measure.finding import Finding, Place, Rules
from imaging_requests.imaging.measure.outline import silhouette_difference_mm

SILHOUETTE, KEYSTONE = "B1", "V14"
Rows = tuple[tuple[float, ...], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Traits:
    """What was read from one frame; None for what it does not show.

    Attributes:
        outline_mm: Corners of the face, upper left, upper right, lower right, lower left, in mm by
            the ruler on the strip; origin at the frame's upper left corner.
        keystone_percent: Largest difference of two opposite sides.
        px_per_mm: Density by the ruler.
        chart: Edition of the chart; ``chart_lab``: its patches, CIELAB (D50).
        azimuth_deg, elevation_deg: Of the raking lamp, by the gauge.
        glow_level: Linear light of the glowing patch, 0 to 1.
        ink_percent: Contrast of iron-gall ink as a share of that of carbon ink.
    """

    outline_mm: Rows | None = None
    keystone_percent: float | None = None
    px_per_mm: float | None = None
    chart: str = ""
    chart_lab: Rows | None = None
    azimuth_deg: float | None = None
    elevation_deg: float | None = None
    glow_level: float | None = None
    ink_percent: float | None = None

    def as_data(self) -> dict[str, Any]:
        """Return plain values that fit into JSON; what is not known is left out."""
        return {name: value for name, value in asdict(self).items() if value not in (None, "")}

    @classmethod
    def from_data(cls, data: Mapping[str, Any]) -> Traits:
        """Rebuild traits from ``as_data``, also after a round trip through JSON.

        >>> Traits.from_data({"outline_mm": [[0, 1], [2, 1]]}).outline_mm
        ((0, 1), (2, 1))
        """
        values = dict(data)
        for name in ("outline_mm", "chart_lab"):
            if values.get(name) is not None:
                values[name] = tuple(tuple(row) for row in values[name])
        return cls(**values)


def check_silhouette(front: Traits | None, back: Traits, rules: Rules) -> Finding:
    """B1: the outline of a back against the mirrored one of the front, both in mm by their rulers.

    Args:
        front: Traits of the visible picture of the front; None if there is none.
        back: Traits of the visible picture of the back.
        rules: Limits.

    Returns:
        The largest distance of a corner after the best turn and shift; cannot tell if one of the
        outlines is missing, or if they differ while a camera stood askew.
    """
    if back.outline_mm is None:
        because = (
            "Not checked: needs outline and ruler of the back in one frame. Shoot the whole back "
            "with easel all round and with the strip."
        )
        return rules.unknown(SILHOUETTE, because)
    if front is None or front.outline_mm is None:
        because = (
            "Not checked: needs a visible picture of the front that shows its outline and the "
            "ruler, to hold the back against it."
        )
        return rules.unknown(SILHOUETTE, because)
    as_back, as_front = silhouette_difference_mm(
        np.array(front.outline_mm), np.array(back.outline_mm)
    )
    bad = (
        f"The outline of the back differs from the mirrored one of the front by {as_back:.1f} mm: "
        "another object, a frame left on, or a cut outline. Check the number on the label."
    )
    limit = rules.rule(SILHOUETTE).band.fail_limit
    if as_front < as_back and as_front <= limit:
        bad = (
            f"This back looks mirrored: its outline fits the front within {as_front:.1f} mm as it "
            f"is, mirrored only within {as_back:.1f} mm. Nothing is changed in your file. Export "
            "it again the right way round, or say why it is right as it is."
        )
    x, y = np.array(back.outline_mm).T * (back.px_per_mm or 0.0)
    box = Place(float(x.min()), float(y.min()), float(np.ptp(x)), float(np.ptp(y)))
    place = box.scaled(1.0)
    found = rules.found(
        SILHOUETTE,
        as_back,
        good=f"The outline of the back is the mirrored one of the front within {as_back:.1f} mm.",
        bad=bad,
        place=place,
    )
    askew = max(front.keystone_percent or 0.0, back.keystone_percent or 0.0)
    is_askew = rules.rule(KEYSTONE).band.judge(askew) is not Outcome.PASS
    if found.outcome is not Outcome.PASS and is_askew:
        because = (
            f"The outlines of back and front differ by {as_back:.1f} mm, but in one of the "
            f"pictures opposite edges differ by {askew:.2f} %: it was shot askew, or the object is "
            "not square. Straighten the camera and shoot again, or compare the outlines by eye."
        )
        return rules.unknown(SILHOUETTE, because, place=place)
    return found
