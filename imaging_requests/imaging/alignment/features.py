"""What two pictures of one thing share although their values do not: where edges lie and how.

An edge may be dark-to-bright in visible light and bright-to-dark in infrared, strong in one and
weak in the other. What remains is its place and its direction. A picture is therefore described
by four channels, the strength of its slope along 0, 45, 90 and 135 degrees without its sign,
smoothed and divided by the strength of its surroundings. Channels of oriented gradients for
matching pictures of different sensors: Ye, Bruzzone, Shan, Bovolo, Zhu (2019), "Fast and robust
matching for multimodal remote sensing image registration", IEEE TGRS 57 (11); here with four
channels and a local norm (the citation is from memory).
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

Grey = NDArray[np.float32]
Channels = NDArray[np.float32]

#: Rows and columns at the rim of a described picture that know too little of their surroundings.
RIM_PX = 6
SLOPE_SIGMA_PX = 1.0
SMOOTH_SIGMA_PX = 1.2
LOCAL_SIGMA_PX = 6.0
FLOOR_SHARE = 0.3


def noise_floor(grey: Grey) -> float:
    """Return the slope below which an edge does not count, in values of the picture per px.

    It is a share of the root mean square slope of the whole picture, so that paper, ground and
    noise do not weigh as much as structure.
    """
    gx, gy = slopes(grey)
    return FLOOR_SHARE * float(np.sqrt(np.mean(gx * gx + gy * gy))) + 1e-6


def slopes(grey: Grey) -> tuple[Grey, Grey]:
    """Return the derivatives along x and y of a slightly smoothed picture, values per px."""
    smooth = cv2.GaussianBlur(grey, (0, 0), SLOPE_SIGMA_PX)
    gx = cv2.Scharr(smooth, cv2.CV_32F, 1, 0, scale=1 / 32)
    gy = cv2.Scharr(smooth, cv2.CV_32F, 0, 1, scale=1 / 32)
    return np.asarray(gx, np.float32), np.asarray(gy, np.float32)


def describe(grey: Grey, *, floor: float) -> Channels:
    """Describe a picture, (rows, columns) float32, by four channels, (rows, columns, 4), 0 to 1.

    Args:
        floor: Slope below which an edge fades, see `noise_floor`.

    >>> ramp = np.tile(np.arange(32, dtype=np.float32), (32, 1))
    >>> np.allclose(describe(ramp, floor=0.1), describe(100 - ramp, floor=0.1))
    True
    """
    gx, gy = slopes(grey)
    half = np.float32(np.sqrt(0.5))
    stack = np.abs(np.dstack((gx, (gx + gy) * half, gy, (gx - gy) * half)))
    stack = np.asarray(cv2.GaussianBlur(stack, (0, 0), SMOOTH_SIGMA_PX), np.float32)
    energy = cv2.GaussianBlur(np.einsum("ijk,ijk->ij", stack, stack), (0, 0), LOCAL_SIGMA_PX)
    stack /= np.sqrt(energy + np.float32(2 * floor * floor))[..., None]
    return stack
