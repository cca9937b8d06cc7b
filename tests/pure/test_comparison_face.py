"""A share of the face is told of the face alone, and only where its place is known."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from imaging_requests.imaging.comparison.change import change_map
from imaging_requests.imaging.comparison.face import face_of, find_corners
from imaging_requests.imaging.comparison.limits import MapLimits
from imaging_requests.imaging.comparison.reading import Light
from imaging_requests.imaging.comparison.render import legend_of

LIMITS = MapLimits.from_settings(
    json.loads(Path("fixtures/checks/comparability-1.json").read_text("utf-8"))
)
DENSITY = 0.5
STAY = np.eye(3)


def painting(light: float = 0.3, left: int = 20) -> Light:
    """A face of 690 × 840 mm at 0.5 px/mm, 345 × 420 px, on dark ground; 2 px of file are one."""
    values = np.full((470, 400), 0.004, np.float32)
    values[20:440, left : left + 345] = light
    return Light(values, step=1, width_px=400, height_px=470, profile="")


def corners_of(pair: tuple[Light, Light], size_mm: tuple[float, float] | None) -> np.ndarray | str:
    return find_corners(pair, matrix=STAY, px_per_mm=DENSITY, size_mm=size_mm, limits=LIMITS)


def test_the_ground_around_a_painting_is_no_part_of_its_face() -> None:
    """All of the face fades by half: nearly all of it changed, whatever ground was taken along."""
    pair = painting(0.3), painting(0.15)
    corners = corners_of(pair, (690, 840))
    assert not isinstance(corners, str)
    face = face_of(corners, pair[0], px_per_mm=DENSITY, limits=LIMITS)
    found = change_map(
        pair[0].values,
        pair[1].values,
        inside=face.inner,
        residual_px=0.1,
        px_per_mm=DENSITY,
        floor=10,
        limits=LIMITS,
        face=face.whole,
    )
    areas = sum(zone.area_mm2 for zone in found.zones)
    assert found.marked_share == pytest.approx(areas / (690 * 840), abs=0.005)
    assert found.marked_share > 0.97
    # what is neither marked nor told is the rim, which counts as not told
    assert found.marked_share + found.hatched_share == pytest.approx(1, abs=1e-9)
    assert "% of the face. Hatched" in legend_of(found)


def test_an_outline_counts_only_with_the_recorded_size_or_where_both_show_it() -> None:
    same, moved = (painting(), painting()), (painting(), painting(left=40))
    assert not isinstance(corners_of(same, None), str)
    assert "one outline alone may err" in str(corners_of(moved, None))
    assert "measures 690 × 840 mm and not the recorded 500 × 840 mm" in str(
        corners_of(same, (500, 840))
    )


def test_the_outline_of_the_later_picture_serves_where_the_earlier_shows_none() -> None:
    flat = replace(painting(), values=np.full((470, 400), 0.1, np.float32))
    assert "no outline of it was found" in str(corners_of((flat, flat), (690, 840)))
    corners = corners_of((flat, painting()), (690, 840))
    assert np.abs(np.asarray(corners)[0] - 19.5).max() < 1


def test_shares_of_the_picture_say_so_and_why() -> None:
    pair = painting(0.3), painting(0.15)
    found = change_map(
        pair[0].values,
        pair[1].values,
        inside=np.ones((470, 400), bool),
        residual_px=0.1,
        px_per_mm=DENSITY,
        floor=10,
        limits=LIMITS,
    )
    words = legend_of(found, "its size is not recorded")
    assert "of the face" not in words
    assert "% of the picture. Hatched" in words
    assert words.endswith("the face lies in it is not known, since its size is not recorded.")
