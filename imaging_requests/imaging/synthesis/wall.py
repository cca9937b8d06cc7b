"""The surface of a back in the making: colour, relief, infrared and glow drawn together, in mm."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np

from .grid import Grid, Region, blur, lay_over, smooth_noise, spread
from .maps import FaceMaps
from .sheet import Sheet
from .vocabulary import Map, Rect

Colour = tuple[float, float, float]


@dataclass(frozen=True, kw_only=True)
class Stuff:
    """What a part of a back is made of.

    Attributes:
        colour: Linear working RGB.
        infrared: Reflectance at about 1,300 nm; None follows the colour.
        glow: Emission under 365 nm, linear working RGB.
    """

    colour: Colour
    infrared: float | None = None
    glow: Colour = (0.004, 0.004, 0.006)


class Wall:
    """Maps of one bare back in its own viewer's coordinates."""

    def __init__(self, grid: Grid, stuff: Stuff, texture: Map, relief: Map) -> None:
        self.grid = grid
        shade = np.clip(1 + texture, 0.2, 2.2)
        self.paint: Map = np.asarray(stuff.colour, np.float32) * shade[..., None]
        self.height: Map = relief.astype(np.float32).copy()
        self.infrared: Map = np.clip(_infrared(stuff) * (0.6 + 0.4 * shade), 0, 1)
        self.glow: Map = np.asarray(stuff.glow, np.float32) * shade[..., None]
        rows, columns = grid.shape
        face = Rect(x=0, y=0, width=columns / grid.px_per_mm, height=rows / grid.px_per_mm)
        self._sheet = Sheet(face, grid.px_per_mm, grid.shape, 1)

    def part(
        self,
        points: Sequence[tuple[float, float]],
        stuff: Stuff,
        *,
        texture: Map | None = None,
        thickness_mm: float = 0.0,
        alpha: float = 1.0,
        shadow_mm: float = 0.0,
    ) -> None:
        """Lay a piece over the back, with a soft shadow around it."""
        region = self._sheet.inside(points)
        if region.is_empty:
            return
        if shadow_mm > 0:
            self._shadow(region, shadow_mm)
        at = (slice(region.y0, region.y1), slice(region.x0, region.x1))
        shade = np.float32(1.0) if texture is None else np.clip(1 + texture[at], 0.2, 2.2)
        cover = region.cover * np.float32(alpha)
        colour = np.asarray(stuff.colour, np.float32) * np.atleast_2d(shade)[..., None]
        lay_over(self.paint[at], colour, cover)
        self.infrared[at] += (
            np.clip(_infrared(stuff) * (0.6 + 0.4 * shade), 0, 1) - self.infrared[at]
        ) * cover
        lay_over(self.glow[at], np.asarray(stuff.glow, np.float32), cover)
        if thickness_mm:
            self.height[at] += np.float32(thickness_mm) * region.cover

    def rect(
        self,
        rect: Rect,
        stuff: Stuff,
        *,
        texture: Map | None = None,
        thickness_mm: float = 0.0,
        alpha: float = 1.0,
        shadow_mm: float = 0.0,
        turn: float = 0.0,
    ) -> None:
        """Lay a rectangle, turned by some radians about its middle."""
        self.part(
            corners(rect, turn),
            stuff,
            texture=texture,
            thickness_mm=thickness_mm,
            alpha=alpha,
            shadow_mm=shadow_mm,
        )

    def stain(self, share: Map, stuff: Stuff, *, at: tuple[int, int] = (0, 0)) -> None:
        """Mix a stain into the surface with a map of its strength, 0 to 1.

        Args:
            at: Row and column of the map's upper left pixel; the map may be smaller than the face.
        """
        window = (slice(at[0], at[0] + share.shape[0]), slice(at[1], at[1] + share.shape[1]))
        paint, infrared, glow = self.paint[window], self.infrared[window], self.glow[window]
        lay_over(paint, np.asarray(stuff.colour, np.float32), share)
        infrared += (np.float32(_infrared(stuff)) - infrared) * share
        lay_over(glow, np.asarray(stuff.glow, np.float32), share)

    def write(
        self,
        text: str,
        at: tuple[float, float],
        height_mm: float,
        ink: Stuff,
        *,
        turn_deg: float = 0.0,
        weight: float = 0.11,
        face: int = cv2.FONT_HERSHEY_SIMPLEX,
        alpha: float = 0.9,
    ) -> None:
        """Write a line; at is the left end of its base line, height that of its capitals."""
        d = self.grid.px_per_mm
        fine = 2
        scale = height_mm * d * fine / 21.0
        width = max(1, round(weight * height_mm * d * fine))
        (length, tall), base = cv2.getTextSize(text, face, scale, width)
        pad = tall + base + width
        mark = np.zeros((3 * pad, length + 2 * pad), np.uint8)
        cv2.putText(mark, text, (pad, 2 * pad), face, scale, 255, width, cv2.LINE_AA)
        angle = np.deg2rad(turn_deg)
        cos, sin = np.cos(angle) / fine, np.sin(angle) / fine
        x, y = at[0] * d - 0.5, at[1] * d - 0.5
        reach = (length + tall) / fine + 4
        row, column = max(0, int(y - reach)), max(0, int(x - tall / fine - 4))
        last_row = min(self.grid.shape[0], int(y + reach))
        last_column = min(self.grid.shape[1], int(x + reach))
        if row >= last_row or column >= last_column:
            return
        move = np.array(
            [
                [cos, -sin, x - column - pad * cos + 2 * pad * sin],
                [sin, cos, y - row - pad * sin - 2 * pad * cos],
            ]
        )
        size = (last_column - column, last_row - row)
        share = cv2.warpAffine(mark, move, size, flags=cv2.INTER_AREA).astype(np.float32)
        self.stain(share * np.float32(alpha / 255), ink, at=(row, column))

    def scribble(
        self,
        at: tuple[float, float],
        width_mm: float,
        height_mm: float,
        ink: Stuff,
        rng: np.random.Generator,
        *,
        weight_mm: float = 0.7,
    ) -> None:
        """A word in running hand that nobody can read."""
        d = self.grid.px_per_mm
        count = max(5, round(width_mm / (0.55 * height_mm)))
        t = np.linspace(0, 1, count * 6)
        x = at[0] + width_mm * t + 0.22 * height_mm * np.sin(2 * np.pi * count * t)
        tall = np.repeat(rng.choice([0.45, 0.5, 1.0], count, p=[0.5, 0.3, 0.2]), 6)
        y = at[1] - height_mm * tall * (0.5 + 0.5 * np.cos(2 * np.pi * count * t + 0.6))
        points = np.stack([x * d - 0.5, y * d - 0.5], 1)
        low = np.maximum(np.floor(points.min(0)).astype(int) - 3, 0)
        high = np.minimum(np.ceil(points.max(0)).astype(int) + 4, self.grid.shape[::-1])
        if (low >= high).any():
            return
        path = np.round((points - low) * 16).astype(np.int32)
        mark = np.zeros((int(high[1] - low[1]), int(high[0] - low[0])), np.uint8)
        cv2.polylines(mark, [path], False, 255, max(1, round(weight_mm * d)), cv2.LINE_AA, 4)
        share = mark.astype(np.float32) / 255 * np.float32(0.85 * min(1.0, weight_mm * d))
        self.stain(share, ink, at=(int(low[1]), int(low[0])))

    def _shadow(self, region: Region, reach_mm: float) -> None:
        """Darken what lies around a piece."""
        reach = self.grid.px(reach_mm)
        margin = int(3 * reach) + 2
        rows, columns = self.grid.shape
        y0, y1 = max(0, region.y0 - margin), min(rows, region.y1 + margin)
        x0, x1 = max(0, region.x0 - margin), min(columns, region.x1 + margin)
        soft = np.zeros((y1 - y0, x1 - x0), np.float32)
        soft[region.y0 - y0 : region.y1 - y0, region.x0 - x0 : region.x1 - x0] = region.cover
        soft = np.clip(1.6 * blur(soft, reach), 0, 1)
        self.paint[y0:y1, x0:x1] *= spread(1 - np.float32(0.62) * soft)

    def maps(self, rng: np.random.Generator) -> FaceMaps:
        """The finished face."""
        nothing = np.zeros(self.grid.shape, np.float32)
        rows, _ = self.grid.shape
        cloud = smooth_noise(rng, self.grid.shape, max(self.grid.shape) / 4, octaves=3)
        fall = np.linspace(0.30, 0.70, rows, dtype=np.float32)[:, None]
        return FaceMaps(
            paint=np.clip(self.paint, 0, 1).astype(np.float32),
            gloss=nothing,
            height_mm=self.height,
            lifting_mm=nothing,
            infrared=np.clip(self.infrared, 0, 1).astype(np.float32),
            fluorescence=np.maximum(self.glow, 0).astype(np.float32),
            x_ray=nothing,
            varnish=nothing,
            dirt=np.clip(fall + 0.13 * cloud, 0, 1).astype(np.float32),
            losses=nothing,
            overpaint=nothing,
            cracks=nothing,
            ground=(0.3, 0.25, 0.2),
        )


def corners(rect: Rect, turn: float = 0.0) -> list[tuple[float, float]]:
    """Corners of a rectangle turned about its middle."""
    cx, cy = rect.centre
    cos, sin = float(np.cos(turn)), float(np.sin(turn))
    result = []
    for sx, sy in ((-0.5, -0.5), (0.5, -0.5), (0.5, 0.5), (-0.5, 0.5)):
        dx, dy = sx * rect.width, sy * rect.height
        result.append((cx + dx * cos - dy * sin, cy + dx * sin + dy * cos))
    return result


def _infrared(stuff: Stuff) -> float:
    """Infrared reflectance: as given, or brighter than the colour as most organic matter is."""
    if stuff.infrared is not None:
        return stuff.infrared
    return float(min(1.0, 0.25 + 0.9 * np.sqrt(max(0.0, float(np.mean(stuff.colour))))))
