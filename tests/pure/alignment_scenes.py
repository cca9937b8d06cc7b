"""Made-up structure seen by two kinds of eyes, with the map between them known exactly."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from imaging_requests.imaging.alignment.limits import Limits
from imaging_requests.imaging.alignment.matrices import Matrix, similarity

LIMITS = Limits()


def regions(seed: int, size: tuple[int, int] = (420, 560)) -> NDArray[np.int64]:
    """A plane of overlapping shapes, each with a number; (rows, columns)."""
    rng = np.random.default_rng(seed)
    rows, columns = size
    plane = np.zeros(size, np.int32)
    for number in range(1, 220):
        x, y = rng.uniform(0, columns), rng.uniform(0, rows)
        radius = rng.uniform(8, 60)
        angles = np.sort(rng.uniform(0, 2 * np.pi, rng.integers(3, 9)))
        reach = radius * rng.uniform(0.5, 1.0, angles.shape)
        points = np.stack((x + reach * np.cos(angles), y + reach * np.sin(angles)), axis=1)
        cv2.fillPoly(plane, [np.rint(points).astype(np.int32)], number)
    return plane.astype(np.int64)


def seen(
    plane: NDArray[np.int64], eye: int, *, noise: float = 2.0, blur_px: float = 0.8
) -> NDArray[np.uint8]:
    """How one kind of light shows the shapes: each gets a value that only the eye decides."""
    rng = np.random.default_rng(1000 + eye)
    values = rng.uniform(20, 235, 256).astype(np.float32)[plane]
    values = cv2.GaussianBlur(values, (0, 0), blur_px)
    grain = np.random.default_rng(2000 + eye).normal(0, noise, values.shape)
    return np.clip(values + grain, 0, 255).astype(np.uint8)


def moved(pixels: NDArray[np.uint8], to_moved: Matrix, size: tuple[int, int]) -> NDArray[np.uint8]:
    """Resample a picture on another grid; `size` is (rows, columns)."""
    return np.asarray(
        cv2.warpPerspective(
            pixels,
            to_moved,
            size[::-1],
            flags=cv2.INTER_CUBIC,
            borderMode=cv2.BORDER_REFLECT_101,
        ),
        np.uint8,
    )


def about_middle(matrix: Matrix, size: tuple[int, int]) -> Matrix:
    """The same turn and scale about the middle of a picture of (rows, columns)."""
    middle = ((size[1] - 1) / 2, (size[0] - 1) / 2)
    away = (-middle[0], -middle[1])
    return similarity(shift=middle) @ matrix @ similarity(shift=away)
