"""Pixel grid laid over a face, and smooth random fields on it."""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np

from .vocabulary import Map


@dataclass(frozen=True)
class Grid:
    """Pixels over a face of width_mm x height_mm at px_per_mm; whole pixels, the last may overhang.

    >>> Grid(100.0, 50.0, 1.5).shape
    (75, 150)
    """

    width_mm: float
    height_mm: float
    px_per_mm: float

    @property
    def shape(self) -> tuple[int, int]:
        """Rows, columns."""
        rows = math.ceil(self.height_mm * self.px_per_mm - 1e-6)
        columns = math.ceil(self.width_mm * self.px_per_mm - 1e-6)
        return (rows, columns)

    def px(self, mm: float) -> float:
        """Length in pixels."""
        return mm * self.px_per_mm

    def axes_mm(self) -> tuple[Map, Map]:
        """x of every column as (1, columns) and y of every row as (rows, 1), mm, pixel centres."""
        rows, columns = self.shape
        x = (np.arange(columns, dtype=np.float32) + 0.5) / np.float32(self.px_per_mm)
        y = (np.arange(rows, dtype=np.float32) + 0.5) / np.float32(self.px_per_mm)
        return x[None, :], y[:, None]


@dataclass(frozen=True)
class Region:
    """Part of a picture: rows y0 to y1, columns x0 to x1, and how far each pixel is covered."""

    y0: int
    y1: int
    x0: int
    x1: int
    cover: Map

    @property
    def is_empty(self) -> bool:
        """Whether nothing of it lies on it."""
        return self.cover.size == 0


def generator(seed: int, *names: str) -> np.random.Generator:
    """Random generator of its own for each named part, so that parts do not disturb each other."""
    words = [seed, *(int.from_bytes(name.encode(), "little") % (1 << 61) for name in names)]
    return np.random.default_rng(words)


def smooth_noise(
    rng: np.random.Generator,
    shape: tuple[int, int],
    cell_px: float | tuple[float, float],
    *,
    octaves: int = 1,
    persistence: float = 0.5,
) -> Map:
    """Random field of mean about 0 and standard deviation 1, features about cell_px apart.

    Args:
        cell_px: Size of the coarsest features; (across, down) for stretched ones.
        octaves: Number of layers, each half as coarse and persistence times as strong.
    """
    across, down = cell_px if isinstance(cell_px, tuple) else (cell_px, cell_px)
    field: Map = np.zeros((3, 3), np.float32)
    weight = 1.0
    for octave in range(octaves):
        rows = max(3, math.ceil(shape[0] / max(down, 1.0)) + 2)
        columns = max(3, math.ceil(shape[1] / max(across, 1.0)) + 2)
        if octave > 0 and rows * columns > shape[0] * shape[1]:
            break
        layer = rng.standard_normal((rows, columns), dtype=np.float32)
        coarser = cv2.resize(field, (columns, rows), interpolation=cv2.INTER_CUBIC)
        field = coarser + np.float32(weight) * layer
        weight *= persistence
        across, down = across / 2, down / 2
    full: Map = cv2.resize(field, (shape[1], shape[0]), interpolation=cv2.INTER_CUBIC)
    sample = full[::3, ::3]
    spread = np.float32(max(float(sample.std()), 1e-6))
    full -= np.float32(sample.mean())
    full /= spread
    return full


def blur(field: Map, sigma_px: float) -> Map:
    """Gaussian blur; wide ones are done on a reduced copy."""
    if sigma_px <= 0.2:
        return field
    if sigma_px > 6:
        factor = sigma_px / 3
        small = cv2.resize(
            field,
            (max(2, round(field.shape[1] / factor)), max(2, round(field.shape[0] / factor))),
            interpolation=cv2.INTER_AREA,
        )
        small = cv2.GaussianBlur(small, (0, 0), 2.9)
        return cv2.resize(small, field.shape[1::-1], interpolation=cv2.INTER_CUBIC)
    return cv2.GaussianBlur(field, (0, 0), sigma_px)


def smoothstep(low: float, high: float, value: Map) -> Map:
    """0 below low, 1 above high, a smooth rise between; low may exceed high for a fall."""
    t: Map = np.asarray(value - np.float32(low))
    t /= np.float32(high - low)
    np.clip(t, 0, 1, out=t)
    square: Map = t * t
    t *= -2
    t += 3
    t *= square
    return t


def mix(base: Map, top: Map, alpha: Map | float) -> Map:
    """Base covered by top with opacity alpha; a 2-D alpha spreads over colour channels."""
    mixed = np.array(base, np.float32)
    lay_over(mixed, top, alpha)
    return mixed


def lay_over(base: Map, top: Map, alpha: Map | float) -> None:
    """Cover base by top in place; a top of three numbers is one colour.

    Channel by channel: a product along an axis of three is many times slower.

    >>> ground = np.zeros((2, 2, 3), np.float32)
    >>> lay_over(ground, np.array([1.0, 0.5, 0.0], np.float32), np.full((2, 2), 0.5, np.float32))
    >>> ground[1, 1].tolist()
    [0.5, 0.25, 0.0]
    """
    if base.ndim == 2:
        base += (top - base) * alpha
        return
    for channel in range(base.shape[2]):
        plane = base[..., channel]
        plane += (top[..., channel] - plane) * alpha


def spread(value: Map) -> Map:
    """The same map in each of three channels, (rows, columns, 3)."""
    return np.asarray(cv2.merge((value, value, value)))


def lightness(colour: Map) -> Map:
    """Mean of the channels, (rows, columns, 3) or (n, 3); far quicker than along a short axis.

    >>> lightness(np.array([[0.25, 0.5, 0.75]], np.float32)).tolist()
    [0.5]
    """
    total: Map = colour[..., 0] + colour[..., 1]
    total += colour[..., 2]
    total /= 3
    return total
