"""Material that the fault generators share: painted-looking light, noise, small frames."""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np

from imaging_requests.imaging.measure.encoding import power_encoding
from imaging_requests.imaging.measure.finding import Finding
from imaging_requests.imaging.measure.frame import Frame, frame_from_array
from imaging_requests.imaging.synthesis.colour import RGB_TO_XYZ
from tests.pure.measure_samples import tools

NOISE = 0.002
COARSE = 4.0


def is_faulty(rng: np.random.Generator) -> bool:
    """Whether this case has a fault; generators without a strength learn it from the seed."""
    return bool(rng.bit_generator.seed_seq.entropy[1])  # type: ignore[attr-defined]


def texture(rng: np.random.Generator, rows: int, columns: int, smooth: float = 0.0) -> Any:
    """Painted-looking light from 0.02 to 0.9: blots of several sizes.

    Large blots are drawn on a coarse grid and enlarged, which costs little.
    """
    total = np.zeros((rows, columns), np.float32)
    sizes = (smooth,) if smooth else (40.0, 12.0, 4.0, 1.5)
    for size in sizes:
        step = max(1, int(size / COARSE))
        shape = (rows // step + 2, columns // step + 2)
        layer = rng.standard_normal(shape).astype(np.float32)
        layer = cv2.GaussianBlur(layer, (0, 0), size / step, borderType=cv2.BORDER_REFLECT)
        layer = cv2.resize(layer, (columns, rows), interpolation=cv2.INTER_CUBIC)
        total += layer / max(float(layer.std()), 1e-9) * (size / sizes[0]) ** 0.4
    low, high = float(total.min()), float(total.max())
    return 0.02 + 0.88 * (total - low) / (high - low)


def noise_like(rng: np.random.Generator, like: Any) -> Any:
    """Noise of the shape of a picture."""
    return rng.normal(0, NOISE, like.shape)


def frame_of(rng: np.random.Generator, light: Any, *, is_linear: bool = False) -> Frame:
    """A 16-bit frame of linear light: colour on a square-root scale, grey as asked."""
    share = np.clip(light, 0, 1)
    share = share if is_linear else np.sqrt(share)
    levels = share * 65_535 + rng.normal(0, 60, share.shape)
    pixels = np.clip(np.round(levels), 0, 65_535).astype(np.uint16)
    matrix = RGB_TO_XYZ if light.ndim == 3 else None
    encoding = power_encoding(1.0 if is_linear else 2.0, matrix=matrix)
    frame = frame_from_array(pixels, encoding, clip=tools().clip())
    assert isinstance(frame, Frame)
    return frame


def value_of(findings: list[Finding], rule: str) -> float | None:
    """The value of one rule among findings; None if it cannot tell."""
    return next(found.value for found in findings if found.rule_id == rule)
