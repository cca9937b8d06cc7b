"""Cumulative sums: how far values have crept away from where they should be, up or down.

Source: NIST/SEMATECH e-Handbook of Statistical Methods, section 6.3.2.3 (tabular form).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from .individuals import finite


@dataclass(frozen=True, slots=True, kw_only=True)
class Cusum:
    """Sums in standard deviations after each value, and the first that passed the limit.

    ``since``: index of the value from which the passing sum had been growing.
    """

    high: tuple[float, ...]
    low: tuple[float, ...]
    alarm: int | None
    since: int | None
    is_upward: bool


def cusum(
    values: Sequence[float],
    *,
    target: float,
    sigma: float,
    slack: float,
    limit: float,
    from_index: int = 0,
) -> Cusum:
    """Two-sided tabular CUSUM.

    ``S⁺ = max(0, S⁺ + z − k)`` and ``S⁻ = max(0, S⁻ − z − k)`` with ``z = (x − target)/σ``.

    Args:
        target, sigma: Where the values should be, and their ordinary scatter; same unit.
        slack: k, half of the shift in σ that is to be found quickly.
        limit: h, the sum in σ that raises the alarm.
        from_index: Values before it belong to the base line and are not summed.

    Raises:
        ValueError: The scatter is not above zero, or a value is no finite number.

    >>> found = cusum([0, 0.1, -0.1, 1, 2, 3], target=0, sigma=1, slack=0.5, limit=4)
    >>> found.alarm, found.since, found.is_upward
    (5, 3, True)
    """
    found = finite(values)
    if not 0 < sigma < float("inf"):
        raise ValueError("A cumulative sum needs a scatter above zero.")
    high = low = 0.0
    high_since = low_since = from_index
    highs, lows = [], []
    alarm: tuple[int, int, bool] | None = None
    for index, value in enumerate(found):
        if index >= from_index:
            z = (float(value) - target) / sigma
            high_since = index if high <= 0 else high_since
            low_since = index if low <= 0 else low_since
            high = max(0.0, high + z - slack)
            low = max(0.0, low - z - slack)
        highs.append(high)
        lows.append(low)
        if alarm is None and max(high, low) > limit:
            alarm = (index, high_since if high > low else low_since, high > low)
    return Cusum(
        high=tuple(highs),
        low=tuple(lows),
        alarm=None if alarm is None else alarm[0],
        since=None if alarm is None else alarm[1],
        is_upward=alarm is not None and alarm[2],
    )
