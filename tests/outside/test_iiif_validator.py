"""The picture service before the published validator of the IIIF Image API, version 3.0.

iiif-validator 1.0.5 (PyPI, Apache-2.0) asks a running server for its own test picture: a square of
10 × 10 colours of 100 px each, whose values stand in the package (`ValidationInfo.colorInfo`). It
does not come with the package as a file, so it is drawn from that table.
"""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import pyvips

from imaging_requests.imaging.files.derive import build_derivatives
from imaging_requests.imaging.files.derived import Derived
from imaging_requests.intake.limits import reading_limits, recipe
from tests.outside import iiif_source

SQUARE_PX = 100
#: How many tests version 1.0.5 has for Image API 3.0; level 1 is what it runs by itself.
TESTS_UP_TO_LEVEL = {1: 24, 2: 33}
VALIDATOR = Path(sys.executable).with_name("iiif-validate.py")


def draw_test_picture(path: Path) -> None:
    """Write the validator's picture as a PNG."""
    from iiif_validator.validator import ValidationInfo

    by_column = np.array(ValidationInfo().colorInfo, dtype=np.uint8)
    squares = by_column.transpose(1, 0, 2).repeat(SQUARE_PX, 0).repeat(SQUARE_PX, 1)
    image = pyvips.Image.new_from_array(np.ascontiguousarray(squares))
    image.copy(interpretation="srgb").pngsave(str(path))


@pytest.fixture
def served(tmp_path: Path, settings: Any, live_server: Any) -> str:
    """The address of a server that shows the test picture through a pyramid of ours."""
    source = tmp_path / "squares.png"
    draw_test_picture(source)
    made = build_derivatives(
        source, tmp_path / "made", recipe(), source_sha256="0" * 64, limits=reading_limits()
    )
    assert isinstance(made, Derived)
    (pyramid,) = [item for item in made.files if item.kind == "pyramid"]
    iiif_source.PYRAMIDS.append(tmp_path / "made" / pyramid.name)
    settings.ROOT_URLCONF = "tests.outside.iiif_source"
    return str(live_server.url).removeprefix("http://")


@pytest.mark.django_db(transaction=True)
def test_validator_passes_every_test(served: str) -> None:
    for level, number in TESTS_UP_TO_LEVEL.items():
        ran = subprocess.run(
            [
                *(sys.executable, str(VALIDATOR), "-s", served, "-p", "iiif"),
                *("-i", iiif_source.IDENTIFIER, "--version=3.0", f"--level={level}"),
            ],
            capture_output=True,
            text=True,
            timeout=120,
            check=False,
        )
        said = ran.stdout + ran.stderr
        done = re.search(r"Done \((\d+) tests, (\d+) failures\)", said)
        assert done is not None, said
        assert (int(done[1]), int(done[2])) == (number, 0), said
