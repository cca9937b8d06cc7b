"""Twelve tile vectors: counts, layout, orientation and raking brackets by size."""

import pytest

from tests.pure.shot_samples import facts, shot_list

# width, height, VIS px/mm, then VIS, RK, UV, IR, XR tiles (across, down), RK-L and RK-T exposures
VECTORS = [
    (180, 240, 24, (1, 1), (1, 1), (1, 1), (1, 1), (1, 1), 3, 3),
    (250, 330, 24, (1, 1), (1, 1), (1, 1), (1, 1), (1, 1), 3, 3),
    (400, 300, 24, (1, 2), (1, 1), (1, 1), (1, 1), (1, 1), 3, 3),
    (401, 300, 12, (1, 1), (1, 1), (1, 1), (1, 1), (1, 1), 3, 3),
    (740, 920, 12, (1, 2), (1, 1), (1, 1), (2, 3), (2, 3), 3, 3),
    (560, 1480, 12, (1, 2), (1, 1), (1, 2), (2, 4), (2, 4), 3, 5),
    (1210, 880, 12, (2, 2), (1, 1), (1, 1), (3, 2), (3, 3), 3, 3),
    (1340, 1020, 12, (2, 2), (1, 1), (1, 1), (3, 3), (5, 3), 5, 3),
    (1500, 1000, 12, (2, 2), (1, 1), (2, 1), (4, 3), (5, 3), 5, 3),
    (1501, 1000, 8, (2, 1), (1, 1), (2, 1), (3, 2), (5, 3), 3, 3),
    (2100, 1600, 8, (2, 2), (1, 1), (2, 2), (3, 3), (7, 4), 5, 3),
    (3900, 2650, 6, (4, 2), (2, 1), (4, 3), (6, 4), (12, 7), 5, 5),
]
ORIENTATIONS = {
    (250, 330): ("VF-F", "portrait"),
    (740, 920): ("XR", "sideways"),
    (560, 1480): ("VF-F", "portrait"),
    (1501, 1000): ("VF-F", "portrait"),
    (3900, 2650): ("VF-F", "portrait"),
}


@pytest.mark.parametrize("vector", VECTORS, ids=lambda v: f"{v[0]}x{v[1]}")
def test_tiles_and_brackets_of_a_canvas(vector):
    width, height, density, vis, rk, uv, ir, xr, left, top = vector
    answer = shot_list(facts(width_mm=width, height_mm=height))
    views = {view.view: view for view in answer.views}
    assert views["VF-F"].px_per_mm == views["VC-F"].px_per_mm == density
    assert views["RK-F-L"].px_per_mm == views["UV-F"].px_per_mm == density / 2
    codes = ("VF-F", "RK-F-L", "UV-F", "IR-F", "XR")
    assert tuple(views[code].tiles for code in codes) == (vis, rk, uv, ir, xr)
    assert views["VC-F"].tiles == vis
    assert views["RK-F-T"].tiles == rk
    assert len(views["RK-F-L"].exposures_ev) == left
    assert len(views["RK-F-T"].exposures_ev) == top


@pytest.mark.parametrize("size", ORIENTATIONS, ids=lambda s: f"{s[0]}x{s[1]}")
def test_the_smaller_count_decides_the_orientation(size):
    code, orientation = ORIENTATIONS[size]
    answer = shot_list(facts(width_mm=size[0], height_mm=size[1]))
    assert answer.view(code).orientation == orientation


def test_a_tie_goes_to_landscape_and_to_upright():
    answer = shot_list(facts(width_mm=180, height_mm=240))
    assert answer.view("VF-F").orientation == "landscape"
    assert answer.view("XR").orientation == "upright"


@pytest.mark.parametrize(("below", "above"), [(400, 401), (1500, 1501)])
def test_one_millimetre_over_a_class_limit_is_cheaper_and_is_said(below, above):
    smaller = shot_list(facts(width_mm=below, height_mm=300))
    larger = shot_list(facts(width_mm=above, height_mm=300))
    assert larger.view("VF-F").px_per_mm < smaller.view("VF-F").px_per_mm
    for answer in (smaller, larger):
        assert any("class limit" in note and "Pin the density" in note for note in answer.notes)


def test_a_pinned_density_outlives_a_new_measurement():
    pinned = facts(width_mm=401, height_mm=300, pinned_px_per_mm={"vis": 24})
    answer = shot_list(pinned)
    assert (answer.view("VF-F").px_per_mm, answer.view("VF-F").tiles) == (24, (1, 2))
    assert answer.view("RK-F-L").px_per_mm == 12
    assert answer.view("IR-F").px_per_mm == 8


@pytest.mark.parametrize(("long_side", "infrared", "lamp"), [(1500, 8, 3000), (1501, 5, 4000)])
def test_infrared_density_and_lamp_distance_change_at_1500_mm(long_side, infrared, lamp):
    answer = shot_list(facts(width_mm=long_side, height_mm=1000))
    assert answer.view("IR-F").px_per_mm == infrared
    assert answer.view("RK-F-L").lamp.distance_mm == lamp
