"""What a frame was meant to be, and what the rules work with."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from imaging_requests.imaging.measure.chart_find import ChartNotFound, FoundChart, find_chart
from imaging_requests.imaging.measure.charts import Edition
from imaging_requests.imaging.measure.finding import Rules
from imaging_requests.imaging.measure.fluorescence import Glow, find_glow
from imaging_requests.imaging.measure.frame import Frame
from imaging_requests.imaging.measure.infrared import GreyRow, find_grey_row
from imaging_requests.imaging.measure.outline import NoOutline, Outline, find_outline
from imaging_requests.imaging.measure.strip import Strip

ABOVE_CHART_MM = 9.0
"""From the upper edge of the chart up to the edge of the strip."""


@dataclass(frozen=True, slots=True)
class Plan:
    """What was ordered; None or empty where nobody said.

    ``technique``: VF, VC, RK, UV, IR or XR. ``face``: F, B, E or T. ``direction``: L, R, T or B for
    raking light. ``ev``: offset of the exposure in its bracket. ``px_per_mm``: planned density.
    ``face_mm``: width and height of the face if all of it should be in the frame.
    ``polarity``: "dense_bright" or "dense_dark" as stated. ``elevation_deg``: of the set-up
    card's lamp. ``baseline_mtf50``: of the station, cycles per pixel. ``until``: a sentence that
    says until when it can be done again, put behind what failed.
    """

    technique: str
    face: str = "F"
    role: str = "view"
    direction: str = ""
    ev: float | None = None
    px_per_mm: float | None = None
    face_mm: tuple[float, float] | None = None
    polarity: str = ""
    elevation_deg: float | None = None
    baseline_mtf50: float | None = None
    until: str = ""


@dataclass(frozen=True)
class Tools:
    """Limits, charts and strip of the studio. ``editions``: the charts that it owns."""

    rules: Rules
    editions: Mapping[str, Edition]
    strip: Strip

    def clip(self) -> tuple[float, float]:
        """Shares of full scale at or beyond which a pixel is clipped."""
        return self.rules.number("clip.low"), self.rules.number("clip.high")


@dataclass(frozen=True)
class Sight:
    """A frame with its plan, and what several rules need of it, found once."""

    frame: Frame
    plan: Plan
    tools: Tools

    @cached_property
    def chart(self) -> FoundChart | ChartNotFound:
        """The chart in the reduced picture."""
        light, encoding = self.frame.light, self.frame.encoding
        if not self.frame.is_colour:
            return ChartNotFound("The picture has no colour, so it shows no colour chart.")
        if light is None or encoding is None or encoding.matrix is None:
            return ChartNotFound("The colour profile does not say what the levels mean.")
        return find_chart(light, encoding.matrix, self.tools.editions)

    @cached_property
    def glow(self) -> Glow | None:
        """The reference patches of a fluorescence frame, in the reduced picture."""
        light = self.frame.light
        if light is None or light.ndim != 3:
            return None
        density = self.plan.px_per_mm
        side = None
        if density is not None:
            side = density / self.frame.factor * self.tools.strip.reference_mm
        return find_glow(light, side_px=side)

    @cached_property
    def grey_row(self) -> GreyRow | None:
        """The grey steps of an infrared strip, in the reduced picture."""
        light = self.frame.light
        if light is None:
            return None
        return find_grey_row(light, count=len(self.tools.strip.infrared_greys_l))

    @cached_property
    def strip_to_px(self) -> NDArray[np.float64] | None:
        """mm from the chart's upper left corner → px of the reduced picture."""
        if isinstance(self.chart, ChartNotFound):
            return None
        return self.tools.strip.mm_to_px(self.chart)

    @cached_property
    def outline(self) -> Outline | NoOutline:
        """The outline of the face in the reduced picture."""
        light = self.frame.light
        if light is None:
            return NoOutline("The colour profile does not say what the levels mean.")
        return find_outline(light, below=self._strip_top())

    def _strip_top(self) -> float | None:
        if self.plan.technique == "XR" or self.plan.face == "E":
            return None
        if self.plan.technique == "IR":
            row = self.grey_row
            if row is None:
                return None
            step = float(np.hypot(*row.step_px)) / self.tools.strip.infrared_step_mm
            return float(row.origin_px[1]) - 19.0 * step
        if self.plan.technique == "UV":
            glow = self.glow
            if glow is None:
                return None
            return glow.centre_px[1] - (0.5 + ABOVE_CHART_MM / 13.0 + 0.1) * glow.side_px
        if isinstance(self.chart, ChartNotFound) or self.strip_to_px is None:
            return None
        step = self.chart.step_px() / self.tools.strip.patch_mm[self.chart.edition.id]
        return float(self.chart.corners_px()[:2, 1].min()) - (ABOVE_CHART_MM + 1.0) * step
