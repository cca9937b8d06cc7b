"""What gauge, ruler, chart, glowing patch and ink lines say about the grade of a pair."""

from __future__ import annotations

import tempfile
from dataclasses import replace
from pathlib import Path

import numpy as np

from imaging_requests.imaging.files.limits import Limits as ReadingLimits
from imaging_requests.imaging.files.refusals import Unreadable
from imaging_requests.imaging.measure.delta_e import delta_e_2000
from imaging_requests.imaging.measure.plan import Plan, Sight
from imaging_requests.imaging.measure.plan import Tools as MeasureTools
from imaging_requests.imaging.measure.read import read_frame
from imaging_requests.imaging.measure.traits import Traits
from imaging_requests.imaging.measure.traits_read import traits_of

from .set_up import Pair, SetUp
from .terms import INFRARED, RAKING, ULTRAVIOLET, VISIBLE


def set_up_by(technique: str, traits: Traits) -> SetUp:
    """Return what targets say of the set-up of one picture; empty for what they do not say.

    >>> set_up_by("RK", Traits(elevation_deg=11.5, azimuth_deg=271.0)).azimuths_deg
    (271.0,)
    """
    if technique != RAKING:
        return SetUp(px_per_mm=traits.px_per_mm)
    azimuth = traits.azimuth_deg
    return SetUp(
        px_per_mm=traits.px_per_mm,
        azimuths_deg=() if azimuth is None else (azimuth,),
        elevation_deg=traits.elevation_deg,
    )


def pair_by(technique: str, before: Traits, after: Traits, pair: Pair) -> Pair:
    """Add to a pair what the targets of both pictures say together.

    Charts of one edition are held patch against patch (mean ΔE00), glowing patches by their light,
    ink lines by how much of carbon ink's contrast is left of iron-gall ink, in percentage points.

    >>> pair_by("UV", Traits(glow_level=0.4), Traits(glow_level=0.44), Pair()).patch_percent
    10.0
    """
    if technique in VISIBLE and before.chart_lab is not None and after.chart_lab is not None:
        if before.chart != after.chart:
            return pair
        one, other = np.array(before.chart_lab), np.array(after.chart_lab)
        mean = float(delta_e_2000(one, other).mean())
        return replace(pair, has_chart=True, chart_delta_e=round(mean, 4))
    if technique == ULTRAVIOLET and before.glow_level and after.glow_level is not None:
        percent = 100 * (after.glow_level / before.glow_level - 1)
        return replace(pair, has_patch=True, patch_percent=round(percent, 4))
    if technique == INFRARED and before.ink_percent is not None and after.ink_percent is not None:
        return replace(pair, ink_points=round(after.ink_percent - before.ink_percent, 4))
    return pair


def read_traits(
    path: Path,
    technique: str,
    *,
    px_per_mm: float | None,
    tools: MeasureTools,
    limits: ReadingLimits,
) -> Traits:
    """Read the targets of one file; empty if the file cannot be measured."""
    with tempfile.TemporaryDirectory(prefix="targets-") as scratch:
        frame = read_frame(
            path,
            clip=tools.clip(),
            limits=limits,
            scratch=Path(scratch),
            is_linear=technique == INFRARED,
        )
        if isinstance(frame, Unreadable):
            return Traits()
        return traits_of(Sight(frame, Plan(technique, px_per_mm=px_per_mm), tools))
