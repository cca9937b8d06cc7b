"""How well two tiles meet on reduced pictures: correlation of fine structure over every overlap.

The strip along the side of one tile is cut into blocks along its length. Each block is correlated
with the other tile's strip at every overlap and slip (Fourier transform), the blocks' sums are
added with a shear for every turn within the limit, and the sum is divided by the energies inside
the overlap. The height of the best peak over the scatter of the whole surface (median absolute
deviation) is the evidence ``z``. Source of the normalisation: the correlation coefficient over the
overlapping part, as in J. P. Lewis, Fast Normalized Cross-Correlation, 1995 (from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from imaging_requests.imaging.joining.settings import JoinSettings
from imaging_requests.imaging.joining.structure_map import Shown
from imaging_requests.imaging.joining.words import Grey, Link, Side

BLOCKS = 4
MAD_TO_SIGMA = 1.4826
LEAST_STRIP_PX = 4
SHEAR_STEP_PX = 1.5
NO_LINK = Link(0.0, 0.0, 0.0, 0.0)


@dataclass(frozen=True, slots=True)
class _Strip:
    """The transformed blocks of one side. ``energy``: running sums of squares for the first tile,
    per-column sums for the second."""

    transform: NDArray[Any]
    energy: Grey


class PairScorer:
    """Scores pairs of tiles and remembers the transforms, so that each side is done once."""

    def __init__(self, settings: JoinSettings, *, longest: int, most_overlap: float) -> None:
        """Prepare for tiles whose longest reduced side has ``longest`` px."""
        self._settings, self._most_overlap = settings, most_overlap
        self._depth = max(LEAST_STRIP_PX + 1, round(most_overlap * longest))
        self._least = max(LEAST_STRIP_PX, round(settings.least_overlap * longest))
        self._slip = max(2, round(settings.most_slip * longest))
        self._first: dict[object, _Strip] = {}
        self._second: dict[object, _Strip] = {}

    def score(
        self, first: Shown, second: Shown, side: Side, *, first_key: object, second_key: object
    ) -> Link:
        """Return how well ``second`` lies on that side; the keys name tile and turn."""
        if first.is_empty or second.is_empty:
            return NO_LINK
        one, other = _lying(first, side), _lying(second, side)
        length = min(one.map.shape[0], other.map.shape[0])
        width = min(one.map.shape[1], other.map.shape[1])
        depth = min(self._depth, round(max(self._most_overlap, 0.5) * width))
        block = length // BLOCKS
        if block <= 4 or depth <= self._least:
            return NO_LINK
        size = (_fast(block + 2 * self._slip), _fast(2 * depth))
        a = self._kept(
            self._first, (first_key, side, length, depth), one, size, length, depth, True
        )
        b = self._kept(
            self._second, (second_key, side, length, depth), other, size, length, depth, False
        )
        surfaces = np.stack(
            [
                cv2.idft(
                    cv2.mulSpectrums(one_block, other_block, 0, conjB=True),
                    flags=cv2.DFT_SCALE | cv2.DFT_REAL_OUTPUT,
                )
                for one_block, other_block in zip(a.transform, b.transform, strict=True)
            ]
        )
        steps, slips = depth - self._least + 1, 2 * self._slip + 1
        sums = surfaces[:, :slips, :steps]
        peak = self._best(sums, a.energy[:, :slips, :steps], b.energy[:, :steps], block, depth)
        z, slip, step, shear = peak
        # where the strip of the first tile begins, and where the second's content begins
        dx = one.content.right + 1 - depth + step - other.content.left
        dy = slip - self._slip
        turn = shear / (block * (BLOCKS - 1) / 2)
        # the peak holds at mid-length and mid-overlap; carried to the second tile's corner
        along = dx - turn * length / 2
        across = dy + turn * (depth - step) / 2
        if side is Side.RIGHT:
            return Link(z, along, across, -turn)
        return Link(z, across, along, turn)

    def _kept(
        self,
        store: dict[object, _Strip],
        key: object,
        lying: Shown,
        size: tuple[int, int],
        length: int,
        depth: int,
        is_first: bool,
    ) -> _Strip:
        found = store.get(key)
        if found is None:
            found = (
                self._outer(lying, size, length, depth)
                if is_first
                else self._inner(lying, size, length, depth)
            )
            store[key] = found
        return found

    def _outer(self, lying: Shown, size: tuple[int, int], length: int, depth: int) -> _Strip:
        """Strip at the far side of the first tile; blocks reach beyond by the slip on both ends."""
        right, block, slip = lying.content.right, length // BLOCKS, self._slip
        strip = lying.map[:, max(0, right + 1 - depth) : right + 1]
        strip = np.pad(strip, ((slip, slip), (depth - strip.shape[1], 0)))
        blocks = np.zeros((BLOCKS, *size), np.float32)
        for number in range(BLOCKS):
            part = strip[number * block : number * block + block + 2 * slip]
            blocks[number, : part.shape[0], :depth] = part
        # energy of the columns from `step` on, over `block` rows from each slip on
        squares = blocks[:, :, :depth] ** 2
        tails = np.cumsum(squares[:, :, ::-1], axis=2)[:, :, ::-1]
        rows = np.cumsum(np.pad(tails, ((0, 0), (1, 0), (0, 0))), axis=1)
        energy = rows[:, block : block + 2 * slip + 1] - rows[:, : 2 * slip + 1]
        return _Strip(np.stack([cv2.dft(each) for each in blocks]), energy)

    def _inner(self, lying: Shown, size: tuple[int, int], length: int, depth: int) -> _Strip:
        """Strip at the near side of the second tile."""
        left, block = lying.content.left, length // BLOCKS
        strip = lying.map[:, left : left + depth]
        strip = np.pad(strip, ((0, 0), (0, depth - strip.shape[1])))
        blocks = np.zeros((BLOCKS, *size), np.float32)
        for number in range(BLOCKS):
            blocks[number, :block, :depth] = strip[number * block : (number + 1) * block]
        # energy of the columns that remain under the first tile when it begins at `step`
        heads = np.cumsum((blocks[:, :block, :depth] ** 2).sum(axis=1), axis=1)
        return _Strip(np.stack([cv2.dft(each) for each in blocks]), heads[:, ::-1].copy())

    def _best(
        self, sums: Grey, outer: Grey, inner: Grey, block: int, depth: int
    ) -> tuple[float, int, int, float]:
        """Return z, row and column of the best peak and the shear in px at the last block."""
        lever = (np.arange(BLOCKS) - (BLOCKS - 1) / 2) / ((BLOCKS - 1) / 2)
        most = np.radians(self._settings.most_turn_deg) * block * (BLOCKS - 1) / 2
        area = np.sqrt((depth - np.arange(sums.shape[2])) * float(BLOCKS * block))
        best = (0.0, 0, 0, 0.0)
        scale = 0.0
        for shear in _outwards(most):
            shifts = [round(shear * arm) for arm in lever]
            top = _sheared(sums, shifts)
            energy = _sheared(outer, shifts) * _sheared(inner[:, None, :], shifts)
            surface = top / np.sqrt(np.maximum(energy, 1e-12)) * area
            surface[energy <= 1e-9] = 0
            if not scale:
                middle = float(np.median(surface))
                scale = MAD_TO_SIGMA * float(np.median(np.abs(surface - middle)))
                if scale <= 0:
                    return best
            at = int(np.argmax(surface))
            height = float(surface.flat[at]) / scale
            if height > best[0]:
                row, column = divmod(at, surface.shape[1])
                best = (height, row, column, shear)
            elif best[0] >= self._settings.sure_z and abs(shear) > abs(best[3]) + 2 * SHEAR_STEP_PX:
                break
        return best


def _lying(shown: Shown, side: Side) -> Shown:
    """Return the tile so that the neighbour lies to the right."""
    if side is Side.RIGHT:
        return shown
    box = shown.content
    flipped = type(box)(box.top, box.left, box.bottom, box.right)
    return Shown(shown.map.T, flipped, shown.strength)


def _outwards(most: float) -> list[float]:
    count = int(np.ceil(most / SHEAR_STEP_PX))
    return [0.0, *(sign * step * SHEAR_STEP_PX for step in range(1, count + 1) for sign in (1, -1))]


def _sheared(surfaces: Grey, shifts: list[int]) -> Grey:
    """Return the sum over the blocks, each moved along the overlap; beyond the edge is nothing."""
    total = np.zeros(surfaces.shape[1:], np.float32)
    columns = surfaces.shape[2]
    for surface, shift in zip(surfaces, shifts, strict=True):
        if shift >= 0:
            total[:, : columns - shift] += surface[:, shift:]
        else:
            total[:, -shift:] += surface[:, : columns + shift]
    return total


def _fast(length: int) -> int:
    """Return the next length with small prime factors, which transforms fast.

    >>> _fast(170), _fast(97)
    (180, 100)
    """
    while True:
        rest = length
        for prime in (2, 3, 5):
            while rest % prime == 0:
                rest //= prime
        if rest == 1:
            return length
        length += 1
