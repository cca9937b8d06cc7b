"""Modelling in the round: bodies as depth maps, lit by one lamp, shaded like a painter would.

A model is a set of solids seen along the z axis (x right, y down, z to the viewer, units of the
board). Solids of one group melt into each other; the nearest group covers the others. Shading
follows from the depth: light on the normal, cast shadow, and darkness in hollows.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from ..grid import Region, blur, lay_over, smooth_noise, smoothstep, spread
from ..vocabulary import Map
from .board import Board, Point, Tone

Vector = tuple[float, float, float]
FAR = np.float32(-8.0)


@dataclass(frozen=True)
class Matter:
    """Colours of a material from shadow to light, and its polish.

    Attributes:
        dark, middle, light: Colours in shadow, half light and full light.
        polish: Strength of the highlight, 0 to 1.
        detail: Fineness of brush that it asks for, 0 to 1.
        blushes: Whether stains show on it (skin).
    """

    dark: Tone
    middle: Tone
    light: Tone
    polish: float = 0.0
    detail: float = 0.65
    blushes: bool = False


@dataclass(frozen=True)
class Light:
    """One lamp: direction towards it, softness of its edge, and how light the shadows are."""

    towards: Vector = (-0.55, -0.62, 0.56)
    fill: float = 0.10
    wrap: float = 0.10


class Model:
    """Depth and material of a group of bodies on a part of the board."""

    def __init__(self, board: Board, box: tuple[Point, Point]) -> None:
        self.board = board
        (left, top), (right, bottom) = box
        unit = board.unit
        self.x0, self.x1 = max(0, int(left * unit)), min(board.columns, int(right * unit) + 1)
        self.y0, self.y1 = max(0, int(top * unit)), min(board.rows, int(bottom * unit) + 1)
        shape = (max(1, self.y1 - self.y0), max(1, self.x1 - self.x0))
        self.depth: Map = np.full(shape, FAR, np.float32)
        self.matter: NDArray[np.int16] = np.full(shape, -1, np.int16)
        self.matters: list[Matter] = []
        self.x = board.x[:, self.x0 : self.x1] + np.zeros((1, 1), np.float32)
        self.y = board.y[self.y0 : self.y1] + np.zeros((1, 1), np.float32)
        self.stain: Map = np.zeros((*shape, 3), np.float32)
        self.flow: Map = np.full(shape, np.nan, np.float32)

    def blank(self) -> Map:
        """Depth of a new group: nothing."""
        return np.full(self.depth.shape, FAR, np.float32)

    def window(self, left: float, top: float, right: float, bottom: float) -> tuple[slice, slice]:
        """Rows and columns of a box given in units."""
        unit = self.board.unit
        rows, columns = self.depth.shape
        x0 = min(columns, max(0, int(left * unit) - self.x0 - 1))
        x1 = min(columns, max(0, int(right * unit) - self.x0 + 2))
        y0 = min(rows, max(0, int(top * unit) - self.y0 - 1))
        y1 = min(rows, max(0, int(bottom * unit) - self.y0 + 2))
        return slice(y0, max(y0, y1)), slice(x0, max(x0, x1))

    def ball(
        self,
        group: Map,
        centre: Vector,
        radii: Vector,
        *,
        turn: NDArray[np.float64] | None = None,
        melt: float = 0.0,
    ) -> None:
        """An ellipsoid, turned by a 3 x 3 rotation, melted into the group."""
        rotation = np.eye(3) if turn is None else turn
        form = rotation @ np.diag([1 / r**2 for r in radii]) @ rotation.T
        reach = max(radii)
        at = self.window(centre[0] - reach, centre[1] - reach, centre[0] + reach, centre[1] + reach)
        dx = self.x[:, at[1]] - np.float32(centre[0])
        dy = self.y[at[0]] - np.float32(centre[1])
        a = float(form[2, 2])
        b = 2 * (float(form[0, 2]) * dx + float(form[1, 2]) * dy)
        c = form[0, 0] * dx * dx + 2 * form[0, 1] * dx * dy + form[1, 1] * dy * dy - 1
        root = b * b - 4 * a * c
        z = np.where(
            root > 0, centre[2] + (-b + np.sqrt(np.maximum(root, 0))) / (2 * a), FAR
        ).astype(np.float32)
        group[at] = melted(group[at], z, melt)

    def limb(
        self,
        group: Map,
        start: Vector,
        end: Vector,
        radii: Point,
        *,
        melt: float = 0.0,
        flat: float = 1.0,
    ) -> None:
        """A tapered rod with round ends; flat below 1 makes it thinner towards the viewer."""
        r = max(radii)
        at = self.window(
            min(start[0], end[0]) - r,
            min(start[1], end[1]) - r,
            max(start[0], end[0]) + r,
            max(start[1], end[1]) + r,
        )
        px, py = self.x[:, at[1]], self.y[at[0]]
        dx, dy = end[0] - start[0], end[1] - start[1]
        length = max(dx * dx + dy * dy, 1e-9)
        t = np.clip(((px - start[0]) * dx + (py - start[1]) * dy) / length, 0, 1)
        radius = radii[0] + (radii[1] - radii[0]) * t
        off = (px - start[0] - t * dx) ** 2 + (py - start[1] - t * dy) ** 2
        inside = radius * radius - off
        z = start[2] + (end[2] - start[2]) * t + flat * np.sqrt(np.maximum(inside, 0))
        group[at] = melted(group[at], np.where(inside > 0, z, FAR).astype(np.float32), melt)

    def cushion(
        self,
        group: Map,
        outline: Sequence[Point],
        z: float,
        thickness: float,
        *,
        edge: float = 0.10,
        melt: float = 0.0,
    ) -> Region:
        """A shape cut from an outline and swollen: flat inside, round over the edge's width."""
        region = self.board.region(outline)
        if region.is_empty:
            return region
        full = np.zeros(self.depth.shape, np.float32)
        y0, x0 = max(region.y0, self.y0), max(region.x0, self.x0)
        y1, x1 = min(region.y1, self.y1), min(region.x1, self.x1)
        if y0 >= y1 or x0 >= x1:
            return region
        part = region.cover[y0 - region.y0 : y1 - region.y0, x0 - region.x0 : x1 - region.x0]
        full[y0 - self.y0 : y1 - self.y0, x0 - self.x0 : x1 - self.x0] = part
        solid = np.pad((full > 0.5).astype(np.uint8), 1)
        if y0 == self.y0 and self.y0 == 0:
            solid[0] = solid[1]
        if y1 == self.board.rows:
            solid[-1] = solid[-2]
        if x0 == 0:
            solid[:, 0] = solid[:, 1]
        if x1 == self.board.columns:
            solid[:, -1] = solid[:, -2]
        far = cv2.distanceTransform(solid, cv2.DIST_L2, 5)[1:-1, 1:-1]
        t = np.clip(far / np.float32(edge * self.board.unit), 0, 1)
        rise = np.sqrt(np.maximum(1 - (1 - t) ** 2, 0)) * np.float32(thickness)
        lump = np.where(full > 0.5, np.float32(z) + rise, FAR).astype(np.float32)
        group[...] = melted(group, lump, melt)
        return region

    def folds(
        self,
        group: Map,
        *,
        spacing: float,
        depth: float,
        direction: float,
        bend: float = 0.35,
        about: Point | None = None,
    ) -> None:
        """Press folds into cloth: sharp ridges about a spacing apart, running in a direction.

        Args:
            direction: Angle of the ridges, radians from the x axis.
            about: If given, ridges hang like ropes from this point instead.
        """
        at = _box_of(group)
        if at is None:
            return
        part = group[at]
        there = part > FAR / 2
        rng = self.board.rng
        x, y = self.x[:, at[1]], self.y[at[0]]
        if about is None:
            across = -np.sin(direction) * x + np.cos(direction) * y
        else:
            across = np.arctan2(y - about[1], x - about[0]) * np.float32(0.55)
        cell = max(4.0, spacing * 2.2 * self.board.unit)
        wander = smooth_noise(rng, part.shape, cell * 1.6, octaves=2)
        drift = smooth_noise(rng, part.shape, cell * 3.5)
        phase = across / np.float32(spacing) + np.float32(bend) * wander + 0.8 * drift
        saw = phase - np.floor(phase)
        ridge = np.where(saw < 0.7, saw / 0.7, (1 - saw) / 0.3)
        ridge = ridge * ridge * (3 - 2 * ridge)
        strength = smoothstep(-0.9, 0.9, smooth_noise(rng, part.shape, cell * 2.4))
        form = blur((ridge - 0.5).astype(np.float32), 0.08 * spacing * self.board.unit)
        part[there] += (np.float32(depth) * form * (0.25 + 0.75 * strength))[there]
        lie = direction if about is None else np.arctan2(y - about[1], x - about[0])
        self.flow[at] = np.where(there, lie, self.flow[at])

    def put(self, group: Map, matter: Matter) -> NDArray[np.bool_]:
        """Set a group into the model; what lies nearer stays. Returns where it is seen."""
        nearer = group > self.depth
        self.depth[nearer] = group[nearer]
        self.matter[nearer] = len(self.matters)
        self.matters.append(matter)
        return nearer

    def blush(self, where: Point, radius: float, tone: Tone, strength: float) -> None:
        """Tint the surface around a point; the stain is added to the colour."""
        at = self.window(
            where[0] - 2.5 * radius,
            where[1] - 2.5 * radius,
            where[0] + 2.5 * radius,
            where[1] + 2.5 * radius,
        )
        far = (self.x[:, at[1]] - where[0]) ** 2 + (self.y[at[0]] - where[1]) ** 2
        share = np.exp(-far / np.float32(radius**2)) * np.float32(strength)
        self.stain[at] += share[..., None] * np.asarray(tone, np.float32)

    def render(self, light: Light, *, alpha: float = 1.0) -> None:
        """Shade the model and lay it on the board."""
        seen = self.depth > FAR / 2
        if not seen.any():
            return
        unit = np.float32(self.board.unit)
        floor = float(self.depth[seen].min()) - 0.06
        depth = np.where(seen, self.depth, np.float32(floor))
        smooth = cv2.GaussianBlur(depth, (0, 0), max(0.7, 0.0016 * self.board.unit))
        gx = cv2.Sobel(smooth, cv2.CV_32F, 1, 0, ksize=3) / 8 * unit
        gy = cv2.Sobel(smooth, cv2.CV_32F, 0, 1, ksize=3) / 8 * unit
        norm = np.sqrt(1 + gx * gx + gy * gy)
        lx, ly, lz = (np.float32(v) for v in _unit(light.towards))
        facing = (-gx * lx - gy * ly + lz) / norm
        lit = np.clip((facing + light.wrap) / (1 + light.wrap), 0, 1)
        lit = lit * (1 - 0.80 * self._cast(depth, light))
        hollow = np.clip((blur(depth, 0.030 * self.board.unit) - depth) * 9, 0, 0.55)
        lit = np.clip((light.fill + (1 - light.fill) * lit) * (1 - hollow), 0, 1)
        half_z = np.float32((1 + float(lz)) / 2)
        gleam = _sharpened(np.clip((-gx * lx * 0.5 - gy * ly * 0.5 + half_z) / norm, 0, 1))
        tone = self._tones(lit.astype(np.float32), gleam.astype(np.float32))
        cover = cv2.GaussianBlur(seen.astype(np.float32), (0, 0), 0.6) * np.float32(alpha)
        window = (slice(self.y0, self.y1), slice(self.x0, self.x1))
        board = self.board
        lay_over(board.tone[window], tone, cover)
        board.hide(window, cover)
        board.gloss[window] *= 1 - cover
        fineness = np.array([0.0, *(m.detail for m in self.matters)], np.float32)[self.matter + 1]
        board.detail[window] = np.where(seen, fineness, board.detail[window])
        across = np.arctan2(gy, gx) + np.float32(np.pi / 2)
        flow = np.where(np.isnan(self.flow), across, self.flow)
        board.angle[window] = np.where(seen, flow, board.angle[window])

    def _cast(self, depth: Map, light: Light) -> Map:
        """Shadow thrown by nearer parts, 0 to 1, found on a copy of a quarter of the size."""
        small = cv2.resize(depth, None, fx=0.25, fy=0.25, interpolation=cv2.INTER_AREA)
        lx, ly, lz = _unit(light.towards)
        rows, columns = small.shape
        step = np.float32(1 / (0.25 * self.board.unit))
        dark = np.zeros_like(small)
        flat = float(np.hypot(lx, ly))
        for distance in (2.0, 4.0, 7.0, 11.0, 16.0, 24.0):
            move = np.array(
                [[1, 0, lx / flat * distance], [0, 1, ly / flat * distance]], np.float32
            )
            nearer = cv2.warpAffine(
                small,
                move,
                (columns, rows),
                flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
                borderMode=cv2.BORDER_CONSTANT,
                borderValue=float(FAR),
            )
            above = nearer - small - np.float32(distance) * step * np.float32(lz / flat)
            dark = np.maximum(dark, smoothstep(0.0, 0.03, above))
        dark = cv2.GaussianBlur(dark, (0, 0), 1.2)
        return cv2.resize(dark, depth.shape[1::-1], interpolation=cv2.INTER_LINEAR)

    def _tones(self, lit: Map, gleam: Map) -> Map:
        """Colour by material and light; the stain counts in half light and light."""
        index = np.maximum(self.matter, 0)

        def table(name: str) -> Map:
            values = np.array([getattr(m, name) for m in self.matters], np.float32)
            return values.take(index, axis=0)

        dark, middle, light = table("dark"), table("middle"), table("light")
        low, high = smoothstep(0.0, 0.5, lit), smoothstep(0.5, 0.97, lit)
        tone = dark + (middle - dark) * spread(low) + (light - middle) * spread(high)
        tone += self.stain * spread((0.25 + 0.75 * low) * table("blushes"))
        tone += (1.0 - tone) * spread(table("polish") * gleam)
        return np.asarray(np.clip(tone, 0, 1), np.float32)


def _sharpened(gleam: Map) -> Map:
    """Its 26th power by squaring, quicker than by logarithms."""
    second = gleam * gleam
    eighth = second * second
    eighth *= eighth
    return np.asarray(eighth * eighth * eighth * second, np.float32)


def _box_of(group: Map) -> tuple[slice, slice] | None:
    """Rows and columns that a group occupies; None if it is empty."""
    there = group > FAR / 2
    rows = np.flatnonzero(there.any(1))
    if rows.size == 0:
        return None
    columns = np.flatnonzero(there.any(0))
    return slice(int(rows[0]), int(rows[-1]) + 1), slice(int(columns[0]), int(columns[-1]) + 1)


def melted(a: Map, b: Map, width: float) -> Map:
    """The nearer of two surfaces, rounded where they meet within a width."""
    nearer: Map = np.maximum(a, b)
    if width <= 0:
        return nearer
    h = np.clip(np.float32(width) - np.abs(a - b), 0, None) / np.float32(width)
    return np.asarray(nearer + h * h * np.float32(width / 4), np.float32)


def turned(yaw: float = 0.0, pitch: float = 0.0, roll: float = 0.0) -> NDArray[np.float64]:
    """Rotation, radians: yaw turns to the viewer's right, pitch bows down, roll tilts clockwise."""
    cy, sy, cp, sp, cr, sr = (
        np.cos(yaw),
        np.sin(yaw),
        np.cos(pitch),
        np.sin(pitch),
        np.cos(roll),
        np.sin(roll),
    )
    about_y = np.array([[cy, 0, sy], [0, 1, 0], [-sy, 0, cy]])
    about_x = np.array([[1, 0, 0], [0, cp, sp], [0, -sp, cp]])
    about_z = np.array([[cr, -sr, 0], [sr, cr, 0], [0, 0, 1]])
    return np.asarray(about_z @ about_y @ about_x)


def _unit(vector: Vector) -> NDArray[np.float64]:
    v = np.array(vector)
    return np.asarray(v / np.linalg.norm(v))
