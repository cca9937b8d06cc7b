"""Tile counts, depth of field, exposure and dose against published rules and worked numbers.

Sources are named at each check. Counts are exact; other tolerances come from the rounding of the
printed number.
"""

import math

import pytest

from imaging_requests.reckoning.shots.dose import flash_lxs
from imaging_requests.reckoning.shots.focus import depth_of_field_mm, focus_slices
from imaging_requests.reckoning.shots.geometry import FrameShape, plan_tiles, tiles_along
from imaging_requests.reckoning.shots.raking import fall_off_ev, gauge_shadow_mm
from imaging_requests.reckoning.shots.words import MM_PER_INCH, opposite_azimuth_deg


class TestTileRule:
    """n = 1 if D ≤ F else ceil((D − F)/(F − o)) + 1, the usual rule for a row of overlapping
    frames; the exact fit 100/60/20 must stay 2."""

    @pytest.mark.parametrize(
        ("length", "field", "overlap", "count"),
        [
            (60, 60, 20, 1),
            (100, 60, 20, 2),
            (101, 60, 20, 3),
            (1200, 295, 59, 5),
            (900, 393, 78.6, 3),
            (1200, 601.3, 120.26, 3),
            (900, 450.9, 90.18, 3),
            (1000, 64, 16, 21),
            (800, 51.2, 12.8, 21),
        ],
    )
    def test_one_axis(self, length, field, overlap, count):
        assert tiles_along(length, field, field - overlap) == count

    @pytest.mark.parametrize("length", range(61, 400))
    def test_against_laying_frames_one_by_one(self, length):
        """Independent: put frames down until the end is reached."""
        reached, frames = 60, 1
        while reached < length:
            reached, frames = reached + 40, frames + 1
        assert tiles_along(length, 60, 40) == frames


class TestFieldOfView:
    """Field in mm = pixels ÷ (ppi ÷ 25.4); a 14,204 × 10,652 px back at 600 ppi covers
    601.3 × 450.9 mm (arithmetic of the FADGI 2016 definition of resolution)."""

    @pytest.mark.parametrize(
        ("ppi", "px_per_mm"),
        [(150, 5.906), (300, 11.811), (400, 15.748), (500, 19.685), (600, 23.622), (1200, 47.244)],
    )
    def test_ppi_and_px_per_mm(self, ppi, px_per_mm):
        assert ppi / MM_PER_INCH == pytest.approx(px_per_mm, abs=0.0005)

    def test_field_of_a_camera_back(self):
        back = FrameShape(size=(14204, 10652), is_plate=False, overlap=0.2)
        landscape, portrait = back.fields_mm(600 / MM_PER_INCH)
        assert landscape == pytest.approx((601.3, 450.9), abs=0.05)
        assert portrait == pytest.approx((450.9, 601.3), abs=0.05)

    def test_nine_frames_cover_1200_by_900_and_eight_with_the_camera_turned(self):
        back = FrameShape(size=(14204, 10652), is_plate=False, overlap=0.2)
        across, down = back.fields_mm(600 / MM_PER_INCH)[0]
        lying = [tiles_along(side, f, 0.8 * f) for side, f in ((1200, across), (900, down))]
        assert lying == [3, 3]
        plan = plan_tiles(1200, 900, frame=back, px_per_mm=600 / MM_PER_INCH)
        assert (plan.across, plan.down, plan.orientation) == (4, 2, "portrait")

    def test_441_frames_of_a_small_infrared_sensor(self):
        sensor = FrameShape(size=(640, 512), is_plate=False, overlap=0.25)
        assert plan_tiles(1000, 800, frame=sensor, px_per_mm=10).count == 441


class TestPlates:
    """Radiograph of a 72 × 57 cm canvas with a 13 × 18 cm detector (size and detector as
    published by a university research group); and storage plates of 35 × 43 cm."""

    def test_turning_the_detector_saves_one_exposure(self):
        detector = FrameShape(
            size=(130, 180), is_plate=True, overlap=10, orientations=("upright", "sideways")
        )
        plan = plan_tiles(720, 570, frame=detector, px_per_mm=10)
        upright = tiles_along(720, 130, 120) * tiles_along(570, 180, 170)
        sideways = tiles_along(720, 180, 170) * tiles_along(570, 130, 120)
        assert sorted((upright, sideways)) == [24, 25]
        assert plan.count == 24

    @pytest.mark.parametrize(
        ("width", "height", "across", "down"), [(650, 500, 2, 2), (930, 310, 3, 1)]
    )
    def test_storage_plates(self, width, height, across, down):
        plate = FrameShape(size=(350, 430), is_plate=True, overlap=20)
        plan = plan_tiles(width, height, frame=plate, px_per_mm=10)
        assert plan.count == across * down


class TestDepthOfField:
    """Total depth of copy work 2Nc(1 + m)/m², the standard close-range form."""

    @pytest.mark.parametrize(
        ("magnification", "aperture", "circle_mm", "depth"),
        [(0.1, 8, 0.0092, 16.19), (0.0625, 8, 0.0092, 40.04), (0.1, 11, 0.0092, 22.26),
         (0.25, 5.6, 0.015, 3.36)],
    )  # fmt: skip
    def test_worked_numbers(self, magnification, aperture, circle_mm, depth):
        pitch_um = circle_mm * 1000 / 2
        found = depth_of_field_mm(
            magnification / (pitch_um / 1000), pitch_um=pitch_um, aperture=aperture, circle_px=2
        )
        assert found == pytest.approx(depth, abs=0.005)

    @pytest.mark.parametrize("focal_mm", [80, 120])
    @pytest.mark.parametrize("px_per_mm", [6, 12, 24])
    def test_against_near_and_far_limits_by_the_hyperfocal_distance(self, focal_mm, px_per_mm):
        """H = f²/(N·c) + f; near = s(H − f)/(H + s − 2f); far = s(H − f)/(H − s)."""
        aperture, pitch_mm = 8, 0.00376
        circle, magnification = 2 * pitch_mm, pitch_mm * px_per_mm
        distance = focal_mm * (1 + 1 / magnification)
        hyperfocal = focal_mm**2 / (aperture * circle) + focal_mm
        near = distance * (hyperfocal - focal_mm) / (hyperfocal + distance - 2 * focal_mm)
        far = distance * (hyperfocal - focal_mm) / (hyperfocal - distance)
        found = depth_of_field_mm(px_per_mm, pitch_um=3.76, aperture=8, circle_px=2)
        assert found == pytest.approx(far - near, rel=0.01)

    def test_a_bow_of_600_mm_over_a_radius_of_3000_is_just_covered(self):
        """Sagitta R − √(R² − C²/4)."""
        bow = 3000 - math.sqrt(3000**2 - 600**2 / 4)
        assert bow == pytest.approx(15.04, abs=0.005)
        assert focus_slices(bow, 16.19) == 1
        assert focus_slices(bow, 3.36) == 5


class TestLight:
    """3,600 lx·s are 1 lx·h, and the inverse square law (light-dose notes for museums)."""

    def test_ten_flashes_cost_less_than_one_lux_hour(self):
        one = flash_lxs(8, 100, constant=250)
        assert one == 160
        assert 10 * one / 3600 < 1

    def test_one_stop_of_aperture_doubles_the_exposure(self):
        ratio = flash_lxs(8 * math.sqrt(2), 100, constant=250) / flash_lxs(8, 100, constant=250)
        assert ratio == pytest.approx(2)

    def test_twice_the_distance_costs_two_stops(self):
        assert fall_off_ev(1000, 1000) == 2

    @pytest.mark.parametrize(
        ("relief", "angle", "shadow"),
        [(0.1, 5, 1.143), (0.1, 10, 0.567), (0.1, 15, 0.373), (0.1, 30, 0.173)],
    )
    def test_shadow_length_of_relief(self, relief, angle, shadow):
        assert gauge_shadow_mm(relief, angle) == pytest.approx(shadow, abs=0.0005)


@pytest.mark.parametrize(("back", "front"), [(270, 90), (90, 270), (0, 0), (180, 180)])
def test_raking_from_the_left_of_the_back_comes_from_the_right_of_the_front(back, front):
    assert opposite_azimuth_deg(back) == front
    assert opposite_azimuth_deg(front) == back
