"""Alignment against general methods used plainly, in one run; prints figures and ratios.

    .venv/bin/python -m tests.benchmarks.alignment --megapixels 12
    .venv/bin/python -m tests.benchmarks.alignment --megapixels 100

Two pictures of the same made-up shapes, whose values are drawn independently, turned by 1.5°,
scaled by 3 % and with a slight keystone. Beside ours: OpenCV's SIFT with MAGSAC and its ECC, on
grey values and on slopes; mutual information if SimpleITK can be imported (it is no dependency:
install it into a folder of its own and name that folder in PYTHONPATH). Beyond --plain-most
megapixels the general methods are given pictures reduced to that size, and their errors are
scaled back; without that they need more memory or time than a working day has.
"""

from __future__ import annotations

import argparse
import importlib
import sys
import time
from collections.abc import Callable
from types import ModuleType

import cv2
import numpy as np

from imaging_requests.imaging.alignment.align import align
from imaging_requests.imaging.alignment.features import slopes
from imaging_requests.imaging.alignment.limits import Limits
from imaging_requests.imaging.alignment.matrices import (
    Matrix,
    corner_errors,
    inverse,
    scaling,
    similarity,
)
from imaging_requests.imaging.alignment.pictures import picture_of
from tests.pure.alignment_scenes import about_middle, moved, regions

ECC_ROUNDS = 60


def say(words: str) -> None:
    sys.stdout.write(f"{words}\n")
    sys.stdout.flush()


def scene(megapixels: float) -> tuple[np.ndarray, np.ndarray, Matrix]:
    """A reference, a moving picture, and the matrix from moving px to reference px."""
    rows = round(np.sqrt(megapixels * 1e6 * 0.75))
    size = (rows, round(rows * 4 / 3))
    plane = cv2.resize(
        regions(3, (840, 1120)).astype(np.int32), size[::-1], interpolation=cv2.INTER_NEAREST
    )
    seen = []
    for eye in (1, 2):
        values = np.random.default_rng(eye).uniform(20, 235, 256).astype(np.float32)[plane]
        values = cv2.GaussianBlur(values, (0, 0), 1.2)
        values += np.random.default_rng(eye).standard_normal(size, np.float32) * 2
        seen.append(np.clip(values, 0, 255).astype(np.uint8))
    tilt = np.array([[1.0, 0, 0], [0, 1.0, 0], [4e-3 / size[1], -3e-3 / size[0], 1.0]])
    truth = about_middle(similarity(scale=0.97, rotation_deg=1.5) @ tilt, size)
    return seen[0], moved(seen[1], truth, size), inverse(truth)


def strength(grey: np.ndarray) -> np.ndarray:
    gx, gy = slopes(cv2.GaussianBlur(grey.astype(np.float32), (0, 0), 1.7))
    found = np.hypot(gx, gy)
    return np.clip(found * (255 / max(1e-6, float(np.quantile(found, 0.995)))), 0, 255).astype(
        np.uint8
    )


def by_points(reference: np.ndarray, moving: np.ndarray) -> Matrix | None:
    sift = cv2.SIFT.create(nfeatures=20000)
    (points_r, of_r), (points_m, of_m) = (
        sift.detectAndCompute(one, None) for one in (reference, moving)
    )
    if of_r is None or of_m is None:
        return None
    pairs = cv2.BFMatcher().knnMatch(of_m, of_r, k=2)
    good = [two[0] for two in pairs if len(two) == 2 and two[0].distance < 0.8 * two[1].distance]
    if len(good) < 8:
        return None
    source = np.array([points_m[one.queryIdx].pt for one in good])
    target = np.array([points_r[one.trainIdx].pt for one in good])
    found, _ = cv2.findHomography(source, target, cv2.USAC_MAGSAC, 2.0)
    return None if found is None else np.asarray(found, np.float64)


def by_ecc(reference: np.ndarray, moving: np.ndarray) -> Matrix | None:
    criteria = (cv2.TERM_CRITERIA_EPS | cv2.TERM_CRITERIA_COUNT, ECC_ROUNDS, 1e-6)
    try:
        _, found = cv2.findTransformECC(
            reference, moving, np.eye(3, dtype=np.float32), cv2.MOTION_HOMOGRAPHY, criteria
        )
    except cv2.error:
        return None
    return inverse(np.asarray(found, np.float64))


def by_information(library: ModuleType, reference: np.ndarray, moving: np.ndarray) -> Matrix:
    fixed, other = (
        library.GetImageFromArray(one.astype(np.float32)) for one in (reference, moving)
    )
    method = library.ImageRegistrationMethod()
    method.SetMetricAsMattesMutualInformation(50)
    method.SetMetricSamplingStrategy(method.RANDOM)
    method.SetMetricSamplingPercentage(0.1, 1)
    method.SetInterpolator(library.sitkLinear)
    method.SetOptimizerAsGradientDescent(1.0, 150, estimateLearningRate=method.EachIteration)
    method.SetOptimizerScalesFromPhysicalShift()
    method.SetShrinkFactorsPerLevel([8, 4, 2])
    method.SetSmoothingSigmasPerLevel([4, 2, 1])
    middle = [(reference.shape[1] - 1) / 2, (reference.shape[0] - 1) / 2]
    start = library.AffineTransform(2)
    start.SetCenter(middle)
    method.SetInitialTransform(start, inPlace=True)
    method.Execute(fixed, other)
    inner = np.array(start.GetMatrix()).reshape(2, 2)
    shift = np.array(start.GetTranslation()) + middle - inner @ np.array(middle)
    return inverse(np.vstack((np.column_stack((inner, shift)), [0, 0, 1])))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--megapixels", type=float, default=12)
    parser.add_argument("--plain-most", type=float, default=12)
    options = parser.parse_args()
    reference, moving, truth = scene(options.megapixels)
    rows, columns = reference.shape
    say(f"{columns} x {rows} px")
    started = time.process_time()
    found = align(picture_of(reference), picture_of(moving), limits=Limits())
    ours = time.process_time() - started
    assert found.matrix is not None, found.reason
    apart = corner_errors(found.matrix, truth, columns, rows)
    say(f"ours: {ours:.2f} s, median corner error {np.median(apart):.3f} px")
    factor = min(1.0, float(np.sqrt(options.plain_most / options.megapixels)))
    small = [
        one if factor == 1 else cv2.resize(one, None, fx=factor, fy=factor, interpolation=3)
        for one in (reference, moving)
    ]
    to_small = scaling(small[0].shape[1] / columns, small[0].shape[0] / rows)
    contenders: dict[str, Callable[[], Matrix | None]] = {
        "points on grey": lambda: by_points(*small),
        "points on slopes": lambda: by_points(*(strength(one) for one in small)),
        "ECC on grey": lambda: by_ecc(*small),
        "ECC on slopes": lambda: by_ecc(*(strength(one) for one in small)),
    }
    try:
        library = importlib.import_module("SimpleITK")
        contenders["mutual information"] = lambda: by_information(library, *small)
    except ImportError:
        say("SimpleITK is not here, so mutual information is left out.")
    for name, work in contenders.items():
        started = time.process_time()
        matrix = work()
        spent = time.process_time() - started
        if matrix is None:
            say(f"{name}: {spent:.2f} s, no map; {spent / ours:.1f} times our time")
            continue
        whole = inverse(to_small) @ matrix @ to_small
        other = corner_errors(whole, truth, columns, rows)
        say(
            f"{name}: {spent:.2f} s, median corner error {np.median(other):.3f} px; "
            f"{spent / ours:.1f} times our time, "
            f"{np.median(other) / max(1e-9, float(np.median(apart))):.1f} times our error"
        )


if __name__ == "__main__":
    main()
