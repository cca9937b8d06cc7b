"""Pictures whose values have nothing in common are laid over each other, or refused with a reason.

Truth: a known map is applied to one of two pictures of the same made-up shapes, whose values are
drawn independently for each, so that they do not correlate.
"""

from __future__ import annotations

import doctest
import importlib
import json
import pkgutil
from pathlib import Path

import numpy as np
import pytest

from imaging_requests.imaging import alignment
from imaging_requests.imaging.alignment.align import Alignment, Verdict, align
from imaging_requests.imaging.alignment.limits import Limits
from imaging_requests.imaging.alignment.matrices import (
    Matrix,
    Model,
    apply,
    corner_errors,
    fit,
    similarity,
)
from imaging_requests.imaging.alignment.pictures import UnfitError, picture_of
from tests.pure.alignment_scenes import LIMITS, about_middle, moved, regions, seen

FIXTURE = Path(__file__).resolve().parents[2] / "fixtures" / "checks" / "alignment-1.json"
SIZE = (420, 560)
KEYSTONE = np.array([[1.0, 0.02, 0.0], [0.0, 1.01, 0.0], [6e-5, -4e-5, 1.0]])


@pytest.fixture(scope="module")
def plane() -> np.ndarray:
    return regions(3, SIZE)


def found(reference: np.ndarray, moving: np.ndarray) -> Alignment:
    return align(picture_of(reference), picture_of(moving), limits=LIMITS)


@pytest.mark.parametrize("module", [one.name for one in pkgutil.iter_modules(alignment.__path__)])
def test_examples_in_the_documentation_hold(module: str) -> None:
    whole = importlib.import_module(f"{alignment.__name__}.{module}")
    assert doctest.testmod(whole, optionflags=doctest.ELLIPSIS).failed == 0


def test_the_shipped_limits_are_those_of_the_code() -> None:
    assert Limits.from_settings(json.loads(FIXTURE.read_text("utf-8"))) == Limits()


@pytest.mark.parametrize(
    ("to_moving", "model"),
    [
        (np.eye(3), Model.SIMILARITY),
        (similarity(scale=0.83, rotation_deg=5, shift=(14, -9)), Model.SIMILARITY),
        (similarity(scale=1.3, rotation_deg=-32), Model.SIMILARITY),
        (similarity(rotation_deg=180), Model.SIMILARITY),
        (np.array([[1.05, 0.04, 3.0], [0.0, 0.97, -5.0], [0.0, 0.0, 1.0]]), Model.AFFINE),
        (KEYSTONE, Model.HOMOGRAPHY),
    ],
    ids=["same", "near", "turned", "upside down", "sheared", "keystone"],
)
def test_a_known_map_is_found_again(plane: np.ndarray, to_moving: Matrix, model: Model) -> None:
    truth = about_middle(to_moving, SIZE)
    reference, other = seen(plane, 1), moved(seen(plane, 2), truth, SIZE)
    assert abs(np.corrcoef(reference.ravel(), seen(plane, 2).ravel())[0, 1]) < 0.2
    kept = reference.copy(), other.copy()
    answer = found(reference, other)
    assert answer.verdict is Verdict.ALIGNED
    assert answer.matrix is not None
    errors = corner_errors(answer.matrix, np.linalg.inv(truth), SIZE[1], SIZE[0])
    assert float(np.median(errors)) <= 0.5
    assert answer.residual_px is not None
    assert answer.residual_px >= 0.5 * float(errors.max())
    assert answer.model is model
    assert np.array_equal(kept[0], reference)
    assert np.array_equal(kept[1], other)


def test_pictures_of_different_size_and_density_are_laid_over_each_other(
    plane: np.ndarray,
) -> None:
    truth = similarity(scale=0.45, rotation_deg=1.0, shift=(12.0, 4.0))
    answer = found(seen(plane, 4), moved(seen(plane, 5, noise=0), truth, (210, 280)))
    assert answer.matrix is not None
    errors = corner_errors(answer.matrix, np.linalg.inv(truth), 280, 210)
    assert float(np.median(errors)) <= 1.0
    assert answer.residual_px is not None
    assert answer.residual_px >= 0.5 * float(errors.max())


@pytest.mark.parametrize("seed", range(5))
def test_a_picture_of_something_else_gives_no_map(plane: np.ndarray, seed: int) -> None:
    answer = found(seen(plane, 1), seen(regions(50 + seed, SIZE), 2 + seed))
    assert answer.verdict is Verdict.CANNOT_TELL
    assert answer.matrix is None
    assert answer.residual_px is None
    assert "They may show different things" in answer.reason


def test_a_shared_frame_around_different_pictures_is_no_agreement(plane: np.ndarray) -> None:
    pictures = []
    for seed, eye in ((3, 1), (60, 2)):
        whole = np.full((520, 660), 12, np.uint8)
        whole[40:460, 50:610] = seen(regions(seed, SIZE), eye)
        for step in range(0, 600, 30):
            whole[480:505, 20 + step : 35 + step] = 60 + (step * 7) % 180
        pictures.append(whole)
    answer = found(pictures[0], pictures[1])
    assert answer.verdict is Verdict.CANNOT_TELL


@pytest.mark.parametrize(
    ("pixels", "words"),
    [
        (np.full((60, 60), 7.0), "the same value everywhere"),
        (np.zeros((1, 1)), "1 x 1 px"),
        (np.full((60, 60), np.nan), "no numbers"),
        (np.zeros((60, 60, 7)), "60 x 60 x 7"),
        (np.zeros(60), "the shape 60"),
        (np.zeros((60, 60), complex), "no real numbers"),
    ],
)
def test_what_cannot_be_aligned_is_refused_with_a_reason(pixels: np.ndarray, words: str) -> None:
    with pytest.raises(UnfitError, match=words):
        picture_of(pixels)


def test_a_few_values_that_are_no_numbers_are_found_at_any_place() -> None:
    pixels = seen(regions(3, SIZE), 1).astype(np.float64)
    pixels[17, 403] = np.nan
    with pytest.raises(UnfitError, match="no numbers"):
        picture_of(pixels)


def test_black_and_white_pictures_are_taken(plane: np.ndarray) -> None:
    answer = found(seen(plane, 1) > 128, seen(plane, 1))
    assert answer.matrix is not None
    assert float(corner_errors(answer.matrix, np.eye(3), SIZE[1], SIZE[0]).max()) < 0.5


@pytest.mark.parametrize("model", Model)
def test_a_fit_goes_through_exact_points(model: Model) -> None:
    rng = np.random.default_rng(1)
    source = rng.uniform(0, 1000, (12, 2))
    truth = {
        Model.SIMILARITY: similarity(scale=1.2, rotation_deg=20, shift=(3, 4)),
        Model.AFFINE: np.array([[1.1, 0.2, 5], [0.1, 0.8, -7], [0, 0, 1.0]]),
        Model.HOMOGRAPHY: np.array([[1.1, 0.2, 5], [0.1, 0.8, -7], [2e-4, -1e-4, 1.0]]),
    }[model]
    assert np.allclose(fit(model, source, apply(truth, source)), truth, atol=1e-6)


def test_points_on_a_line_determine_no_map() -> None:
    line = np.stack((np.arange(9.0), np.arange(9.0)), axis=1)
    with pytest.raises(ValueError, match="do not determine"):
        fit(Model.AFFINE, line, line)
