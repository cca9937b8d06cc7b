"""The change map: where two pictures differ by more than the set-up can make them differ."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray

from .limits import MapLimits
from .values import Change, Floats, blurred, colour_change, ratio_change

Mask = NDArray[np.bool_]
MOST_ZONES = 20


@dataclass(frozen=True, slots=True, kw_only=True)
class Zone:
    """A connected marked area.

    ``x_px``, ``y_px``, ``width_px``, ``height_px``: its box on the map; ``area_mm2``: its area;
    ``mean``: mean change within it, in the unit of the map.
    """

    x_px: int
    y_px: int
    width_px: int
    height_px: int
    area_mm2: float
    mean: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ChangeMap:
    """What changed, what cannot be told, and the floor below which nothing is said.

    Attributes:
        change: Values at every place.
        inside: Where both pictures show the face; its rim is left out.
        whole: What shares are told of: the face with its rim, or what both pictures show.
        is_of_face: Whether that is the face and no ground.
        marked: Changed by more than the floor.
        hatched: Cannot be told: an edge times the residual passes the floor, too dark, saturated,
            the rim of the face, or a part of it that one picture does not show.
        saturated: Where one of the pictures is at the top of its scale, so that what changed above
            it is hidden.
        floor: In the unit of ``change``.
        residual_px: Error of the alignment in px of the map.
        px_per_mm: Density of the map.
        zones: The largest marked areas, the largest first.
    """

    change: Change
    inside: Mask
    whole: Mask
    is_of_face: bool
    marked: Mask
    hatched: Mask
    saturated: Mask
    floor: float
    residual_px: float
    px_per_mm: float
    zones: tuple[Zone, ...]

    @property
    def marked_share(self) -> float:
        """Share of the whole that is marked, 0 to 1."""
        return _share(self.marked, self.whole)

    @property
    def hatched_share(self) -> float:
        """Share of the whole about which nothing can be said, 0 to 1."""
        return _share(self.hatched, self.whole)

    @property
    def saturated_share(self) -> float:
        """Share of the whole that is saturated in one of the pictures, 0 to 1."""
        return _share(self.saturated, self.whole)


def change_map(
    before: NDArray[Any],
    after: NDArray[Any],
    *,
    inside: Mask,
    residual_px: float,
    px_per_mm: float,
    floor: float,
    limits: MapLimits,
    face: Mask | None = None,
    saturated: Mask | None = None,
) -> ChangeMap:
    """Compare two pictures that lie over each other.

    Both are blurred to ``max(residual, 1 px)`` and compared place by place. A place is marked when
    it lies above the floor and so does most of a small window around it, or if it belongs to a
    spot, however small, in which some px are several times above it: a loss of a millimetre. Where
    edges times the residual pass the floor, or one picture is saturated, the place is hatched,
    unless it changed by more than the floor and the edge together.

    Args:
        before, after: Linear light on one raster and in one scale (normalised by chart or patches,
            never by the painting): XYZ (rows, columns, 3) or light (rows, columns).
        inside: The face, where both pictures are known.
        floor: From ``combined_floor``.
        face: All of the face, of which shares are told; None if its place is not known, and shares
            are told of ``inside``.
        saturated: Where one picture is at the top of its scale; nothing can be told there.

    Raises:
        ValueError: Shapes differ, or the residual is negative or no number.

    >>> import json, pathlib
    >>> data = json.loads(pathlib.Path("fixtures/checks/comparability-1.json").read_text("utf-8"))
    >>> limits = MapLimits.from_settings(data)
    >>> light = np.full((40, 40), 0.3, np.float32)
    >>> other = light.copy()
    >>> other[10:30, 10:30] *= 1.5
    >>> found = change_map(light, other, inside=np.ones((40, 40), bool), residual_px=0.1,
    ...                    px_per_mm=2.0, floor=10.0, limits=limits)
    >>> found.zones[0].width_px, round(found.marked_share, 2)
    (22, 0.29)
    """
    change = changes_of(before, after, residual_px=residual_px, limits=limits)
    edges = _reach(change.at_edges, residual_px)
    at_edge = edges > floor
    above = np.nan_to_num(change.size) > floor + np.where(at_edge, edges, 0)
    hidden = np.zeros_like(inside) if saturated is None else inside & saturated
    unknown = inside & (~np.isfinite(change.size) | (at_edge & ~above) | (hidden & ~above))
    told = inside & ~unknown
    strong = np.nan_to_num(change.size) > limits.strong_factor * floor + 2 * edges
    marked = told & above & _most(above, told, odd_window(px_per_mm, limits))
    marked |= _spots(told & above, told & strong, limits.strong_px)
    whole = inside if face is None else face
    return ChangeMap(
        change=change,
        inside=inside,
        whole=whole,
        is_of_face=face is not None,
        marked=marked,
        hatched=unknown | (whole & ~inside),
        saturated=hidden,
        floor=floor,
        residual_px=residual_px,
        px_per_mm=px_per_mm,
        zones=_zones(marked, change.size, px_per_mm),
    )


def changes_of(
    before: NDArray[Any], after: NDArray[Any], *, residual_px: float, limits: MapLimits
) -> Change:
    """Blur both alike and compare: colour by ΔE00, light by its ratio."""
    if before.shape != after.shape or before.ndim not in (2, 3):
        raise ValueError(
            f"Both pictures must have one shape, got {before.shape} and {after.shape}."
        )
    if not 0 <= residual_px < math.inf:
        raise ValueError(f"The residual must be 0 px or more and finite, got {residual_px:g}.")
    sigma = max(residual_px, limits.least_blur_px)
    one, other = blurred(before, sigma), blurred(after, sigma)
    if one.ndim == 3:
        return colour_change(one, other, residual_px=residual_px)
    return ratio_change(one, other, residual_px=residual_px, dark_level=limits.dark_level)


def noise_floor(change: Change, inside: Mask, *, limits: MapLimits) -> float:
    """Floor of a station from a test and retest pair: a high percentile, never below the least.

    Args:
        change: ``changes_of`` for two pictures of one object between which nothing was done.

    Raises:
        ValueError: Nothing inside is known.
    """
    known = change.size[inside & np.isfinite(change.size)]
    if known.size == 0:
        raise ValueError("The test and retest pair has no place that both pictures show.")
    least = limits.least_floor_delta_e if change.unit == "ΔE00" else limits.least_floor_percent
    return max(least, float(np.percentile(known, limits.floor_percentile)))


def combined_floor(station: float, disagreement: float) -> float:
    """Floor of one pair: the station's, and how far the charts of both shoots disagree.

    The two are independent, so their squares add.

    >>> round(combined_floor(1.5, 1.87), 1), combined_floor(1.5, 0)
    (2.4, 1.5)
    """
    return math.hypot(station, disagreement)


def patch_gain(before: ArrayLike, after: ArrayLike) -> NDArray[np.float64]:
    """Gain per channel that brings the patches of one picture to those of the other.

    Least squares through 0 in linear light. Only patches of a chart or target may be handed in:
    a gain from the painting would hide the change that is looked for.

    Args:
        before, after: Patches × channels (XYZ), or patches alone (light).

    Returns:
        Factor for each channel of ``after``.

    Raises:
        ValueError: No patches, unlike numbers, or patches without light.

    >>> patch_gain([[0.2, 0.2, 0.1], [0.4, 0.4, 0.2]], [[0.1, 0.2, 0.1], [0.2, 0.4, 0.2]]).tolist()
    [2.0, 1.0, 1.0]
    """
    one, other = np.asarray(before, np.float64), np.asarray(after, np.float64)
    if one.shape != other.shape or one.size == 0:
        raise ValueError("The same patches are needed from both pictures, at least one.")
    power = (other * other).sum(axis=0)
    if not (power > 0).all() or not np.isfinite(one).all():
        raise ValueError("The patches of one picture hold no light, so they give no scale.")
    return np.asarray((one * other).sum(axis=0) / power)


def odd_window(px_per_mm: float, limits: MapLimits) -> int:
    """Side of the voting window in px, odd."""
    side = max(limits.least_window_px, round(limits.window_mm * px_per_mm))
    return side if side % 2 else side + 1


def _reach(edges: Floats, residual_px: float) -> Floats:
    """An edge reaches as far as the pictures may be off: the strongest within the residual."""
    side = 2 * math.ceil(residual_px) + 1
    return np.asarray(cv2.dilate(edges, np.ones((side, side), np.uint8)), np.float32)


def _most(above: Mask, told: Mask, window: int) -> Mask:
    """Whether more than half of what is told in the window around a place lies above the floor."""
    votes = _box((above & told).astype(np.float32), window)
    voters = _box(told.astype(np.float32), window)
    return np.asarray(votes > 0.5 * voters)


def _spots(above: Mask, strong: Mask, least_px: int) -> Mask:
    """Strong places of at least so many connected px, with what is above the floor beside them."""
    count, labels = cv2.connectedComponents(strong.astype(np.uint8))
    held = np.bincount(labels.ravel(), minlength=count) >= least_px
    held[0] = False
    spots = held[labels].astype(np.uint8)
    return above & (cv2.dilate(spots, np.ones((3, 3), np.uint8)) > 0)


def _box(values: Floats, window: int) -> Floats:
    return np.asarray(
        cv2.boxFilter(values, -1, (window, window), borderType=cv2.BORDER_CONSTANT), np.float32
    )


def _zones(marked: Mask, size: Floats, px_per_mm: float) -> tuple[Zone, ...]:
    count, labels, stats, _ = cv2.connectedComponentsWithStats(marked.astype(np.uint8))
    order = sorted(range(1, count), key=lambda label: -int(stats[label, cv2.CC_STAT_AREA]))
    zones = []
    for label in order[:MOST_ZONES]:
        x, y, width, height, area = (int(value) for value in stats[label])
        part = labels[y : y + height, x : x + width] == label
        zones.append(
            Zone(
                x_px=x,
                y_px=y,
                width_px=width,
                height_px=height,
                area_mm2=area / px_per_mm**2,
                mean=float(size[y : y + height, x : x + width][part].mean()),
            )
        )
    return tuple(zones)


def _share(part: Mask, whole: Mask) -> float:
    total = int(whole.sum())
    return float((part & whole).sum() / total) if total else 0.0
