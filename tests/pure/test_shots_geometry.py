"""Tile plans hold for every size: they cover, never shrink with density, try both orientations."""

import math
from itertools import pairwise

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from imaging_requests.reckoning.shots.focus import focus_slices
from imaging_requests.reckoning.shots.geometry import (
    FrameShape,
    near_miss_density,
    plan_tiles,
    tile_rectangles,
    tiles_along,
)
from imaging_requests.reckoning.shots.minutes import with_reserve
from imaging_requests.reckoning.shots.outline import touches

BAY = FrameShape(size=(11600, 8700), is_plate=False, overlap=0.2)
LIMITED = FrameShape(size=(11600, 8700), is_plate=False, overlap=0.2, limit_mm=1500)
STAND = FrameShape(size=(4096, 4096), is_plate=False, overlap=0.15)
PLATE = FrameShape(size=(350, 430), is_plate=True, overlap=25, orientations=("upright", "sideways"))
CAMERAS = st.sampled_from([BAY, LIMITED, STAND])
FRAMES = st.sampled_from([BAY, LIMITED, STAND, PLATE])
LENGTHS = st.one_of(
    st.integers(min_value=40, max_value=5000).map(float),
    st.floats(min_value=40, max_value=5000, allow_nan=False),
)
DENSITIES = st.sampled_from([24.0, 12.0, 8.0, 6.0, 5.0, 4.0, 3.0, 11.83, 7.81])


@given(LENGTHS, LENGTHS, FRAMES, DENSITIES)
@settings(max_examples=300, deadline=None)
def test_tiles_cover_the_area_with_at_least_the_planned_overlap(width, height, frame, density):
    plan = plan_tiles(width, height, frame=frame, px_per_mm=density)
    rectangles = dict(tile_rectangles(plan, width, height))
    assert len(rectangles) == plan.across * plan.down == plan.count
    for axis, length, count in ((0, width, plan.across), (1, height, plan.down)):
        spans = sorted({(r[axis], r[axis + 2]) for r in rectangles.values()})
        assert len(spans) == count
        assert spans[0][0] <= 1e-6
        assert spans[-1][1] >= length - 1e-6
        field = plan.field_mm[axis]
        least = field - frame.step_mm(field)
        for before, after in pairwise(spans):
            assert before[1] - after[0] >= least - 1e-6


@given(LENGTHS, LENGTHS, FRAMES, DENSITIES)
@settings(max_examples=300, deadline=None)
def test_one_tile_fewer_on_either_axis_would_not_cover(width, height, frame, density):
    plan = plan_tiles(width, height, frame=frame, px_per_mm=density)
    for length, count, field in (
        (width, plan.across, plan.field_mm[0]),
        (height, plan.down, plan.field_mm[1]),
    ):
        reach = field + (count - 2) * frame.step_mm(field)
        assert count == 1 or reach < length


@given(LENGTHS, LENGTHS, FRAMES, DENSITIES, st.floats(min_value=1, max_value=3))
@settings(max_examples=300, deadline=None)
def test_more_density_never_needs_fewer_tiles(width, height, frame, density, factor):
    now = plan_tiles(width, height, frame=frame, px_per_mm=density)
    finer = plan_tiles(width, height, frame=frame, px_per_mm=density * factor)
    assert finer.count >= now.count


@given(LENGTHS, LENGTHS, FRAMES, DENSITIES)
@settings(max_examples=300, deadline=None)
def test_both_orientations_are_tried_and_a_tie_goes_to_the_first(width, height, frame, density):
    def count(field):
        return math.prod(
            tiles_along(length, side, frame.step_mm(side))
            for length, side in zip((width, height), field, strict=True)
        )

    first, second = (count(field) for field in frame.fields_mm(density))
    plan = plan_tiles(width, height, frame=frame, px_per_mm=density)
    assert plan.count == min(first, second)
    assert plan.orientation == frame.orientations[0 if first <= second else 1]
    turned = plan_tiles(height, width, frame=frame, px_per_mm=density)
    assert turned.count == plan.count


@given(LENGTHS, LENGTHS, CAMERAS, DENSITIES)
@example(780, 1020, BAY, 12.0)
@example(3940, 2750, BAY, 6.0)
@example(760, 970, STAND, 8.0)
@settings(max_examples=150, deadline=None)
def test_the_near_miss_equals_a_scan_in_fine_steps(width, height, frame, density):
    def count(at):
        return plan_tiles(width, height, frame=frame, px_per_mm=at).count

    now, scanned = count(density), None
    for step in range(1, 1001):
        at = density * (1 - step / 10000)
        if count(at) < now:
            scanned = at
            break
    found = near_miss_density(width, height, frame=frame, px_per_mm=density, largest_reduction=0.1)
    if found is None:
        assert scanned is None
        return
    exact, then = found
    assert density * 0.9 <= exact < density
    assert then.count == count(exact) < now
    assert scanned is None or scanned <= exact <= scanned + density / 10000 + 1e-9
    if scanned is None:
        assert exact - density * 0.9 < density / 10000, "only in the last half step of the scan"


def test_plates_have_no_density_to_lower():
    arguments = {"frame": PLATE, "px_per_mm": 10, "largest_reduction": 0.1}
    assert near_miss_density(760, 940, **arguments) is None


@pytest.mark.parametrize(("length", "count"), [(60, 1), (60.0000001, 2), (100, 2), (101, 3)])
def test_an_exact_fit_is_not_pushed_up_by_the_last_binary_digit(length, count):
    assert tiles_along(length, 60, 40) == count


def test_tenths_that_are_not_binary_still_fit_exactly():
    assert tiles_along(0.1 + 0.2, 0.3, 0.2) == 1
    assert tiles_along(0.3 + 3 * 0.1, 0.3, 0.1) == 4


def test_neither_reserve_nor_slices_are_pushed_up_by_the_last_binary_digit():
    assert 50 * 1.1 > 55, "the binary product lies just above"
    assert with_reserve(50, factor=1.1, round_up_to=5) == 55
    assert 3 * 0.1 / 0.1 > 3
    assert focus_slices(3 * 0.1, 0.1) == 3


def test_an_overlap_as_large_as_the_field_is_refused():
    with pytest.raises(ValueError, match="would not advance"):
        tiles_along(500, 60, 0)


class TestOutlines:
    DISC = tuple(
        (1000 + 1000 * math.cos(a * math.pi / 90), 1000 + 1000 * math.sin(a * math.pi / 90))
        for a in range(180)
    )

    def test_corners_of_a_tondo_that_no_tile_needs_are_left_out(self):
        plan = plan_tiles(2000, 2000, frame=STAND, px_per_mm=16, outline_mm=self.DISC)
        full = plan_tiles(2000, 2000, frame=STAND, px_per_mm=16)
        assert (full.across, full.down) == (plan.across, plan.down) == (10, 10)
        assert set(plan.empty) >= {(0, 0), (9, 0), (0, 9), (9, 9)}
        assert plan.count == 100 - len(plan.empty)

    def test_every_point_of_the_outline_lies_in_a_tile_that_is_shot(self):
        plan = plan_tiles(2000, 2000, frame=STAND, px_per_mm=16, outline_mm=self.DISC)
        shot = [r for index, r in tile_rectangles(plan, 2000, 2000) if index not in plan.empty]
        for x, y in self.DISC:
            assert any(
                left <= x <= right and top <= y <= bottom for left, top, right, bottom in shot
            )

    def test_a_rectangle_as_outline_changes_nothing(self):
        box = ((0.0, 0.0), (2000.0, 0.0), (2000.0, 1500.0), (0.0, 1500.0))
        assert plan_tiles(2000, 1500, frame=BAY, px_per_mm=12, outline_mm=box) == plan_tiles(
            2000, 1500, frame=BAY, px_per_mm=12
        )

    def test_a_tile_in_a_notch_is_not_needed(self):
        notched = ((0, 0), (100, 0), (100, 100), (60, 100), (60, 60), (40, 60), (40, 100), (0, 100))
        assert not touches(notched, (42, 70, 58, 100))
        assert touches(notched, (30, 70, 45, 100))
