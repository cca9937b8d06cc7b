"""True density: px per mm from a ruler of equal blocks, or from the known size of the face."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from imaging_requests.imaging.measure.finding import Finding, Rules

LEAST_EDGES = 6
MOST_RESIDUAL = 0.06
MM_PER_INCH = 25.4
ENLARGEMENT = "X7"


@dataclass(frozen=True, slots=True)
class Density:
    """px per mm along a ruler; ``residual_mm``: RMS of its edges; ``edges``: how many were read."""

    px_per_mm: float
    residual_mm: float
    edges: int


def read_ruler(
    profile: NDArray[Any],
    *,
    block_mm: float,
    place: Callable[[NDArray[np.float64]], NDArray[np.float64]] | None = None,
) -> Density | None:
    """Read a ruler of light and dark blocks from the light along it.

    Args:
        profile: Light along the ruler, one value per px; may begin and end anywhere.
        block_mm: Length of one block.
        place: Where on the ruler's line, in px, places of the profile lie, if it was resampled.

    Returns:
        The density, or None if fewer than 6 edges in even steps are seen.

    >>> ruler = np.tile(np.repeat([0.0, 1.0], 25), 6)
    >>> read_ruler(ruler, block_mm=10).px_per_mm
    2.5
    """
    values = np.asarray(profile, np.float64)
    if values.ndim != 1 or len(values) < 4 * LEAST_EDGES or not np.isfinite(values).all():
        return None
    low, high = np.percentile(values, (10, 90))
    if high - low < 0.05 * max(high, 1e-6) or high <= 0:
        return None
    middle = (low + high) / 2
    sign = values > middle
    at = np.flatnonzero(sign[1:] != sign[:-1])
    if len(at) < LEAST_EDGES:
        return None
    edges = at + (middle - values[at]) / (values[at + 1] - values[at])
    run = _even_run(edges if place is None else place(edges))
    if len(run) < LEAST_EDGES:
        return None
    number = np.arange(len(run))
    step, first = np.polyfit(number, run, 1)
    residual = float(np.sqrt(((run - first - step * number) ** 2).mean()))
    if residual > MOST_RESIDUAL * step:
        return None
    density = float(step) / block_mm
    return Density(density, residual / density, len(run))


def ppi(px_per_mm: float) -> float:
    """Pixels per inch.

    >>> round(ppi(12.0))
    305
    """
    return px_per_mm * MM_PER_INCH


def percent_off(measured: float, claimed: float) -> float:
    """How far a measured density is off the claimed one, percent of the claimed one.

    >>> round(percent_off(612, 600), 1)
    2.0
    """
    return (measured / claimed - 1) * 100


def check_enlargement(
    measured: float,
    stated: float,
    *,
    source_detector_mm: float | None,
    object_detector_mm: float | None,
    error_percent: float,
    rules: Rules,
) -> Finding:
    """X7: the scale of an X-ray after the enlargement of its distances was taken off.

    The paint lies some mm above the detector and is shown M = SDD / (SDD − ODD) times as large as
    the detector's own px say. Whether the file was scaled back already is not stated anywhere, so
    it may be either; the smaller difference counts. A fault between the two that is smaller than
    M − 1 can therefore hide.

    Args:
        measured: px per mm on the object, found by laying the X-ray on the visible picture.
        stated: px per mm of the detector, or of the file once it was scaled back.
        source_detector_mm, object_detector_mm: From the set-up card; None if it does not say.
        error_percent: By how much the measured density may be wrong.
        rules: Limits.

    >>> import json, pathlib
    >>> data = json.loads(pathlib.Path("fixtures/checks/measurements-1.json").read_text("utf-8"))
    >>> found = check_enlargement(
    ...     10.204, 10, source_detector_mm=1000, object_detector_mm=20, error_percent=0.1,
    ...     rules=Rules.from_settings(data),
    ... )
    >>> found.outcome.value, found.value
    ('pass', -0.0008)
    """
    if source_detector_mm is None or object_detector_mm is None:
        because = (
            "Not checked: needs the distances from source and from object to the detector on the "
            "set-up card. Enter them there."
        )
        return rules.unknown(ENLARGEMENT, because)
    if not 0 <= object_detector_mm < source_detector_mm:
        because = (
            f"The distances of the set-up card, {source_detector_mm:g} mm from source to detector "
            f"and {object_detector_mm:g} mm from object to detector, do not go together."
        )
        return rules.unknown(ENLARGEMENT, because)
    if error_percent > rules.rule(ENLARGEMENT).band.fail_limit:
        because = (
            "The X-ray lies on the visible picture only roughly, so its scale is known to "
            f"{error_percent:.1f} % and no better."
        )
        return rules.unknown(ENLARGEMENT, because)
    larger = source_detector_mm / (source_detector_mm - object_detector_mm)
    as_captured, as_scaled = percent_off(measured, stated * larger), percent_off(measured, stated)
    is_captured = abs(as_captured) <= abs(as_scaled)
    off = as_captured if is_captured else as_scaled
    how = f"enlarged {larger:.3f} times by the distances" if is_captured else "scaled back already"
    return rules.found(
        ENLARGEMENT,
        off,
        good=f"The scale is right: {measured:.3f} px/mm on the object, {how}.",
        bad=f"The scale is {off:+.1f} % off: {measured:.3f} px/mm on the object instead of "
        f"{stated * larger:.3f} as captured or {stated:.3f} scaled back. Check the two distances "
        "on the set-up card and the density that the reader states.",
    )


def _even_run(edges: NDArray[np.float64]) -> NDArray[np.float64]:
    """Longest run of edges whose steps differ little from their median."""
    steps = np.diff(edges)
    usual = float(np.median(steps))
    even = np.abs(steps - usual) < 0.15 * usual
    best: tuple[int, int] = (0, 0)
    start = None
    for i, is_even in enumerate([*even.tolist(), False]):
        if is_even and start is None:
            start = i
        elif not is_even and start is not None:
            if i - start > best[1] - best[0]:
                best = (start, i)
            start = None
    return edges[best[0] : best[1] + 1] if best[1] > best[0] else edges[:0]
