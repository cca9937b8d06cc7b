"""Alignment against pictures and maps that others made.

Sources, both fetched once as packages of Debian 12 in the set-up of a test machine:

- `r-cran-stars` 0.6-0-4, `L7_ETMs.tif` (Apache-2.0): six bands of one satellite scene on one grid,
  from blue to short-wave infrared, so that the true map between two of them is known.
- `opencv-doc` 4.6.0, `graf1.png`, `graf3.png` and `H1to3p.xml`: two photographs of a painted wall
  from different places, and the published 3 x 3 matrix between them.
"""

from __future__ import annotations

import itertools
import os
import re
import subprocess
from pathlib import Path

import cv2
import numpy as np
import pytest
import tifffile

from imaging_requests.imaging.alignment.align import Verdict, align
from imaging_requests.imaging.alignment.limits import Limits
from imaging_requests.imaging.alignment.matrices import (
    Matrix,
    apply,
    corner_errors,
    inverse,
    similarity,
)
from imaging_requests.imaging.alignment.pictures import picture_of
from imaging_requests.imaging.measure.bracket import shift_between
from tests.pure.measure_samples import tools

pytestmark = pytest.mark.xdist_group("alignment of published pictures")

CHECKOUT = Path(__file__).resolve().parents[2]
CORPORA = Path(os.environ.get("IMAGING_CORPORA_DIR", CHECKOUT / "var" / "corpora"))
#: Bands 1 to 3 are visible light, 4 near infrared, 5 and 7 (here 4 and 5) short-wave infrared.
NEAR_INFRARED = 3
PAIRS = list(itertools.combinations(range(6), 2))


def unpacked(package: str, tmp: Path) -> Path:
    """Unpack a Debian package; without it the test fails on a test machine."""
    archives = sorted(CORPORA.glob(f"{package}_*.deb"))
    if not archives:
        words = f"{package} is not there; fetch it with: cd {CORPORA} && apt-get download {package}"
        if os.environ.get("CI") == "true":
            pytest.fail(words)
        pytest.skip(words)
    subprocess.run(["dpkg-deb", "-x", str(archives[-1]), str(tmp)], check=True)
    return tmp


@pytest.fixture(scope="module")
def bands(tmp_path_factory: pytest.TempPathFactory) -> np.ndarray:
    folder = unpacked("r-cran-stars", tmp_path_factory.mktemp("stars"))
    scene: np.ndarray = tifffile.imread(next(folder.rglob("L7_ETMs.tif")))
    assert scene.shape == (352, 349, 6)
    return scene


@pytest.fixture(scope="module")
def wall(tmp_path_factory: pytest.TempPathFactory) -> tuple[np.ndarray, np.ndarray, Matrix]:
    """Two photographs and the matrix from px of the first to px of the second."""
    folder = unpacked("opencv-doc", tmp_path_factory.mktemp("wall"))
    path = next(folder.rglob("H1to3p.xml"))
    numbers = re.search(r"<data>(.*?)</data>", path.read_text(), re.DOTALL)
    assert numbers is not None
    matrix = np.array(numbers[1].split(), np.float64).reshape(3, 3)
    first, third = (cv2.imread(str(path.parent / name)) for name in ("graf1.png", "graf3.png"))
    assert first is not None
    assert third is not None
    return first, third, matrix


def test_every_pair_of_bands_is_laid_over_each_other(bands: np.ndarray) -> None:
    rows, columns = bands.shape[:2]
    middle = ((columns - 1) / 2, (rows - 1) / 2)
    medians: dict[tuple[int, int], float] = {}
    for number, (one, other) in enumerate(PAIRS):
        rng = np.random.default_rng(number)
        truth = (
            similarity(shift=(middle[0] + rng.uniform(-12, 12), middle[1] + rng.uniform(-12, 12)))
            @ similarity(scale=np.exp(rng.uniform(-0.12, 0.12)), rotation_deg=rng.uniform(-8, 8))
            @ similarity(shift=(-middle[0], -middle[1]))
        )
        moving = cv2.warpPerspective(
            bands[..., other],
            truth,
            (columns, rows),
            flags=cv2.INTER_CUBIC,
            borderMode=cv2.BORDER_REFLECT,
        )
        found = align(
            picture_of(np.ascontiguousarray(bands[..., one])), picture_of(moving), limits=Limits()
        )
        assert found.matrix is not None, (one, other, found.reason)
        errors = corner_errors(found.matrix, inverse(truth), columns, rows)
        assert found.residual_px is not None
        assert found.residual_px >= 0.5 * float(np.median(errors)), (one, other)
        medians[one, other] = float(np.median(errors))
    alike = [value for pair, value in medians.items() if NEAR_INFRARED not in pair]
    unlike = [value for pair, value in medians.items() if NEAR_INFRARED in pair]
    assert len(alike) == 10
    assert len(unlike) == 5
    assert float(np.median(alike)) <= 0.5
    assert float(np.median(unlike)) <= 1.0
    assert max(medians.values()) <= 1.5


def test_a_wall_from_another_place_is_laid_over_by_its_published_matrix(
    wall: tuple[np.ndarray, np.ndarray, Matrix],
) -> None:
    first, third, truth = wall
    found = align(picture_of(third), picture_of(first), limits=Limits())
    assert found.matrix is not None, found.reason
    rows, columns = first.shape[:2]
    x, y = np.meshgrid(np.linspace(0, columns - 1, 20), np.linspace(0, rows - 1, 20))
    points = np.stack((x.ravel(), y.ravel()), axis=1)
    expected = apply(truth, points)
    seen = (expected.min(axis=1) >= 0) & (expected[:, 0] < columns) & (expected[:, 1] < rows)
    apart = np.linalg.norm(apply(found.matrix, points) - expected, axis=1)[seen]
    # feature points with a robust homography reach 1.2 px in the mean and 4 px at worst
    assert float(np.median(apart)) <= 0.5
    assert float(apart.mean()) <= 0.8
    errors = corner_errors(found.matrix, truth, columns, rows)
    assert found.residual_px is not None
    assert found.residual_px >= 0.5 * float(np.median(errors))


def test_a_scene_is_not_laid_over_a_wall(
    bands: np.ndarray, wall: tuple[np.ndarray, np.ndarray, Matrix]
) -> None:
    found = align(
        picture_of(np.ascontiguousarray(bands[..., 2])), picture_of(wall[0]), limits=Limits()
    )
    assert found.verdict is Verdict.CANNOT_TELL
    assert found.matrix is None


def test_a_shift_alone_cannot_lay_infrared_on_red_if_its_scale_is_one_percent_off(
    bands: np.ndarray,
) -> None:
    """A refocused infrared picture is larger: Dyer, Verri, Cupitt, Multispectral imaging (CHARISMA
    user manual 1.0, 2013), page 20. Red against short-wave infrared of the scene, 1.01 times as
    large: after the best shift the corners still lie apart, after a similarity they do not.
    """
    rows, columns = bands.shape[:2]
    red, infrared = (np.ascontiguousarray(bands[..., band]) for band in (2, 4))
    truth = similarity(scale=1.01)
    moving = cv2.warpPerspective(
        infrared, truth, (columns, rows), flags=cv2.INTER_CUBIC, borderMode=cv2.BORDER_REFLECT
    )
    shift = shift_between(red / 255, moving / 255)
    assert shift is not None
    shifted = similarity(shift=(-shift.x_px, -shift.y_px))
    found = align(picture_of(red), picture_of(moving), limits=Limits())
    assert found.matrix is not None, found.reason
    assert found.residual_px is not None
    gate = tools().rules.rule("R2").band.fail_limit
    left_by_shift, left_by_map = (
        corner_errors(matrix, inverse(truth), columns, rows) for matrix in (shifted, found.matrix)
    )
    assert float(left_by_shift.max()) > 2 * gate
    assert float(left_by_map.max()) < gate
    assert _left_over(red, moving, shifted) > gate
    assert _left_over(red, moving, found.matrix) < gate
    assert found.residual_px < gate


def _left_over(reference: np.ndarray, moving: np.ndarray, matrix: Matrix) -> float:
    """The largest shift that is still seen in a quarter of the picture after a map, px."""
    rows, columns = reference.shape
    laid = cv2.warpPerspective(moving, matrix, (columns, rows), borderMode=cv2.BORDER_REFLECT)
    found = []
    for y in (slice(0, rows // 2), slice(rows // 2, rows)):
        for x in (slice(0, columns // 2), slice(columns // 2, columns)):
            shift = shift_between(reference[y, x] / 255, laid[y, x] / 255)
            assert shift is not None
            found.append(shift.length_px)
    return max(found)
