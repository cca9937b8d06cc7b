"""Slanted-edge spatial frequency response (SFR): how much of fine detail a picture keeps.

Method after ISO 12233:2014, 6.2: find the edge row by row, fit a line, project every pixel on the
line's normal into bins of a quarter pixel, differentiate, window, transform, and divide by the
response of derivative and bins. The line may lie at any angle that lets the pixels fall between
each other: exactly along rows, columns or a diagonal all pixels repeat the same few distances, and
the answer is "no edge".
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

OVERSAMPLING = 4
NYQUIST = 0.5
MOST_CORRECTION = 10.0
LEAST_SIDE_PX = 12
LEAST_CONTRAST = 0.05
MOST_UNEVEN = 0.12
"""Standard deviation of either side's light, as a share of the step, of a clean edge."""
LEAST_FILLED = 0.95
MOST_BEND_PX = 0.5
TINY = 1e-9


@dataclass(frozen=True, slots=True)
class Sfr:
    """Response of one edge. Frequencies in cycles per pixel.

    ``frequency``, ``response``: from 0 to 1 cycle per pixel. ``mtf50``, ``mtf10``: where the
    response first falls to 50 and 10 %; None if it does not up to 1. ``peak``: largest response up
    to half a cycle per pixel, above 1 if the picture was sharpened. ``angle_deg``: between the edge
    and the nearer pixel axis.
    """

    frequency: NDArray[np.float64]
    response: NDArray[np.float64]
    mtf50: float | None
    mtf10: float | None
    peak: float
    angle_deg: float
    contrast: float

    @property
    def sampling_efficiency(self) -> float | None:
        """MTF10 as a share of half a cycle per pixel (1 = every pixel carries detail)."""
        return None if self.mtf10 is None else self.mtf10 / NYQUIST

    def at(self, frequency: float) -> float:
        """Response at a frequency."""
        return float(np.interp(frequency, self.frequency, self.response))


@dataclass(frozen=True, slots=True)
class NoEdge:
    """The part of the picture holds no usable edge, and why."""

    because: str


def measure_edge(light: NDArray[Any]) -> Sfr | NoEdge:
    """Measure the SFR of a part of a picture that holds one straight edge.

    Args:
        light: Linear light, (rows, columns), at least 12 × 12; not modified.

    Returns:
        The response, or why there is none. Never raises because of the picture.

    >>> y, x = np.mgrid[:60, :60]
    >>> from math import erf
    >>> soft = np.vectorize(erf)((x - 30 - 0.1 * (y - 30)) / (1.2 * 2**0.5) / 1.005) / 2 + 0.5
    >>> round(measure_edge(soft).mtf50, 3)
    0.157
    """
    if light.ndim != 2 or min(light.shape) < LEAST_SIDE_PX:
        return NoEdge("The part is smaller than 12 × 12 px or has several channels.")
    field = np.asarray(light, np.float64)
    if not np.isfinite(field).all():
        return NoEdge("The part holds values that are no numbers.")
    down = np.abs(np.diff(field.mean(axis=1))).sum()
    across = np.abs(np.diff(field.mean(axis=0))).sum()
    if down > across:
        field = field.T
    contrast = _contrast(field)
    if contrast < LEAST_CONTRAST * max(float(field.max()), TINY):
        return NoEdge("There is no step of light here.")
    line = _fit_line(field)
    if isinstance(line, NoEdge):
        return line
    offset, slope = line
    spread = _spread_function(field, offset, slope)
    if isinstance(spread, NoEdge):
        return spread
    frequency, response = _response(spread)
    return Sfr(
        frequency=frequency,
        response=response,
        mtf50=_crossing(frequency, response, 0.5),
        mtf10=_crossing(frequency, response, 0.1),
        peak=float(response[frequency <= NYQUIST].max()),
        angle_deg=float(np.degrees(np.arctan(abs(slope)))),
        contrast=contrast,
    )


def sampling_efficiency(mtf10_lp_mm: float, px_per_mm: float) -> float:
    """MTF10 in line pairs per mm as a share of what the pixels could carry.

    Source: Metamorfoze Preservation Imaging Guidelines 1.0 (2012), note 29: 5 lp/mm at 300 ppi.

    >>> round(sampling_efficiency(5, 300 / 25.4), 4)
    0.8467
    """
    return mtf10_lp_mm / (px_per_mm / 2)


def _contrast(field: NDArray[np.float64]) -> float:
    tenth = max(2, field.shape[1] // 10)
    return float(abs(field[:, :tenth].mean() - field[:, -tenth:].mean()))


def _fit_line(field: NDArray[np.float64]) -> tuple[float, float] | NoEdge:
    """Column of the edge at row 0, and columns per row."""
    rows, columns = field.shape
    slope_x = np.zeros_like(field)
    slope_x[:, 1:-1] = (field[:, 2:] - field[:, :-2]) / 2
    x = np.arange(columns, dtype=np.float64)
    y = np.arange(rows, dtype=np.float64)
    sign = 1.0 if field[:, -2:].mean() > field[:, :2].mean() else -1.0
    weight = np.maximum(sign * slope_x, 0)
    strongest = np.array([np.argmax(row) for row in _smooth(weight)], np.float64)
    slope, offset = _robust_line(y, strongest)
    for half in (max(6.0, columns / 5), max(5.0, columns / 8), max(5.0, columns / 8)):
        expected = offset + slope * y
        window = np.exp(-0.5 * ((x[None, :] - expected[:, None]) / (half / 2)) ** 2)
        local = sign * slope_x * window
        total = local.sum(axis=1)
        usable = (total > TINY) & (expected > 1) & (expected < columns - 2)
        if usable.sum() < max(6, rows // 2):
            return NoEdge("The edge leaves this part of the picture.")
        middles = (local * x).sum(axis=1)[usable] / total[usable]
        slope, offset = _robust_line(y[usable], middles)
    bend = middles - (offset + slope * y[usable])
    if float(np.median(np.abs(bend))) > MOST_BEND_PX:
        return NoEdge("The edge is not straight, or there is more than one.")
    return float(offset), float(slope)


def _smooth(weight: NDArray[np.float64]) -> NDArray[np.float64]:
    padded = np.pad(weight, ((0, 0), (1, 1)))
    return padded[:, :-2] + padded[:, 1:-1] + padded[:, 2:]


def _robust_line(y: NDArray[np.float64], x: NDArray[np.float64]) -> tuple[float, float]:
    """Slope and offset; points far off a first fit are left out of the second."""
    steps = np.diff(x) / np.diff(y)
    slope = float(np.median(steps)) if len(steps) < 4 else _theil_sen(y, x)
    offset = float(np.median(x - slope * y))
    off = np.abs(x - offset - slope * y)
    kept = off <= max(1.0, 3 * float(np.median(off)))
    if kept.sum() >= 4:
        slope, offset = (float(value) for value in np.polyfit(y[kept], x[kept], 1))
    return slope, offset


def _theil_sen(y: NDArray[np.float64], x: NDArray[np.float64]) -> float:
    """Median slope between points half the length apart."""
    half = len(y) // 2
    return float(np.median((x[half:] - x[: len(x) - half]) / (y[half:] - y[: len(y) - half])))


def _spread_function(
    field: NDArray[np.float64], offset: float, slope: float
) -> NDArray[np.float64] | NoEdge:
    """Windowed line spread function in quarter pixels along the normal."""
    rows, columns = field.shape
    y, x = np.mgrid[:rows, :columns].astype(np.float64)
    distance = (x - offset - slope * y) / np.hypot(1.0, slope)
    reach = _reach(offset, slope, rows, columns)
    if reach < 5:
        return NoEdge("The edge lies too near the rim of this part.")
    count = 2 * int(reach * OVERSAMPLING) + 1
    index = np.round(distance * OVERSAMPLING).astype(int) + count // 2
    inside = (index >= 0) & (index < count)
    hits = np.bincount(index[inside], minlength=count)
    sums = np.bincount(index[inside], weights=field[inside], minlength=count)
    filled = hits > 0
    middle = slice(count // 2 - 2 * OVERSAMPLING, count // 2 + 2 * OVERSAMPLING + 1)
    if filled[middle].mean() < LEAST_FILLED or filled.mean() < 0.9:
        return NoEdge("The edge lies along the pixels, so it shows nothing between them.")
    places = np.arange(count)
    offsets = np.bincount(index[inside], weights=distance[inside], minlength=count)
    at = offsets[filled] / hits[filled] * OVERSAMPLING + count // 2
    profile = np.interp(places, at, sums[filled] / hits[filled])
    ends = max(4, count // 6)
    step = abs(float(profile[-ends:].mean() - profile[:ends].mean()))
    if step < TINY or max(profile[:ends].std(), profile[-ends:].std()) > MOST_UNEVEN * step:
        return NoEdge("The light on one side of the edge is not even.")
    spread = np.zeros(count)
    spread[1:-1] = (profile[2:] - profile[:-2]) / 2
    weight = np.abs(spread)
    centre = float((places * weight**2).sum() / (weight**2).sum())
    half = max(centre, count - 1 - centre)
    window = 0.54 + 0.46 * np.cos(np.pi * (places - centre) / half)
    return np.asarray(spread * window)


def _reach(offset: float, slope: float, rows: int, columns: int) -> float:
    """Distance from the edge that all rows see on both sides, px along the normal."""
    ends = np.array([offset, offset + slope * (rows - 1)])
    clear = min(float(ends.min()), columns - 1 - float(ends.max()))
    sheer = min(float(ends.mean()), columns - 1 - float(ends.mean()))
    return max(clear, 0.6 * sheer) / float(np.hypot(1.0, slope))


def _response(spread: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Frequencies up to 1 cycle per pixel, and the corrected response."""
    padded = max(2048, len(spread))
    spectrum = np.abs(np.fft.rfft(spread, padded))
    frequency = np.fft.rfftfreq(padded, 1 / OVERSAMPLING)
    kept = frequency <= 1.0
    frequency, spectrum = frequency[kept], spectrum[kept]
    step = frequency / OVERSAMPLING
    # numpy's sinc(x) is sin(pi x) / (pi x): of the difference over two bins, and of a bin.
    correction = np.sinc(2 * step) * np.sinc(step)
    response = spectrum / spectrum[0] / np.maximum(correction, 1 / MOST_CORRECTION)
    return np.asarray(frequency, np.float64), np.asarray(response, np.float64)


def _crossing(
    frequency: NDArray[np.float64], response: NDArray[np.float64], level: float
) -> float | None:
    below = np.flatnonzero(response < level)
    if not len(below) or below[0] == 0:
        return None
    i = int(below[0])
    share = (response[i - 1] - level) / (response[i - 1] - response[i])
    return float(frequency[i - 1] + share * (frequency[i] - frequency[i - 1]))
