"""Many parts agree and the map is wrong all the same: it is refused, or its error says so.

Truth: pictures made here with a known map, whose structure repeats, is bent as by a lens, moved in
one half, or shared along a frame only.
"""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from imaging_requests.imaging.alignment.align import Alignment, Verdict, align
from imaging_requests.imaging.alignment.matrices import apply, similarity
from imaging_requests.imaging.alignment.pictures import picture_of
from imaging_requests.imaging.alignment.unevenness import place_words
from tests.pure.alignment_scenes import LIMITS, moved, regions, seen

SIZE = (420, 560)
ROWS, COLUMNS = SIZE


def found(reference: np.ndarray, moving: np.ndarray) -> Alignment:
    return align(picture_of(reference), picture_of(moving), limits=LIMITS)


def brocade(seed: int, repeat_px: float, own: float) -> np.ndarray:
    """A woven pattern with a share of structure of its own."""
    y, x = np.mgrid[0:ROWS, 0:COLUMNS].astype(np.float32)
    wave = np.sin(2 * np.pi * x / repeat_px)
    pattern = 0.35 + 0.15 * wave * np.sin(2 * np.pi * y / repeat_px) + 0.1 * (wave > 0.6)
    shapes = (seen(regions(seed, SIZE), 1).astype(np.float32) + 20) / 255
    return np.asarray(255 * pattern * shapes**own, np.uint8)


@pytest.mark.parametrize("repeat_px", [24.0, 60.0])
def test_what_is_not_repeated_decides_between_the_repeats_of_a_pattern(repeat_px: float) -> None:
    reference = brocade(3, repeat_px, 0.1)
    truth = similarity(shift=(repeat_px + 0.3, 0.0))
    answer = found(reference, moved(reference, truth, SIZE))
    assert answer.matrix is not None
    assert np.allclose(answer.matrix[:2, 2], (-repeat_px - 0.3, 0.0), atol=0.5)


def test_two_pictures_on_one_pattern_are_not_laid_over_each_other() -> None:
    answer = found(brocade(3, 24.0, 0.1), brocade(60, 24.0, 0.1))
    assert answer.verdict is Verdict.CANNOT_TELL
    assert "as where a pattern repeats itself" in answer.reason


@pytest.mark.parametrize("frame", [0.27, 0.33])
def test_two_pictures_in_one_wide_frame_are_not_laid_over_each_other(frame: float) -> None:
    rim = round(frame * ROWS)
    pictures = []
    for seed in (60, 61):
        whole = seen(regions(3, SIZE), 1)
        inner = (ROWS - 2 * rim, COLUMNS - 2 * rim)
        whole[rim:-rim, rim:-rim] = seen(regions(seed, inner), 1)
        pictures.append(whole)
    answer = found(*pictures)
    assert answer.verdict is Verdict.CANNOT_TELL
    assert "around the middle" in answer.reason or "along their rim" in answer.reason


def bent(pixels: np.ndarray, share: float) -> np.ndarray:
    """A picture as a lens bends it: radii about the middle grow by a share of r²."""
    y, x = np.mgrid[0:ROWS, 0:COLUMNS].astype(np.float32)
    middle = (COLUMNS - 1) / 2, (ROWS - 1) / 2
    dx, dy = (x - middle[0]) / middle[0], (y - middle[1]) / middle[0]
    longer = 1 + share * (dx**2 + dy**2)
    there = middle[0] * (1 + dx * longer), middle[1] + middle[0] * dy * longer
    flags = cv2.INTER_CUBIC
    return np.asarray(cv2.remap(pixels, *there, flags, borderMode=cv2.BORDER_REPLICATE), np.uint8)


@pytest.mark.parametrize("share", [0.004, 0.016])
def test_the_error_of_a_bent_picture_is_told_with_its_place(share: float) -> None:
    reference = seen(regions(3, SIZE), 1)
    answer = found(reference, bent(seen(regions(3, SIZE), 2), share))
    assert answer.matrix is not None
    x, y = np.meshgrid(np.linspace(0, COLUMNS - 1, 9), np.linspace(0, ROWS - 1, 9))
    places = np.stack((x.ravel(), y.ravel()), axis=1)
    half = (COLUMNS - 1) / 2
    from_middle = (places - (half, (ROWS - 1) / 2)) / half
    longer = 1 + share * (from_middle**2).sum(axis=1, keepdims=True)
    truth = half * from_middle * longer + (half, (ROWS - 1) / 2)
    worst = float(np.linalg.norm(apply(answer.matrix, places) - truth, axis=1).max())
    assert answer.residual_px is not None
    assert worst / 2 <= answer.residual_px <= 2 * worst
    assert answer.bend_place.startswith("at the ")


def test_a_picture_that_is_not_bent_is_not_called_so() -> None:
    answer = found(seen(regions(3, SIZE), 1), seen(regions(3, SIZE), 2))
    assert answer.residual_px is not None
    assert (answer.bend_px, answer.bend_place) == (0.0, "")
    assert answer.residual_px < 0.5


def test_a_half_that_moved_is_named() -> None:
    reference, other = seen(regions(3, SIZE), 1), seen(regions(3, SIZE), 2)
    other[:, 285:] = np.roll(other, (12, 12), (0, 1))[:, 285:]
    answer = found(reference, other)
    assert answer.verdict is Verdict.CANNOT_TELL
    assert "One map does not hold everywhere" in answer.reason
    assert "right" in answer.reason or "left" in answer.reason


@pytest.mark.parametrize(
    ("x", "y", "words"),
    [(-0.9, -0.9, "at the upper left"), (0.9, 0.0, "at the right"), (0.0, -0.6, "at the top")],
)
def test_places_are_named(x: float, y: float, words: str) -> None:
    assert place_words(x, y) == words
