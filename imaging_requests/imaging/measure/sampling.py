"""Read small parts of a picture: means of turned squares, parts seen square on."""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

Picture = NDArray[Any]
TINY = 1e-9


def as_light(light: Picture) -> Picture | None:
    """The picture as finite float32 of two or three axes, or None if it is not one.

    >>> as_light(np.array([[np.nan]])) is None
    True
    """
    field = np.asarray(light)
    if field.ndim not in (2, 3) or 0 in field.shape or field.dtype.kind not in "fiub":
        return None
    field = field.astype(np.float32, copy=False)
    return field if bool(np.isfinite(field).all()) else None


def luminance(light: Picture) -> Picture:
    """One value per pixel: the mean of the channels (grey pictures as they are)."""
    if light.ndim == 2:
        return light
    channels = light.shape[2]
    weights = np.full((1, channels), 1 / channels, np.float32)
    return np.asarray(cv2.transform(light.astype(np.float32, copy=False), weights))


def largest(field: Picture) -> Picture:
    """The largest of the channels of each pixel (grey pictures as they are).

    >>> largest(np.array([[[1.0, 3.0, 2.0]]])).tolist()
    [[3.0]]
    """
    if field.ndim == 2:
        return field
    found = field[..., 0]
    for channel in range(1, field.shape[2]):
        found = np.maximum(found, field[..., channel])
    return found


def patch_mean(
    light: Picture, centre: tuple[float, float], side_px: float, angle: float
) -> NDArray[np.float64] | None:
    """Mean light of a turned square, per channel; None if it is not wholly in the picture.

    >>> patch_mean(np.full((9, 9), 0.5, np.float32), (4, 4), 4, 0.0).tolist()
    [0.5]
    """
    half = side_px / 2
    cos, sin = np.cos(angle) * half, np.sin(angle) * half
    x, y = centre
    corners = np.array(
        [
            [x - cos + sin, y - sin - cos],
            [x + cos + sin, y + sin - cos],
            [x + cos - sin, y + sin + cos],
            [x - cos - sin, y - sin + cos],
        ]
    )
    rows, columns = light.shape[:2]
    low, high = corners.min(axis=0), corners.max(axis=0)
    if low.min() < -0.5 or high[0] > columns - 0.5 or high[1] > rows - 0.5:
        return None
    left, top = np.maximum(np.floor(low).astype(int), 0)
    right, bottom = np.minimum(np.ceil(high).astype(int) + 1, (columns, rows))
    mask = np.zeros((bottom - top, right - left), np.uint8)
    cv2.fillConvexPoly(mask, np.round(corners - (left, top)).astype(np.int32), 1)
    inside = light[top:bottom, left:right][mask > 0]
    values = inside.reshape(len(inside), -1).astype(np.float64).mean(axis=0)
    return np.asarray(values)


def rectified(
    light: Picture, to_px: NDArray[np.float64], box: tuple[float, float, float, float], step: float
) -> tuple[Picture, NDArray[np.bool_]]:
    """Part of a plane seen square on.

    Args:
        light: The picture.
        to_px: 3 × 3, plane to px.
        box: x, y, width, height on the plane.
        step: Distance of samples on the plane.

    Returns:
        The part, and where it lies inside the picture.
    """
    x, y, width, height = box
    size = (max(1, round(width / step)), max(1, round(height / step)))
    place = np.array([[step, 0, x + step / 2], [0, step, y + step / 2], [0, 0, 1.0]])
    matrix = to_px @ place
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    part = cv2.warpPerspective(light, matrix, size, flags=flags)
    inside = np.ones(light.shape[:2], np.uint8)
    seen = cv2.warpPerspective(inside, matrix, size, flags=cv2.INTER_NEAREST | cv2.WARP_INVERSE_MAP)
    return part, seen > 0


def mad_sigma(values: NDArray[Any]) -> float:
    """Standard deviation of normal noise by the median absolute deviation (× 1.4826).

    >>> mad_sigma(np.array([1.0, 2.0, 3.0, 4.0, 100.0]))
    1.4826
    """
    middle = np.median(values)
    return float(1.4826 * np.median(np.abs(values - middle)))
