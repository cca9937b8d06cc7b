"""The change map: silent where nothing changed, loud where something did, and honest in between."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest

from imaging_requests.imaging.comparison.change import (
    change_map,
    changes_of,
    combined_floor,
    noise_floor,
    patch_gain,
)
from imaging_requests.imaging.comparison.fit import fit_of
from imaging_requests.imaging.comparison.laying import as_matrix, lay_over
from imaging_requests.imaging.comparison.limits import MapLimits
from imaging_requests.imaging.comparison.render import (
    Panel,
    draw_map,
    legend_of,
    plain,
    sheet,
    to_screen,
)
from imaging_requests.imaging.synthesis import Technique
from imaging_requests.imaging.synthesis.colour import RGB_TO_XYZ
from imaging_requests.imaging.synthesis.colour import to_screen as screen_of_frame
from tests.benchmarks import change_accuracy as accuracy
from tests.pure import comparison_scenes as scenes

LIMITS = MapLimits.from_settings(
    json.loads(Path("fixtures/checks/comparability-1.json").read_text("utf-8"))
)
FLOOR = LIMITS.least_floor_delta_e


@pytest.mark.parametrize("seed", [3, 4])
def test_a_lamp_brighter_by_a_twentieth_is_no_change(seed: int) -> None:
    """Less than 1 % of the area, with and without the greys; the patch of ΔE00 6 is found."""
    case = accuracy.make_case(seed, lamp=1.05 if seed % 2 else 0.95, sides_mm=(110, 150))
    changed, true = accuracy.with_patch(case, seed)
    for by_chart, error in ((True, 0.3), (False, 0.1)):
        told = {"error_px": error, "seed": seed, "by_chart": by_chart, "floor": FLOOR}
        still = accuracy.compare(case, case.after, **told)
        assert still.marked_share < 0.01
        found = accuracy.compare(case, changed, **told)
        assert accuracy.overlap(found.marked, true) >= 0.7
        largest = found.zones[0]
        assert largest.area_mm2 == pytest.approx(accuracy.PATCH_MM**2, rel=0.35)


def light(technique: Technique) -> tuple[Any, Any, Any]:
    """Light of the small painting before, after laid over it, and where it is known."""
    pair = scenes.shots(technique)
    both = []
    for exposure in (pair.before, pair.after):
        share = exposure.pixels.astype(np.float32) / 65535
        values = share if exposure.is_linear else share * share
        both.append(values if values.ndim == 2 else (values @ RGB_TO_XYZ.T).astype(np.float32))
    laid, known = lay_over(both[1], pair.matrix, both[0].shape[:2])
    return both[0], laid, known


def test_infrared_of_an_unchanged_painting_marks_nothing() -> None:
    before, after, known = light(Technique.INFRARED)
    found = change_map(
        before, after, inside=known, residual_px=0.1, px_per_mm=3, floor=10, limits=LIMITS
    )
    assert found.marked_share < 0.01
    assert found.change.unit == "%"


def test_a_drawing_that_came_out_in_infrared_is_marked_as_darker() -> None:
    before, after, known = light(Technique.INFRARED)
    drawn = after.copy()
    drawn[150:210, 200:260] *= 0.6
    found = change_map(
        before, drawn, inside=known, residual_px=0.1, px_per_mm=3, floor=10, limits=LIMITS
    )
    zone = found.zones[0]
    assert (zone.width_px, zone.height_px) == (pytest.approx(62, abs=6), pytest.approx(62, abs=6))
    assert np.nanmedian(found.change.signed[155:205, 205:255]) < -40


def test_a_wrong_alignment_is_hatched_and_never_marked() -> None:
    before, after, known = light(Technique.FLASH)
    after = (after / 1.05).astype(np.float32)
    shift = np.array([[1, 0, 2.0], [0, 1, 0], [0, 0, 1.0]])
    off, still = lay_over(after, shift, before.shape[:2])
    found = change_map(
        before, off, inside=known & still, residual_px=2.0, px_per_mm=3, floor=FLOOR, limits=LIMITS
    )
    assert found.marked_share < 0.01
    assert found.hatched_share > 0.1


def test_the_fit_says_how_far_a_picture_is_off() -> None:
    before, after, known = light(Technique.FLASH)
    one, other = before[..., 1], after[..., 1]
    still = fit_of(one, other, known)
    assert still.residual_px is not None
    assert still.residual_px < 0.2
    for true in (0.5, 1.5):
        moved, there = lay_over(other, np.array([[1, 0, true], [0, 1, 0], [0, 0, 1.0]]), one.shape)
        found = fit_of(one, moved, known & there)
        assert found.residual_px is not None
        assert 0.5 * true <= found.residual_px <= 1.5 * true + 0.2


def test_another_picture_does_not_fit() -> None:
    before, after, known = light(Technique.FLASH)
    turned = np.ascontiguousarray(after[::-1, ::-1, 1])
    assert fit_of(before[..., 1], turned, known).agreeing < 0.3


@pytest.mark.parametrize(
    "picture", [np.zeros((64, 64), np.float32), np.full((300, 300), 0.5), np.zeros((5, 5))]
)
def test_a_picture_without_structure_tells_nothing(picture: Any) -> None:
    found = fit_of(picture, picture, np.ones(picture.shape, bool))
    assert (found.residual_px, found.agreeing) == (None, 0.0)


def test_the_floor_is_learnt_from_a_retest_and_never_below_the_least() -> None:
    rng = np.random.default_rng(2)
    one = np.full((80, 80, 3), 0.3, np.float32)
    quiet = changes_of(one, one * np.float32(1.001), residual_px=0, limits=LIMITS)
    inside = np.ones((80, 80), bool)
    assert noise_floor(quiet, inside, limits=LIMITS) == LIMITS.least_floor_delta_e
    loud = one * (1 + 0.5 * rng.standard_normal((80, 80, 1)).astype(np.float32))
    change = changes_of(one, np.maximum(loud, 0), residual_px=0, limits=LIMITS)
    floor = noise_floor(change, inside, limits=LIMITS)
    assert floor == pytest.approx(np.percentile(change.size, 95))
    assert combined_floor(floor, 3.0) > floor
    with pytest.raises(ValueError, match="no place that both pictures show"):
        noise_floor(change, ~inside, limits=LIMITS)


def test_the_gain_comes_from_patches_alone() -> None:
    before = np.array([[0.1, 0.1, 0.1], [0.5, 0.5, 0.4]])
    assert patch_gain(before, before / [1.05, 0.95, 1]).tolist() == pytest.approx([1.05, 0.95, 1])
    with pytest.raises(ValueError, match="at least one"):
        patch_gain([], [])
    with pytest.raises(ValueError, match="no light"):
        patch_gain([[0.1]], [[0.0]])


@pytest.mark.parametrize(
    ("matrix", "words"),
    [
        ([[1, 0], [0, 1]], "three rows of three"),
        ("nonsense", "three rows of three"),
        ([[1, 0, 0], [0, float("nan"), 0], [0, 0, 1]], "no numbers"),
        ([[1, 0, 0], [1, 0, 0], [0, 0, 1]], "folds the picture flat"),
        ([[1, 0, 0], [0, 1, 0], [0, 0, 0]], "folds the picture flat"),
    ],
)
def test_a_matrix_that_carries_nothing_is_refused(matrix: Any, words: str) -> None:
    with pytest.raises(ValueError, match=words):
        as_matrix(matrix)


def test_pictures_of_two_shapes_are_refused() -> None:
    one = np.zeros((4, 4), np.float32)
    with pytest.raises(ValueError, match="must have one shape"):
        changes_of(one, np.zeros((4, 5), np.float32), residual_px=0, limits=LIMITS)
    with pytest.raises(ValueError, match="residual must be 0 px or more"):
        changes_of(one, one, residual_px=float("nan"), limits=LIMITS)


def test_the_inputs_stay_as_they_were() -> None:
    before, after, known = light(Technique.FLASH)
    kept = before.copy(), after.copy()
    change_map(
        before, after, inside=known, residual_px=0.2, px_per_mm=3, floor=FLOOR, limits=LIMITS
    )
    assert np.array_equal(kept[0], before)
    assert np.array_equal(kept[1], after)


def test_the_screen_shows_what_the_working_profile_means() -> None:
    """Against the generator's own conversion, which goes another way (RGB to RGB)."""
    exposure = scenes.shots(Technique.FLASH).before
    ours = to_screen(((exposure.pixels / 65535) ** 2 @ RGB_TO_XYZ.T).astype(np.float32))
    theirs = screen_of_frame(exposure.pixels)
    assert np.abs(ours.astype(int) - theirs).max() <= 2


def test_an_exported_comparison_carries_its_sentence() -> None:
    before, after, known = light(Technique.INFRARED)
    changed = after.copy()
    changed[100:160, 100:160] *= 0.5
    found = change_map(
        before, changed, inside=known, residual_px=0.1, px_per_mm=3, floor=10, limits=LIMITS
    )
    panels = [Panel(to_screen(before), "Before"), Panel(draw_map(found, before), "What changed")]
    bare = sheet(panels, "")
    told = sheet(panels, "Grade B: the lamps were replaced; differences under 10 % …")
    assert told.shape[0] > bare.shape[0]
    band = told[-(told.shape[0] - bare.shape[0]) :]
    assert (band > 200).any()
    with pytest.raises(ValueError, match="one height"):
        sheet([replace(panels[0], picture=panels[0].picture[:-1]), panels[1]], "Grade A.")
    assert plain("ΔE00 · Zoë") == "dE00 . Zoe"


def paint(seed: int = 2, size: int = 300) -> Any:
    """Even paint with some noise, XYZ."""
    rng = np.random.default_rng(seed)
    grey = 0.2 * np.array([0.9642, 1, 0.8249], np.float32)
    return (grey * (1 + rng.normal(0, 0.01, (size, size, 1)))).astype(np.float32)


def test_small_strong_losses_are_marked_and_noise_is_not() -> None:
    """Sixty losses of a millimetre at 5 px/mm, far smaller than the window that votes."""
    rng = np.random.default_rng(9)
    before, after = paint(1), paint(2)
    known = np.ones(before.shape[:2], bool)
    told: dict[str, Any] = {"inside": known, "residual_px": 0.1, "px_per_mm": 5, "floor": FLOOR}
    assert change_map(before, after, **told, limits=LIMITS).marked_share < 0.0005
    lost = np.zeros(known.shape, np.uint8)
    for x, y in rng.uniform(10, 290, (60, 2)):
        cv2.circle(lost, (round(x), round(y)), 2, 1, -1)
    after[lost > 0] = (0.8, 0.83, 0.68)
    found = change_map(before, after, **told, limits=LIMITS)
    assert found.marked[lost > 0].mean() > 0.95
    near = cv2.dilate(lost, np.ones((9, 9), np.uint8)) > 0
    assert not (found.marked & ~near).any()


def test_what_is_saturated_in_both_is_hatched_and_said() -> None:
    before = paint(1)
    before[100:160, 100:200] = (0.9642, 1, 0.8249)
    known = np.ones(before.shape[:2], bool)
    bright = before[..., 1] >= LIMITS.saturated_level
    found = change_map(
        before, before, inside=known, residual_px=0.1, px_per_mm=5, floor=FLOOR, limits=LIMITS,
        saturated=bright,
    )  # fmt: skip
    assert found.hatched[105:155, 105:195].all()
    assert found.saturated_share == pytest.approx(60 * 100 / known.size)
    assert "saturated in one picture" in legend_of(found)
