"""True density: px per mm from a ruler of equal blocks, or from the known size of the face."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

LEAST_EDGES = 6
MOST_RESIDUAL = 0.06
MM_PER_INCH = 25.4


@dataclass(frozen=True, slots=True)
class Density:
    """px per mm along a ruler; ``residual_mm``: RMS of its edges; ``edges``: how many were read."""

    px_per_mm: float
    residual_mm: float
    edges: int


def read_ruler(profile: NDArray[Any], *, block_mm: float) -> Density | None:
    """Read a ruler of light and dark blocks from the light along it.

    Args:
        profile: Light along the ruler, one value per px; may begin and end anywhere.
        block_mm: Length of one block.

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
    run = _even_run(edges)
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
