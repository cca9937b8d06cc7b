"""How many levels a picture really uses: finds 8-bit data in a 16-bit container."""

from dataclasses import asdict, dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

FULL_16_BIT = 65_535
EIGHT_BIT_STEPS = (257, 256)
"""An 8-bit level v becomes 257 · v (full range kept) or 256 · v (shifted) in 16 bits."""


@dataclass(frozen=True, slots=True)
class ChannelLevels:
    """The levels of one channel.

    ``distinct``: how many different levels occur. ``lowest``, ``highest``: in native units.
    ``grid_share``: share 0 to 1 of the pixels that lie on the 8-bit grid (multiples of 257 or of
    256, whichever holds more), the two ends 0 and 65,535 left out; about 0.004 for 16-bit data.
    """

    distinct: int
    lowest: int
    highest: int
    grid_share: float

    def as_data(self) -> dict[str, Any]:
        """Return plain values that fit into JSON."""
        return asdict(self)


def measure_levels(histogram: NDArray[np.integer[Any]]) -> tuple[ChannelLevels, ...]:
    """Measure each channel of a histogram.

    ``histogram``: counts, shape (levels, channels), level = row number, at most 65,536 rows.
    Raises ``ValueError`` for another shape or a channel without any pixel.

    >>> grid = np.zeros((65_536, 1), int)
    >>> grid[::257] = 1
    >>> measure_levels(grid)[0]
    ChannelLevels(distinct=256, lowest=0, highest=65535, grid_share=1.0)
    """
    if histogram.ndim != 2 or not 1 <= histogram.shape[0] <= FULL_16_BIT + 1:
        raise ValueError("a histogram has the shape (levels, channels), 65,536 levels at most")
    return tuple(_measure_channel(histogram[:, band]) for band in range(histogram.shape[1]))


def _measure_channel(counts: NDArray[np.integer[Any]]) -> ChannelLevels:
    used = np.flatnonzero(counts)
    if used.size == 0:
        raise ValueError("a channel of the histogram is empty")
    inner = used[(used > 0) & (used < FULL_16_BIT)]
    total = int(counts[inner].sum(dtype=np.int64))
    on_grid = max(
        (int(counts[inner[inner % step == 0]].sum(dtype=np.int64)) for step in EIGHT_BIT_STEPS),
        default=0,
    )
    return ChannelLevels(
        distinct=int(used.size),
        lowest=int(used[0]),
        highest=int(used[-1]),
        grid_share=on_grid / total if total else 0.0,
    )


def percentile_window(
    counts: NDArray[np.integer[Any]], *, low_percent: float, high_percent: float
) -> tuple[int, int]:
    """Return the levels between which the tone is stretched.

    ``counts``: one channel, shape (levels,). The low level is the first at which at least
    ``low_percent`` of all pixels are reached; the high one likewise. Both are in native units.

    >>> percentile_window(np.ones(1000, int), low_percent=0.5, high_percent=99.5)
    (4, 994)
    """
    if counts.ndim != 1 or not 0 <= low_percent < high_percent <= 100:
        raise ValueError("a window needs one channel and 0 <= low < high <= 100")
    reached = np.cumsum(counts, dtype=np.int64)
    total = int(reached[-1])
    low, high = (
        int(np.searchsorted(reached, share * total / 100, side="left"))
        for share in (low_percent, high_percent)
    )
    return low, high
