"""The board a design is drawn on: regions, washes, glows and lines, in units of the short side."""

from __future__ import annotations

from collections.abc import Sequence

import cv2
import numpy as np

from ..brushwork import Accent, Design
from ..grid import Grid, Region, blur, lay_over, smooth_noise, smoothstep, spread
from ..vocabulary import Attribute, Map

Point = tuple[float, float]
Tone = Map | Sequence[float]


class Board:
    """A design in the making.

    Lengths are in units of the shorter side; (0, 0) is the top left corner, (width, height) the
    bottom right one.
    """

    def __init__(
        self, grid: Grid, rng: np.random.Generator, attribute: Attribute | None = None
    ) -> None:
        self.rows, self.columns = grid.shape
        self.rng = rng
        self.attribute = attribute
        self.unit = float(min(grid.shape))
        self.width = self.columns / self.unit
        self.height = self.rows / self.unit
        self.tone: Map = np.zeros((self.rows, self.columns, 3), np.float32)
        self.angle: Map = np.zeros((self.rows, self.columns), np.float32)
        self.detail: Map = np.full((self.rows, self.columns), 0.2, np.float32)
        self.gloss: Map = np.zeros((self.rows, self.columns), np.float32)
        self.accents: list[Accent] = []
        self.order = np.zeros((self.rows, self.columns), np.int32)
        self.x: Map = (np.arange(self.columns, dtype=np.float32)[None, :] + 0.5) / np.float32(
            self.unit
        )
        self.y: Map = (np.arange(self.rows, dtype=np.float32)[:, None] + 0.5) / np.float32(
            self.unit
        )

    def design(self) -> Design:
        """The finished design."""
        return Design(
            tone=np.clip(self.tone, 0.0, 1.0),
            angle=self.angle,
            detail=self.detail,
            gloss=self.gloss,
            accents=tuple(self.accents),
            order=self.order,
        )

    def noise(
        self, cell: float, *, octaves: int = 3, stretch: float = 1.0, persistence: float = 0.5
    ) -> Map:
        """Random field over the board; stretch above 1 makes it wider than high."""
        size = cell * self.unit
        return smooth_noise(
            self.rng,
            (self.rows, self.columns),
            (size * stretch, size),
            octaves=octaves,
            persistence=persistence,
        )

    def region(self, points: Sequence[Point], *, soft: float = 0.0) -> Region:
        """Inside of a closed outline; soft blurs its edge over that length."""
        outline = np.asarray(points, np.float64) * self.unit
        margin = 2 + int(np.ceil(3 * soft * self.unit))
        low = np.floor(outline.min(0)).astype(int) - margin
        high = np.ceil(outline.max(0)).astype(int) + margin + 1
        x0, y0 = max(0, int(low[0])), max(0, int(low[1]))
        x1, y1 = min(self.columns, int(high[0])), min(self.rows, int(high[1]))
        if x0 >= x1 or y0 >= y1:
            return Region(0, 0, 0, 0, np.zeros((0, 0), np.float32))
        mask = np.zeros((y1 - y0, x1 - x0), np.uint8)
        inner = np.round((outline - (x0, y0) - 0.5) * 16).astype(np.int32)
        cv2.fillPoly(mask, [inner], 255, cv2.LINE_AA, 4)
        cover = mask.astype(np.float32) / 255
        return Region(y0, y1, x0, x1, blur(cover, soft * self.unit) if soft > 0 else cover)

    def disc(self, centre: Point, radius: float, *, soft: float = 0.0) -> Region:
        """Inside of a circle."""
        return self.oval(centre, (radius, radius), soft=soft)

    def oval(self, centre: Point, radii: Point, *, turn: float = 0.0, soft: float = 0.0) -> Region:
        """Inside of an ellipse turned by an angle in radians."""
        t = np.linspace(0, 2 * np.pi, 40, endpoint=False)
        dx, dy = radii[0] * np.cos(t), radii[1] * np.sin(t)
        x = centre[0] + dx * np.cos(turn) - dy * np.sin(turn)
        y = centre[1] + dx * np.sin(turn) + dy * np.cos(turn)
        return self.region(list(zip(x.tolist(), y.tolist(), strict=True)), soft=soft)

    def lay(
        self,
        region: Region,
        tone: Tone,
        *,
        alpha: float = 1.0,
        angle: float | Map | None = None,
        detail: float | None = None,
        gloss: float | None = None,
    ) -> None:
        """Cover a region with a colour, or with a map of the region's size."""
        if region.is_empty:
            return
        window = (slice(region.y0, region.y1), slice(region.x0, region.x1))
        cover = region.cover * np.float32(alpha)
        lay_over(self.tone[window], np.asarray(tone, np.float32), cover)
        self.hide(window, cover)
        if detail is not None:
            self.detail[window] += (np.float32(detail) - self.detail[window]) * region.cover
        if gloss is not None:
            self.gloss[window] += (np.float32(gloss) - self.gloss[window]) * region.cover
        if angle is not None:
            self.angle[window] = np.where(region.cover > 0.5, angle, self.angle[window])

    def hide(self, window: tuple[slice, slice], cover: Map) -> None:
        """Let earlier lines pass behind what has just been laid down."""
        self.order[window][cover > 0.5] = len(self.accents)

    def shade(
        self,
        region: Region,
        first: Tone,
        last: Tone,
        *,
        direction: Point = (0.0, 1.0),
        alpha: float = 1.0,
        angle: float | None = None,
        detail: float | None = None,
    ) -> None:
        """Cover a region with a run of colour along a direction across its box."""
        if region.is_empty:
            return
        rows, columns = region.cover.shape
        u = np.linspace(-0.5, 0.5, columns, dtype=np.float32)[None, :] * np.float32(direction[0])
        v = np.linspace(-0.5, 0.5, rows, dtype=np.float32)[:, None] * np.float32(direction[1])
        t = np.clip(0.5 + u + v, 0, 1)[..., None]
        a, b = np.asarray(first, np.float32), np.asarray(last, np.float32)
        self.lay(region, a + (b - a) * t, alpha=alpha, angle=angle, detail=detail)

    def wash(self, alpha: Map | float, tone: Tone) -> None:
        """Mix a colour into the whole board with an opacity map."""
        lay_over(self.tone, np.asarray(tone, np.float32), alpha)

    def darken(self, factor: Map) -> None:
        """Multiply the tones by a map."""
        self.tone *= spread(factor)

    def glow(self, centre: Point, radius: float, tone: Tone, strength: float = 1.0) -> None:
        """Light around a source, added as light adds, strongest in the middle."""
        reach = 3.2 * radius
        x0 = max(0, int((centre[0] - reach) * self.unit))
        x1 = min(self.columns, int((centre[0] + reach) * self.unit) + 1)
        y0 = max(0, int((centre[1] - reach) * self.unit))
        y1 = min(self.rows, int((centre[1] + reach) * self.unit) + 1)
        if x0 >= x1 or y0 >= y1:
            return
        distance = (self.x[:, x0:x1] - centre[0]) ** 2 + (self.y[y0:y1] - centre[1]) ** 2
        fall = 1 / (1 + 6 * distance / radius**2) - np.float32(1 / (1 + 6 * 3.2**2))
        light = np.clip(fall, 0, 1)[..., None] * np.asarray(tone, np.float32) * np.float32(strength)
        part = self.tone[y0:y1, x0:x1]
        self.tone[y0:y1, x0:x1] = 1 - (1 - part) * (1 - np.clip(light, 0, 0.98))

    def line(
        self,
        points: Sequence[Point],
        width: float,
        tone: Tone,
        *,
        alpha: float = 1.0,
        body_mm: float = 0.05,
    ) -> None:
        """A fine line of the finishing brush, drawn over the finished strokes."""
        path = np.asarray(points, np.float32) * np.float32(self.unit) - np.float32(0.5)
        self.accents.append(
            Accent(
                path=path,
                width_px=width * self.unit,
                tone=np.asarray(tone, np.float32),
                alpha=alpha,
                body_mm=body_mm,
            )
        )

    def dab(self, centre: Point, radius: float, tone: Tone, *, alpha: float = 1.0) -> None:
        """A touch of thick paint."""
        self.line([centre, centre], 2 * radius, tone, alpha=alpha, body_mm=0.25)

    def vignette(self, strength: float = 0.25, *, centre: Point | None = None) -> None:
        """Darken towards the corners."""
        cx, cy = centre or (self.width / 2, self.height / 2)
        r = ((self.x - cx) / (0.62 * self.width)) ** 2 + ((self.y - cy) / (0.62 * self.height)) ** 2
        self.darken(1 - np.float32(strength) * smoothstep(0.25, 1.5, r.astype(np.float32)))


def spline(points: Sequence[Point], *, closed: bool = True, steps: int = 10) -> list[Point]:
    """Smooth curve through points (Catmull and Rom)."""
    p = np.asarray(points, np.float64)
    before, after, last = np.roll(p, 1, 0), np.roll(p, -1, 0), np.roll(p, -2, 0)
    if not closed:
        before[0], after[-1] = p[0], p[-1]
        last[-1], last[-2] = p[-1], p[-1]
    t = np.linspace(0, 1, steps, endpoint=False)[:, None, None]
    curve = 0.5 * (
        2 * p
        + (after - before) * t
        + (2 * before - 5 * p + 4 * after - last) * t**2
        + (3 * p - before - 3 * after + last) * t**3
    )
    path = curve.transpose(1, 0, 2)[: None if closed else -1].reshape(-1, 2)
    result = [(float(x), float(y)) for x, y in path]
    return result if closed else [*result, (float(p[-1, 0]), float(p[-1, 1]))]


def between(a: Tone, b: Tone, t: float) -> Map:
    """Colour between two colours."""
    first, second = np.asarray(a, np.float32), np.asarray(b, np.float32)
    return (first + (second - first) * np.float32(t)).astype(np.float32)
