"""An object is told from another by its composition, and nothing is guessed without a reference."""

from __future__ import annotations

import numpy as np
import pytest

from imaging_requests.imaging.recognition import (
    GRID,
    Description,
    Recognised,
    RecognitionLimits,
    describe,
    likeness,
    recognise,
)

LIMITS = RecognitionLimits(pass_ratio=1.5, warn_ratio=1.1, least_likeness=0.9)


def picture(seed: int, *, gain: float = 1.0, noise: float = 0.0) -> np.ndarray:
    """A composition of blots that only the seed decides."""
    rng = np.random.default_rng(seed)
    coarse = rng.uniform(20, 235, (6, 8))
    full = np.kron(coarse, np.ones((32, 32))) * gain
    grain = np.random.default_rng(seed + 999).normal(0, noise, full.shape)
    return np.clip(full + grain, 0, 255).astype(np.uint8)


def seen(seed: int, **how: float) -> Description:
    return describe(picture(seed, **how))


def test_exposure_and_noise_change_little_and_another_composition_much() -> None:
    assert likeness(seen(1), seen(1, gain=0.6, noise=12)) > 0.97
    assert max(likeness(seen(1), seen(other)) for other in range(2, 40)) < 0.75


@pytest.mark.parametrize(
    ("own", "others", "verdict", "other"),
    [
        (1, [2, 3], Recognised.PASS, "AR 2"),
        (2, [1, 3], Recognised.FAIL, "AR 1"),
        (None, [1, 3], Recognised.WARN, "AR 1"),
        (None, [2, 3], Recognised.CANNOT_TELL, "AR 2"),
        (None, [], Recognised.CANNOT_TELL, ""),
        (2, [3], Recognised.CANNOT_TELL, "AR 3"),
    ],
)
def test_verdicts(own: int | None, others: list[int], verdict: Recognised, other: str) -> None:
    found = recognise(
        seen(1, gain=0.8, noise=8),
        own=seen(own) if own else None,
        others={f"AR {number}": seen(number) for number in others},
        limits=LIMITS,
    )
    assert found.verdict is verdict
    if verdict is Recognised.FAIL:
        assert found.other == other


def test_a_near_copy_is_put_before_a_person_and_not_failed() -> None:
    own, copy = seen(1), seen(1, noise=30)
    found = recognise(seen(1, noise=3), own=own, others={"AR 9": copy}, limits=LIMITS)
    assert found.verdict is Recognised.WARN


def test_an_empty_picture_is_like_nothing() -> None:
    blank = describe(np.full((64, 64), 128, np.uint8))
    assert blank.shape == (GRID * GRID,)
    assert likeness(blank, seen(1)) == 0.0


@pytest.mark.parametrize("shape", [(4, 40), (40, 40, 3)])
def test_what_is_no_grey_picture_is_refused(shape: tuple[int, ...]) -> None:
    with pytest.raises(ValueError, match="A grey picture of at least 8 x 8 is needed"):
        describe(np.zeros(shape, np.uint8))
