"""Sensor noise and the encoding into 16 bits."""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache

import cv2
import numpy as np
from numpy.typing import NDArray

from .vocabulary import Map

# Sides are prime, so that the pattern does not line up with tiles, strips or blocks.
PATTERN_SIDE = 1021
# How far the pattern moves to the side each time it begins again, so that no row comes twice.
TURN_SHIFT = 389
FULL_SCALE = 65535


@cache
def _pattern(channels: int) -> Map:
    """Normal deviates, mean 0 and standard deviation 1."""
    rng = np.random.default_rng(20260415)
    shape = (PATTERN_SIDE, PATTERN_SIDE, channels)[: 3 if channels > 1 else 2]
    return rng.standard_normal(shape, dtype=np.float32)


def encode(light: Map, *, seed: int, strength: float, is_linear: bool) -> NDArray[np.uint16]:
    """16-bit values of light 0 to 1, with noise.

    After the square root of the tone curve photon noise has the same strength everywhere; linear
    frames get read noise and photon noise apart.

    Args:
        light: float32, (rows, columns) or (rows, columns, 3); not modified.
        strength: Standard deviation as a share of full scale after encoding, 0 for none.
    """
    value = np.clip(light, 0, 1) if is_linear else cv2.sqrt(np.maximum(light, 0))
    if strength > 0:
        grain = _grain(light.shape, seed)
        if is_linear:
            value = value + grain * (np.float32(strength) * (0.25 + 0.75 * cv2.sqrt(value)))
        else:
            grain *= np.float32(strength)
            value += grain
    value *= np.float32(FULL_SCALE)
    value += np.float32(0.5)
    return np.clip(value, 0, FULL_SCALE, out=value).astype(np.uint16)


def _grain(shape: tuple[int, ...], seed: int) -> Map:
    """Pattern turned, mirrored and shifted by the seed, repeated to the frame's size."""
    pattern = _pattern(shape[2] if len(shape) == 3 else 1)
    rng = np.random.default_rng([seed, 53])
    flip_y, flip_x = (1 if flag else -1 for flag in rng.integers(0, 2, 2))
    pattern = pattern[::flip_y, ::flip_x]
    y, x = (int(value) for value in rng.integers(0, PATTERN_SIDE, 2))
    grain = np.empty(shape, np.float32)
    for turn, (top, first_row, height) in enumerate(_runs(y, shape[0])):
        for left, first, width in _runs((x + TURN_SHIFT * turn) % PATTERN_SIDE, shape[1]):
            part = pattern[first_row : first_row + height, first : first + width]
            grain[top : top + height, left : left + width] = part
    return grain


def _runs(first: int, length: int) -> Iterator[tuple[int, int, int]]:
    """Where a length is to be filled, from which place of the pattern on, and how far."""
    done = 0
    while done < length:
        step = min(PATTERN_SIDE - first, length - done)
        yield done, first, step
        done, first = done + step, 0
