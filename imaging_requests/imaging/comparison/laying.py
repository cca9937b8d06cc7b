"""Lay the later picture over the earlier one by a matrix, and find where both show the face."""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

Matrix = NDArray[np.float64]


def as_matrix(values: Any) -> Matrix:
    """A 3 × 3 matrix that can carry one picture onto another.

    Raises:
        ValueError: It has another shape, holds what is no number, or folds the picture flat.

    >>> as_matrix([[1, 0, 2], [0, 1, 3], [0, 0, 1]])[0].tolist()
    [1.0, 0.0, 2.0]
    """
    try:
        matrix = np.asarray(values, np.float64)
    except (TypeError, ValueError):
        raise ValueError("A matrix of three rows of three numbers is needed.") from None
    if matrix.shape != (3, 3):
        raise ValueError("A matrix of three rows of three numbers is needed.")
    if not np.isfinite(matrix).all():
        raise ValueError("The matrix holds values that are no numbers.")
    if abs(matrix[2, 2]) < 1e-12 or abs(np.linalg.det(matrix / matrix[2, 2])) < 1e-9:
        raise ValueError("The matrix folds the picture flat, so it carries nothing over.")
    return np.asarray(matrix / matrix[2, 2])


def lay_over(
    moving: NDArray[Any], matrix: Matrix, shape: tuple[int, int]
) -> tuple[NDArray[np.float32], NDArray[np.bool_]]:
    """Resample a picture onto another's raster.

    Args:
        moving: Light, (rows, columns) or (rows, columns, 3).
        matrix: 3 × 3, px of ``moving`` (x, y, 1) → px of the raster.
        shape: Rows, columns of the raster.

    Returns:
        The picture there, and where it is known (a pixel whose neighbours all lay inside).

    >>> shifted, known = lay_over(np.ones((4, 4), np.float32), as_matrix([[1, 0, 1], [0, 1, 0],
    ...                                                                   [0, 0, 1]]), (4, 4))
    >>> known[0].tolist()
    [False, True, True, True]
    """
    size = (shape[1], shape[0])
    values = np.asarray(moving, np.float32)
    laid = cv2.warpPerspective(
        values, matrix, size, flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
    )
    cover = cv2.warpPerspective(
        np.ones(values.shape[:2], np.float32), matrix, size, flags=cv2.INTER_LINEAR
    )
    return np.asarray(laid, np.float32), np.asarray(cover > 0.999)


def polygon_mask(points_px: NDArray[Any], shape: tuple[int, int], *, margin_px: float) -> Any:
    """Inside of a polygon, without a margin along its rim.

    >>> square = np.array([[0, 0], [9, 0], [9, 9], [0, 9]], float)
    >>> int(polygon_mask(square, (10, 10), margin_px=2).sum())
    36
    """
    mask: NDArray[Any] = np.zeros(shape, np.uint8)
    cv2.fillPoly(mask, [np.round(np.asarray(points_px)).astype(np.int32)], 1)
    width = max(0, round(margin_px))
    if width:
        kernel = np.ones((2 * width + 1, 2 * width + 1), np.uint8)
        mask = cv2.erode(mask, kernel, borderType=cv2.BORDER_CONSTANT, borderValue=0)
    return mask.astype(bool)
