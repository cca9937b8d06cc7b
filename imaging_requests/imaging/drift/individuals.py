"""Chart of single values: centre, limits from the moving range, and what lies outside.

Source: NIST/SEMATECH e-Handbook of Statistical Methods, section 6.3.2.2.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

D2_OF_TWO = 1.128
"""Mean range of two normal values in standard deviations (2/√π), as the tables print it."""
SIGMAS = 3.0
"""Distance of the limits by definition of the chart."""
LEAST_VALUES = 2


@dataclass(frozen=True, slots=True, kw_only=True)
class IndividualsChart:
    """Centre and limits in the unit of the values; ``sigma``: scatter from one to the next."""

    centre: float
    sigma: float
    lower: float
    upper: float
    mean_range: float

    def is_outside(self, value: float) -> bool:
        """Whether a value lies beyond a limit."""
        return not self.lower <= value <= self.upper


def individuals_chart(
    values: Sequence[float], *, centre_from: int | None = None
) -> IndividualsChart:
    """Chart of values in the order in which they were measured.

    Centre: mean. Limits: mean ± 3 · MR/d2, MR the mean of the absolute differences of neighbours,
    d2 = 1.128. The moving range is hardly moved by a slow drift, so a drift does not widen its own
    limits, and all values may serve to learn the scatter.

    Args:
        centre_from: How many of the first values give the centre; all when left out.

    Raises:
        ValueError: Fewer than two values, or one that is no finite number.

    >>> chart = individuals_chart([49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1])
    >>> round(chart.centre, 2), round(chart.lower, 4), round(chart.upper, 4)
    (50.81, 45.8159, 55.8041)
    """
    found = finite(values)
    if len(found) < LEAST_VALUES:
        raise ValueError("A chart needs at least two values.")
    centre = float(found[:centre_from].mean())
    mean_range = float(np.abs(np.diff(found)).mean())
    sigma = mean_range / D2_OF_TWO
    return IndividualsChart(
        centre=centre,
        sigma=sigma,
        lower=centre - SIGMAS * sigma,
        upper=centre + SIGMAS * sigma,
        mean_range=mean_range,
    )


def finite(values: Sequence[float]) -> NDArray[np.float64]:
    """The values as an array.

    Raises:
        ValueError: A value is infinite or no number.
    """
    found = np.asarray(values, np.float64)
    if found.ndim != 1 or not np.isfinite(found).all():
        raise ValueError("A chart takes a row of finite numbers.")
    return found
