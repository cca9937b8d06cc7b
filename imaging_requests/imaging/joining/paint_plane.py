"""X-ray geometry of a join: size on the paint plane, and why bars never join.

The source is a point, so a thing off the plate is thrown larger than it is: by
M = SDD / (SDD − ODD), SDD from source to detector, ODD from the thing to the detector (similar
triangles). A joined X-ray is put right for the paint, one plane; parts on another plane are then
shifted against the paint by a·o / (SDD − o) at a mm off the axis and o mm above the plate.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class XrayGeometry:
    """Distances in mm: source to detector, paint to detector, highest other part to detector."""

    sdd_mm: float
    odd_mm: float
    highest_mm: float = 0.0

    def __post_init__(self) -> None:
        if not 0 <= self.odd_mm < self.sdd_mm or not 0 <= self.highest_mm < self.sdd_mm:
            raise ValueError(
                "The paint must lie between source and detector: "
                f"{self.odd_mm:g} mm and {self.sdd_mm:g} mm do not go together."
            )


def magnification(*, sdd_mm: float, odd_mm: float) -> float:
    """Return M = SDD / (SDD − ODD).

    >>> round(magnification(sdd_mm=1000, odd_mm=20), 3)
    1.02
    """
    return sdd_mm / (sdd_mm - odd_mm)


def parallax_mm(*, off_axis_mm: float, above_mm: float, sdd_mm: float) -> float:
    """Return how far a part is thrown outwards against its true place, a·o / (SDD − o).

    >>> round(parallax_mm(off_axis_mm=200, above_mm=20, sdd_mm=1000), 1)
    4.1
    >>> round(parallax_mm(off_axis_mm=200, above_mm=45, sdd_mm=1000), 1)
    9.4
    """
    return off_axis_mm * above_mm / (sdd_mm - above_mm)


def explain_parallax(geometry: XrayGeometry, *, plate_mm: tuple[float, float]) -> str:
    """Say in words and numbers what cannot join, for plates of a width and height in mm.

    Seen from both sides of a seam a part is thrown to both sides, so the doubling is the sum.
    """
    above = geometry.highest_mm
    if above <= 0 or above == geometry.odd_mm:
        return ""
    off_axis = max(plate_mm) / 2
    part = parallax_mm(off_axis_mm=off_axis, above_mm=above, sdd_mm=geometry.sdd_mm)
    paint = parallax_mm(off_axis_mm=off_axis, above_mm=geometry.odd_mm, sdd_mm=geometry.sdd_mm)
    shift = abs(part - paint)
    return (
        f"Parts {above:.0f} mm above the plate, such as bars of the stretcher or a cradle, are "
        f"thrown {shift:.1f} mm against the paint at the rim of a plate, to both sides of a seam. "
        f"They look broken there by up to {2 * shift:.1f} mm; the paint is joined, the bars cannot "
        "be."
    )
