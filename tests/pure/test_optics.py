"""Optics at the edges of its ranges: refusals in words, shapes, and the list of formulas."""

from __future__ import annotations

import math
from collections.abc import Callable
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest

from imaging_requests.imaging.optics import diffraction, dose, focus, lens, surface, x_ray
from imaging_requests.imaging.optics.formulas import FORMULAS


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: lens.hyperfocal_mm(50, 0, 0.03), "aperture must be above zero"),
        (lambda: lens.depth_limits_mm(50, 8, 0.03, 40), "no real image"),
        (lambda: lens.image_distance_mm(100, 100), "not farther away"),
        (lambda: lens.working_aperture(8, -0.1), "magnification must not be negative"),
        (lambda: diffraction.diffraction_mtf(-1, 550, 8), "frequency must not be negative"),
        (lambda: diffraction.airy_radius_um(math.nan, 8), "wavelength_nm must be above zero"),
        (lambda: focus.bow_mm(700, 300), "no chord of 700 mm"),
        (lambda: focus.stack_frames(20, 5, overlap=1), "overlap must lie between"),
        (lambda: x_ray.enlargement(1000, 1000), "does not lie between"),
        (lambda: x_ray.unsharpness_mm(1, 300, -1), "object_detector_mm must not be negative"),
        (lambda: dose.lamp_lxh(-1, 10), "illuminance_lx must be 0 or above"),
        (lambda: dose.book_sum_lxh([1, math.inf]), "line 2 must be 0 or above"),
        (lambda: surface.surface_normals(np.ones(2), np.eye(3)[:2]), "Three or more lights"),
        (lambda: surface.surface_normals(np.ones(2), np.eye(3)), "3 lights need as many pictures"),
    ],
)
def test_what_makes_no_sense_is_refused_by_name(call: Callable[[], object], words: str) -> None:
    with pytest.raises(ValueError, match=words):
        call()


def test_pictures_of_two_shapes_are_refused() -> None:
    with pytest.raises(ValueError, match="must have one shape"):
        surface.without_stray_light(
            np.ones((2, 2)), np.ones((3, 2)), visible_standard=1, luminescence_standard=0
        )


def test_contrast_falls_from_one_to_nothing() -> None:
    contrasts = [diffraction.diffraction_mtf(f, 550, 8) for f in np.linspace(0, 250, 60)]
    assert contrasts[0] == 1.0
    assert contrasts[-1] == 0.0
    assert all(a >= b for a, b in pairwise(contrasts))


def test_sharp_depth_shrinks_as_the_lens_opens() -> None:
    depths = [
        far - near
        for near, far in (lens.depth_limits_mm(120, n, 0.0075, 2400) for n in (5.6, 8, 11))
    ]
    assert depths == sorted(depths)


def test_a_stack_reaches_from_end_to_end() -> None:
    for warp in (5.0, 12.9, 16.0, 40.0):
        frames = focus.stack_frames(warp, 5.0, overlap=0.3)
        assert 5.0 + (frames - 1) * 0.7 * 5.0 >= warp - 1e-9
        assert frames == 1 or 5.0 + (frames - 2) * 0.7 * 5.0 < warp


def test_relief_of_a_whole_picture_with_shadowless_black() -> None:
    lights = np.array([(1, 0, 1), (0, 1, 1), (-1, 0, 1)]) / math.sqrt(2)
    seen = np.zeros((3, 4, 5))
    normals, albedo = surface.surface_normals(seen, lights)
    assert normals.shape == (4, 5, 3)
    assert albedo.shape == (4, 5)
    assert not normals.any()


def test_every_formula_stands_in_the_documentation() -> None:
    text = Path("docs/optics.md").read_text("utf-8")
    missing = [
        each.name for each in FORMULAS if each.name not in text or each.expression not in text
    ]
    assert missing == []
    assert all(each.unit and each.source for each in FORMULAS)
    assert {each.mark for each in FORMULAS} == {"published", "derived", "memory"}
