"""Which way up, which side: all eight turns and mirrors, silhouettes, and honest doubt."""

from __future__ import annotations

import doctest
import importlib
import json
import pkgutil
from pathlib import Path

import numpy as np
import pytest

from imaging_requests.imaging import orientation
from imaging_requests.imaging.alignment.pictures import picture_of
from imaging_requests.imaging.orientation.limits import Limits
from imaging_requests.imaging.orientation.silhouette import Side, judge_back
from imaging_requests.imaging.orientation.turns import (
    Answer,
    Orientation,
    Turn,
    apply_turn,
    find_turn,
)
from tests.pure.alignment_scenes import LIMITS, regions, seen

FIXTURE = Path(__file__).resolve().parents[2] / "fixtures" / "checks" / "orientation-1.json"
OURS = Limits()
SIZE = (300, 400)


def asked(reference: np.ndarray, picture: np.ndarray) -> Orientation:
    return find_turn(
        picture_of(reference),
        picture_of(np.ascontiguousarray(picture)),
        limits=OURS,
        alignment=LIMITS,
    )


@pytest.mark.parametrize("module", [one.name for one in pkgutil.iter_modules(orientation.__path__)])
def test_examples_in_the_documentation_hold(module: str) -> None:
    whole = importlib.import_module(f"{orientation.__name__}.{module}")
    assert doctest.testmod(whole).failed == 0


def test_the_shipped_limits_are_those_of_the_code() -> None:
    assert Limits.from_settings(json.loads(FIXTURE.read_text("utf-8"))) == OURS


@pytest.mark.parametrize("turn", Turn)
def test_undoing_brings_a_picture_back(turn: Turn) -> None:
    pixels = np.arange(12).reshape(3, 4)
    assert np.array_equal(apply_turn(apply_turn(pixels, turn), turn.undo()), pixels)


def test_the_eight_are_different() -> None:
    pixels = np.arange(9).reshape(3, 3)
    assert len({apply_turn(pixels, turn).tobytes() for turn in Turn}) == 8


@pytest.mark.parametrize("turn", Turn)
def test_each_turn_and_mirror_is_told_in_other_light(turn: Turn) -> None:
    plane = regions(3, SIZE)
    found = asked(seen(plane, 1), apply_turn(seen(plane, 2), turn))
    assert found.turn is turn
    assert found.answer in (Answer.CLEAR, Answer.LIKELY)
    assert found.reason == ""


def test_a_picture_of_something_else_fits_no_way_round() -> None:
    found = asked(seen(regions(3, SIZE), 1), seen(regions(44, SIZE), 2))
    assert found.answer is Answer.CANNOT_TELL
    assert found.turn is None
    assert "it fits no way round" in found.reason


def test_a_picture_that_is_its_own_mirror_image_is_not_told() -> None:
    half = seen(regions(3, SIZE), 1)
    both = np.maximum(half, half[:, ::-1])
    found = asked(both, both[:, ::-1])
    assert found.turn is None
    assert "more than one way round" in found.reason


@pytest.mark.parametrize("technique", ["RK", "UV", "IR", "XR"])
def test_a_painting_is_told_in_every_technique(
    paintings: dict[str, np.ndarray], technique: str
) -> None:
    found = asked(paintings["VF"], apply_turn(paintings[technique], Turn.MIRRORED))
    assert found.turn is Turn.MIRRORED


@pytest.fixture(scope="module")
def paintings() -> dict[str, np.ndarray]:
    from imaging_requests.imaging.synthesis import (
        Direction,
        PaintingSpec,
        Scene,
        Shot,
        Technique,
        build_painting,
        capture,
        picture_extent,
    )

    spec = PaintingSpec(seed=11, width_mm=420, height_mm=330)
    scene = Scene(build_painting(spec, px_per_mm=0.9))
    return {
        technique.value: capture(
            scene,
            Shot(
                technique=technique,
                direction=Direction.LEFT if technique is Technique.RAKING else None,
                tile=picture_extent(spec, technique),
                px_per_mm=0.9,
            ),
        ).pixels
        for technique in Technique
        if technique is not Technique.CONTINUOUS
    }


FRONT = np.array([[0.0, 0.0], [300.0, 4.0], [310.0, 120.0], [284.0, 230.0], [-6.0, 212.0]])


def turned(outline: np.ndarray, degrees: float) -> np.ndarray:
    angle = np.deg2rad(degrees)
    turn = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
    return outline @ turn.T + [40.0, 25.0]


@pytest.mark.parametrize(
    ("back", "side", "verdict", "words"),
    [
        (turned(FRONT * [-1, 1], 2.0), Side.BACK, "pass", ""),
        (turned(FRONT * [-1.008, 1.0], 1.0), Side.BACK, "pass", ""),
        (turned(FRONT * [-1.012, 1.012], 1.0), Side.BACK, "warn", "differ by"),
        (turned(FRONT, -1.0), Side.MIRRORED, "fail", "This back looks mirrored"),
        (FRONT * [-1.2, 0.8], Side.OTHER, "fail", "another object"),
    ],
)
def test_a_silhouette_tells_a_back_from_a_mirrored_one(
    back: np.ndarray, side: Side, verdict: str, words: str
) -> None:
    found = judge_back(FRONT, back, limits=OURS)
    assert (found.side, found.verdict) == (side, verdict)
    assert words in found.reason


def test_a_rectangle_does_not_tell_front_from_back() -> None:
    box = np.array([[0.0, 0.0], [300.0, 0.0], [300.0, 200.0], [0.0, 200.0]])
    found = judge_back(box, turned(box, 1.0), limits=OURS)
    assert found.side is Side.CANNOT_TELL
    assert "same from both sides" in found.reason


@pytest.mark.parametrize("outline", [np.zeros((2, 2)), np.full((5, 2), np.nan), np.zeros(6)])
def test_an_outline_without_points_is_misuse(outline: np.ndarray) -> None:
    with pytest.raises(ValueError, match="at least three points"):
        judge_back(FRONT, outline, limits=OURS)
