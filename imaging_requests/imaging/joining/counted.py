"""Which patches speak for the fit of a join: all that were found, but for two kinds.

A fit that leaves out what does not fit is always good. So every patch that was found counts, with
these exceptions: in an X-ray, parts off the paint plane are thrown elsewhere and cannot fit, so
what disagrees in an overlap that is proven by others is only said; and one patch alone in such an
overlap, far beyond all the others, is a thing that moved or a mistake, and is said as well.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from imaging_requests.imaging.joining.register import Registration
from imaging_requests.imaging.joining.settings import JoinSettings

Mask = NDArray[np.bool_]

#: A patch stands alone if it lies so many times further off than any other of its overlap.
ALONE = 4.0
LEAST_OTHERS = 4


@dataclass(frozen=True, slots=True, eq=False)
class Counted:
    """``mask``: which patches count. ``lengths``: residuals, px of the tiles. ``notes``: the rest,
    said in sentences."""

    mask: Mask
    lengths: NDArray[np.float64]
    notes: tuple[str, ...]

    def rms_px(self, of: Mask | None = None) -> float:
        """Root mean square over what counts, of all patches or of some."""
        taken = self.lengths[self.mask if of is None else self.mask & of]
        return float(np.sqrt(np.mean(taken**2))) if len(taken) else 0.0

    def worst_px(self) -> float:
        """The largest residual that counts."""
        return float(self.lengths[self.mask].max()) if self.mask.any() else 0.0


def count_patches(
    found: Registration, numbers: Mapping[int, int], settings: JoinSettings, *, is_xray: bool
) -> Counted:
    """Say which patches count.

    ``numbers``: number for people by tile index.
    """
    rest = found.solution.residuals
    lengths = np.asarray(np.hypot(rest[:, 0], rest[:, 1]), np.float64)
    mask = np.ones(len(lengths), bool)
    pairs = np.array([(one.first, one.second) for one in found.found]).reshape(-1, 2)
    notes = []
    for meet in found.meets:
        pair = (meet.meeting.first, meet.meeting.second)
        mine = [int(k) for k in np.flatnonzero((pairs == pair).all(axis=1))]
        if not meet.is_proven:
            continue
        off = [k for k in mine if lengths[k] > settings.agree_px]
        left_out = off if is_xray else _alone(lengths, mine, off)
        if not left_out:
            continue
        mask[left_out] = False
        names = f"tiles {numbers[pair[0]]} and {numbers[pair[1]]}"
        notes.append(_said(len(left_out), names, float(lengths[left_out].max()), is_xray=is_xray))
    return Counted(mask, lengths, tuple(notes))


def _alone(lengths: NDArray[np.float64], mine: Sequence[int], off: list[int]) -> list[int]:
    """The one patch that lies far beyond all others of its overlap, if there is one."""
    if len(off) != 1 or len(mine) <= LEAST_OTHERS:
        return []
    others = max(lengths[k] for k in mine if k != off[0])
    return off if lengths[off[0]] > ALONE * others else []


def _said(count: int, names: str, worst_px: float, *, is_xray: bool) -> str:
    if is_xray:
        return (
            f"In the overlap of {names} {count} "
            f"place{'s lie' if count > 1 else ' lies'} up to {worst_px:.1f} px elsewhere and "
            "count for nothing: parts off the paint plane, as bars, cannot fit."
        )
    return (
        f"In the overlap of {names} one place alone lies {worst_px:.1f} px off and is not counted: "
        "something may have moved there. Look at it."
    )
