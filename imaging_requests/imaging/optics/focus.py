"""Warp against sharp depth: the bow of a panel, and how many frames a focus stack takes."""

from __future__ import annotations

import math
from enum import StrEnum

from .formula import Formula, demand_positive

_DIGITS = 9


class Cover(StrEnum):
    """How far one frame's sharp depth covers a warped surface."""

    COVERED = "covered"
    JUST_COVERED = "just covered"
    STACK = "stack"


def bow_mm(chord_mm: float, radius_mm: float) -> float:
    """Height of a bow over its chord: ``R − √(R² − C²/4)``.

    Raises:
        ValueError: The chord is longer than the circle is wide.

    >>> round(bow_mm(600, 3000), 2)
    15.04
    """
    demand_positive(chord_mm=chord_mm, radius_mm=radius_mm)
    if chord_mm > 2 * radius_mm:
        raise ValueError(f"A circle of radius {radius_mm:g} mm has no chord of {chord_mm:g} mm.")
    return radius_mm - math.sqrt(radius_mm**2 - chord_mm**2 / 4)


def cover_of(warp_mm: float, depth_mm: float, *, usable: float) -> Cover:
    """Whether the sharp depth covers a warp; "just" when only its soft ends do.

    Args:
        usable: Share of the depth that counts as sharp for print, 0 to 1.

    >>> cover_of(15.04, 16.19, usable=0.8).value, cover_of(15.04, 3.36, usable=0.8).value
    ('just covered', 'stack')
    """
    demand_positive(depth_mm=depth_mm, usable=usable)
    if warp_mm <= usable * depth_mm:
        return Cover.COVERED
    return Cover.JUST_COVERED if warp_mm <= depth_mm else Cover.STACK


def stack_frames(warp_mm: float, depth_mm: float, *, overlap: float) -> int:
    """Frames of a focus stack: 1 if the depth suffices, else ``ceil((w − d)/((1 − o)·d)) + 1``.

    Args:
        overlap: Share of the sharp depth that neighbouring frames have in common, 0 to below 1.

    >>> stack_frames(15.04, 16.19, overlap=0.3), stack_frames(15.04, 3.36, overlap=0.3)
    (1, 6)
    """
    demand_positive(depth_mm=depth_mm)
    if not 0 <= overlap < 1:
        raise ValueError(f"overlap must lie between 0 and below 1, got {overlap:g}.")
    if warp_mm <= depth_mm:
        return 1
    return math.ceil(round((warp_mm - depth_mm) / ((1 - overlap) * depth_mm), _DIGITS)) + 1


FORMULAS = (
    Formula(
        bow_mm, "Bow over a chord", "R − √(R² − C²/4)", "mm", "geometry of the circle", "derived"
    ),
    Formula(
        stack_frames,
        "Frames of a focus stack",
        "ceil((w − d)/((1 − o)·d)) + 1",
        "frames",
        "common practice: neighbouring frames share 20 to 50 % of their depth",
        "memory",
    ),
)
