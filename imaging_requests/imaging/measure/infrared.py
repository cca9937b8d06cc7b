"""Infrared: which band reached the sensor, and is it linear.

The infrared strip has a row of grey steps and, behind them, two ink lines. Carbon ink is dark at
all wavelengths; iron-gall ink fades above about 1,200 nm. If the iron-gall line is still there, the
sensor or the filter saw shorter waves.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from imaging_requests.imaging.measure.regions import Patches, find_patches
from imaging_requests.imaging.measure.sampling import as_light, luminance, patch_mean

STEPS = (0.03, 0.015, 0.06)
MOST_MISSING = 2
OFF = 0.2


@dataclass(frozen=True, slots=True)
class GreyRow:
    """Grey steps in a row, light to dark. ``origin_px``: middle of the first (seen or not).
    ``step_px``: vector from one to the next. ``light``: mean light of those seen, the last ones.
    """

    origin_px: NDArray[np.float64]
    step_px: NDArray[np.float64]
    light: NDArray[np.float64]

    def at(self, steps: float) -> tuple[float, float]:
        """Place in px so many steps from the middle of the first patch along the row."""
        x, y = self.origin_px + steps * self.step_px
        return float(x), float(y)


@dataclass(frozen=True, slots=True)
class InkLines:
    """Contrast of both ink lines against the paper between them, 0 to 1."""

    carbon: float
    iron_gall: float

    @property
    def ratio(self) -> float:
        """Contrast of iron-gall ink as a share of carbon ink's."""
        return max(0.0, self.iron_gall) / max(self.carbon, 1e-9)


def find_grey_row(light: NDArray[Any], *, count: int) -> GreyRow | None:
    """Find a row of ``count`` adjoining grey steps that grow darker, in any of four directions.

    Up to two of the lightest may be missing, since they hardly differ from the paper around them.

    Args:
        light: Linear light, (rows, columns) or (rows, columns, 3); not modified.

    Returns:
        The row, or None if there is none or more than one.
    """
    field = as_light(light)
    if field is None:
        return None
    grey = luminance(field)
    for step in STEPS:
        patches = find_patches(grey, step=step)
        rows = [row for seed in range(len(patches)) for row in _rows(patches, seed, count)]
        if len(rows) == 1:
            return _row(patches, rows[0], count)
        if rows:
            return None
    return None


def linearity(light: NDArray[Any], reference: NDArray[Any]) -> float | None:
    """R² of a straight line through measured against reference light of grey steps.

    >>> round(linearity(np.array([0.1, 0.2, 0.4]), np.array([0.2, 0.4, 0.8])), 6)
    1.0
    """
    one, other = np.asarray(light, np.float64), np.asarray(reference, np.float64)
    if one.shape != other.shape or one.size < 3 or one.std() < 1e-9 or other.std() < 1e-9:
        return None
    return float(np.corrcoef(one, other)[0, 1] ** 2)


def read_ink_lines(
    light: NDArray[Any],
    row: GreyRow,
    *,
    carbon_steps: float,
    iron_gall_steps: float,
    width_steps: float,
) -> InkLines | None:
    """Read both ink lines.

    Args:
        light: Linear light; not modified.
        row: The grey row on whose axis they lie.
        carbon_steps, iron_gall_steps: Middles of the lines, in steps from the first grey.
        width_steps: Width of a line.

    Returns:
        Contrasts, or None if they lie outside the picture.
    """
    field = as_light(light)
    if field is None:
        return None
    grey = luminance(field)
    side = max(1.0, 0.6 * width_steps * float(np.hypot(*row.step_px)))
    angle = float(np.arctan2(row.step_px[1], row.step_px[0]))
    middle = (carbon_steps + iron_gall_steps) / 2
    values = [
        patch_mean(grey, row.at(steps), side, angle)
        for steps in (carbon_steps, iron_gall_steps, middle)
    ]
    if any(value is None for value in values):
        return None
    carbon, iron_gall, paper = (float(value[0]) for value in values if value is not None)
    if paper <= 1e-6:
        return None
    return InkLines((paper - carbon) / paper, (paper - iron_gall) / paper)


def _rows(patches: Patches, seed: int, count: int) -> list[list[int]]:
    """Rows that begin at a patch, grow darker and have none before."""
    found = []
    angle = float(patches.angles[seed])
    wide, tall = patches.sides[seed]
    for quarter in range(4):
        side = wide if quarter % 2 == 0 else tall
        turn = angle + quarter * np.pi / 2
        step = side * np.array([np.cos(turn), np.sin(turn)])
        if _next(patches, seed, -step) is not None:
            continue
        row = [seed]
        while (index := _next(patches, row[-1], step)) is not None:
            if patches.colours[index].mean() >= patches.colours[row[-1]].mean():
                break
            step = 0.5 * step + 0.5 * (patches.centres[index] - patches.centres[row[-1]])
            row.append(index)
        if count - MOST_MISSING <= len(row) <= count:
            found.append(row)
    return found


def _next(patches: Patches, index: int, step: NDArray[np.float64]) -> int | None:
    off = np.hypot(*(patches.centres - patches.centres[index] - step).T)
    off[index] = np.inf
    ratio = patches.sides / patches.sides[index]
    off[((ratio > 1.35) | (ratio < 1 / 1.35)).any(axis=1)] = np.inf
    nearest = int(np.argmin(off))
    return nearest if off[nearest] <= OFF * float(np.hypot(*step)) + 0.75 else None


def _row(patches: Patches, members: list[int], count: int) -> GreyRow:
    centres = patches.centres[members]
    number = np.arange(count - len(members), count)
    across = np.polyfit(number, centres, 1)
    return GreyRow(
        origin_px=across[1],
        step_px=across[0],
        light=patches.colours[members].mean(axis=1),
    )
