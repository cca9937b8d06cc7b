"""Find a colour chart in a picture, in perspective and in any of its turns, or say it is not there.

Even patches are put in grids (``regions``, ``lattice``); each grid is laid on the chart's layout in
every turn and every position, and the colours decide. They are compared after one gain per
tristimulus value, so a wrong exposure or white does not hide the chart; what the light did to it is
measured afterwards. A grid whose colours fit two turns equally well is not taken.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import islice
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from imaging_requests.imaging.measure.charts import Edition
from imaging_requests.imaging.measure.delta_e import delta_e_76, lab_to_xyz, xyz_to_lab
from imaging_requests.imaging.measure.lattice import Cell, Lattice, find_lattices, project
from imaging_requests.imaging.measure.regions import Patches, find_patches

STEPS = (0.035, 0.018, 0.07)
"""Thresholds of evenness that are tried, in square root of light."""
MOST_LATTICES = 12
LEAST_SHARE = 0.6
MOST_RESIDUAL_STEPS = 0.12
MOST_DELTA_E = 16.0
"""Median ΔE*ab of the patches, after gain, of a grid that still is this chart."""
CLEAR_RATIO = 1.4
"""How much worse every other turn must fit."""
TURNS = tuple((turn, is_mirrored) for is_mirrored in (False, True) for turn in range(4))


@dataclass(frozen=True, slots=True)
class FoundChart:
    """Where a chart lies.

    ``to_px``: 3 × 3, from chart coordinates to px; a patch is 1 × 1, the upper left patch of the
    upright chart has its middle at (0.5, 0.5). ``turn``: quarter turns clockwise in the picture.
    ``is_mirrored``: the picture shows the chart as in a mirror. ``seen``: share of patches seen as
    even areas. ``delta_e``: median ΔE*ab after gain, how sure the colours make it.
    """

    edition: Edition
    to_px: NDArray[np.float64]
    turn: int
    is_mirrored: bool
    seen: float
    delta_e: float

    def scaled(self, factor: float) -> FoundChart:
        """Return the same chart in a picture ``factor`` times as large (pixel centres kept)."""
        shift = (factor - 1) / 2
        grow = np.array([[factor, 0, shift], [0, factor, shift], [0, 0, 1.0]])
        return FoundChart(
            self.edition, grow @ self.to_px, self.turn, self.is_mirrored, self.seen, self.delta_e
        )

    def corners_px(self) -> NDArray[np.float64]:
        """Corners of the upright chart: upper left, upper right, lower right, lower left, px."""
        w, h = self.edition.columns, self.edition.rows
        return project(self.to_px, np.array([[0, 0], [w, 0], [w, h], [0, h]], np.float64))

    def step_px(self) -> float:
        """Mean distance of neighbouring patches in px."""
        corners = self.corners_px()
        sides = np.hypot(*(np.roll(corners, -1, axis=0) - corners).T)
        w, h = self.edition.columns, self.edition.rows
        return float((sides[0] / w + sides[2] / w + sides[1] / h + sides[3] / h) / 4)


@dataclass(frozen=True, slots=True)
class ChartNotFound:
    """No chart was found, and why."""

    because: str


def find_chart(
    light: NDArray[Any], to_xyz: NDArray[Any], editions: Mapping[str, Edition]
) -> FoundChart | ChartNotFound:
    """Find one of the charts.

    Args:
        light: Linear light 0 to 1, float32, (rows, columns, 3); patches of 6 px or more. For speed
            a reduced picture of about 2,000 px.
        to_xyz: 3 × 3, linear light to XYZ (D50).
        editions: The charts that may be there; of two makings of one chart the better fit is taken,
            so name only the edition that the studio owns.

    Returns:
        The chart, or why none was found. Never raises because of the picture.

    >>> find_chart(np.zeros((9, 9, 3), np.float32), np.eye(3), {}).because
    'The picture shows no even patches that could be a chart.'
    """
    if light.ndim != 3 or light.shape[2] != 3:
        return ChartNotFound("The picture has no colour, so no colour chart can be found in it.")
    if not np.isfinite(light).all():
        return ChartNotFound("The picture holds values that are no numbers.")
    has_grid = False
    for step in STEPS:
        patches = find_patches(light, step=step)
        for lattice in islice(find_lattices(patches), MOST_LATTICES):
            has_grid = True
            best = _match(patches, lattice, np.asarray(to_xyz, np.float64), editions)
            if best is not None:
                return best
    if has_grid:
        return ChartNotFound(
            "There are patches in rows and columns, but their colours are not those of the chart."
        )
    return ChartNotFound("The picture shows no even patches that could be a chart.")


def _match(
    patches: Patches, lattice: Lattice, to_xyz: NDArray[Any], editions: Mapping[str, Edition]
) -> FoundChart | None:
    if lattice.residual_steps > MOST_RESIDUAL_STEPS:
        return None
    seen_xyz = {cell: patches.colours[i] @ to_xyz.T for cell, i in lattice.members.items()}
    fits = []
    for edition in editions.values():
        for turn, is_mirrored in TURNS:
            fits.extend(_place(seen_xyz, edition, turn, is_mirrored))
    if not fits:
        return None
    fits.sort(key=lambda fit: fit[0])
    score, edition, turn, is_mirrored, assigned, delta_e = fits[0]
    if delta_e > MOST_DELTA_E:
        return None
    others = [fit[0] for fit in fits if (fit[2], fit[3]) != (turn, is_mirrored)]
    if others and others[0] < CLEAR_RATIO * score:
        return None
    middles = np.array([edition.cell(patch) for patch in assigned.values()], np.float64) + 0.5
    points = patches.centres[[lattice.members[cell] for cell in assigned]]
    matrix, _ = cv2.findHomography(middles, points, 0)
    if matrix is None:
        return None
    return FoundChart(
        edition, np.asarray(matrix), turn, is_mirrored, len(assigned) / edition.patches, delta_e
    )


Fit = tuple[float, Edition, int, bool, dict[Cell, int], float]


def _place(
    seen: Mapping[Cell, NDArray[np.float64]], edition: Edition, turn: int, is_mirrored: bool
) -> list[Fit]:
    """Lay the grid on the chart in one turn, at every position; the fits that are worth a look."""
    width, height = edition.columns, edition.rows
    upright = {_turned(cell, turn, is_mirrored): cell for cell in seen}
    cells = np.array(list(upright))
    colours = np.array([seen[cell] for cell in upright.values()])
    low, high = cells.min(axis=0), cells.max(axis=0)
    reference = lab_to_xyz(edition.lab)
    fits: list[Fit] = []
    for dx in range(int(-high[0]), int(width - low[0])):
        for dy in range(int(-high[1]), int(height - low[1])):
            place = cells + np.array([dx, dy])
            inside = np.asarray(((place >= 0) & (place < (width, height))).all(axis=1))
            count = int(inside.sum())
            if count < max(6, LEAST_SHARE * edition.patches):
                continue
            numbers = place[inside, 1] * width + place[inside, 0]
            delta_e = _distance(colours[inside], reference[numbers], edition.lab[numbers])
            keys = [cell for cell, is_in in zip(upright.values(), inside, strict=True) if is_in]
            assigned = dict(zip(keys, (int(n) for n in numbers), strict=True))
            fits.append(((delta_e + 1) / count, edition, turn, is_mirrored, assigned, delta_e))
    return fits


def _turned(cell: Cell, turn: int, is_mirrored: bool) -> Cell:
    """Cell of the grid after undoing a mirroring and quarter turns of the chart."""
    x, y = cell
    if is_mirrored:
        x = -x
    for _ in range(turn):
        x, y = y, -x
    return x, y


def _distance(
    seen: NDArray[np.float64], reference: NDArray[np.float64], lab: NDArray[np.float64]
) -> float:
    """Median ΔE*ab after the gains that fit best."""
    bright = reference[:, 1] > 0.02
    if bright.sum() < 4:
        return float("inf")
    gain = np.median(seen[bright] / np.maximum(reference[bright], 1e-6), axis=0)
    if (gain <= 0).any():
        return float("inf")
    return float(np.median(delta_e_76(xyz_to_lab(seen / gain), lab)))
