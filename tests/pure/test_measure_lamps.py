"""Filters, lamps, inks and rays: what went wrong is found, what cannot be read is not guessed."""

import json

import numpy as np
import pytest

from imaging_requests.imaging.comparison.set_up import Pair
from imaging_requests.imaging.comparison.targets import pair_by
from imaging_requests.imaging.files.verdicts import Outcome
from imaging_requests.imaging.measure.checks import check_frame
from imaging_requests.imaging.measure.frame import frame_from_array
from imaging_requests.imaging.measure.plan import Plan, Sight
from imaging_requests.imaging.measure.sets import check_ambient, check_bracket, check_warm_up
from imaging_requests.imaging.measure.traits import Traits
from imaging_requests.imaging.measure.traits_read import traits_of
from imaging_requests.imaging.measure.xray import dead_lines, is_inverted
from imaging_requests.imaging.synthesis import Direction, Lamp, Pose, Role, Technique
from tests.pure.measure_samples import PX_PER_MM, SPEC, as_frame, shoot, tools

SIDES = {"L": Direction.LEFT, "R": Direction.RIGHT, "T": Direction.TOP, "B": Direction.BOTTOM}
FACE = (SPEC.width_mm, SPEC.height_mm)

FACE_MM = (SPEC.width_mm, SPEC.height_mm)


def found(exposure, **plan):
    frame = as_frame(exposure)
    plan.setdefault("technique", exposure.truth.technique.value)
    return {each.rule_id: each for each in check_frame(frame, Plan(**plan), tools())}


class TestFluorescence:
    def test_clean_passes(self):
        seen = found(shoot(Technique.FLUORESCENCE), ev=0.0)
        rules = ("U1", "U4", "U5", "U6")
        assert [seen[rule].outcome for rule in rules] == [Outcome.PASS] * 4

    def test_a_forgotten_filter_is_named_and_says_until_when(self):
        until = "The painting is booked to leave the easel at 15:40."
        seen = found(shoot(Technique.FLUORESCENCE, has_barrier_filter=False), until=until)
        assert seen["U1"].outcome is Outcome.FAIL
        assert "violet" in seen["U1"].sentence
        assert "barrier filter" in seen["U1"].sentence
        assert seen["U1"].sentence.endswith(until)

    def test_room_light_is_told_from_a_filter(self):
        seen = found(shoot(Technique.FLUORESCENCE, room_light=0.4))
        assert seen["U1"].outcome is Outcome.FAIL
        assert "room light" in seen["U1"].sentence

    def test_an_overexposed_frame_cannot_tell(self):
        assert found(shoot(Technique.FLUORESCENCE, ev=2))["U1"].outcome is Outcome.CANNOT_TELL

    def test_without_the_strip_nobody_can_tell(self):
        seen = found(shoot(Technique.FLUORESCENCE, has_target=False))
        assert seen["U1"].outcome is Outcome.CANNOT_TELL
        assert "target strip" in seen["U1"].sentence

    def test_four_bright_points_of_a_small_frame_are_chance_and_those_of_a_large_one_are_not(self):
        encoding = as_frame(shoot(Technique.FLUORESCENCE)).encoding
        verdicts = []
        for rows, columns, points in ((255, 165, 4), (1020, 660, 80)):
            pixels = np.random.default_rng(3).normal(9000, 90, (rows, columns, 3))
            spots = np.random.default_rng(4).permutation((rows // 5) * (columns // 5))[:points]
            pixels[spots // (columns // 5) * 5 + 2, spots % (columns // 5) * 5 + 2] = 60000
            frame = frame_from_array(pixels.astype(np.uint16), encoding, clip=tools().clip())
            seen = {each.rule_id: each for each in check_frame(frame, Plan("UV"), tools())}
            verdicts.append(seen["U6"].outcome)
        assert verdicts == [Outcome.CANNOT_TELL, Outcome.FAIL]

    def test_uneven_lamps(self):
        exposure = shoot(Technique.FLUORESCENCE)
        ramp = np.sqrt(np.linspace(1.0, 0.45, exposure.pixels.shape[1]))[None, :, None]
        dimmed = (exposure.pixels * ramp).astype(np.uint16)
        frame = frame_from_array(dimmed, as_frame(exposure).encoding, clip=tools().clip())
        seen = {each.rule_id: each for each in check_frame(frame, Plan("UV"), tools())}
        assert seen["U5"].outcome is Outcome.FAIL

    def test_ambient_and_warm_up(self):
        lit = as_frame(shoot(Technique.FLUORESCENCE))
        dark = as_frame(shoot(Technique.FLUORESCENCE, role=Role.AMBIENT))
        light = as_frame(shoot(Technique.FLUORESCENCE, role=Role.AMBIENT, room_light=0.05))
        assert check_ambient(dark, lit, tools()).outcome is Outcome.PASS
        assert check_ambient(light, lit, tools()).outcome is Outcome.FAIL
        assert check_warm_up(0.40, 0.41, tools().rules).outcome is Outcome.PASS
        assert check_warm_up(0.40, 0.45, tools().rules).outcome is Outcome.FAIL


class TestRaking:
    @pytest.mark.parametrize("side", "LRTB")
    def test_each_side_is_read_and_its_opposite_refused(self, side):
        exposure = shoot(Technique.RAKING, direction=SIDES[side], lamp=Lamp(elevation_deg=9))
        opposite = {"L": "R", "R": "L", "T": "B", "B": "T"}[side]
        right = found(exposure, direction=side, elevation_deg=9.0)
        assert [right[rule].outcome for rule in ("R3", "R4", "R7")] == [Outcome.PASS] * 3
        wrong = found(exposure, direction=opposite)
        assert wrong["R3"].outcome is Outcome.FAIL
        assert "Declared" in wrong["R3"].sentence

    @pytest.mark.parametrize("degrees", [6.0, 8.0, 12.0, 16.0, 25.0])
    def test_elevation_to_a_quarter_degree(self, degrees):
        exposure = shoot(
            Technique.RAKING, direction=Direction.LEFT, lamp=Lamp(elevation_deg=degrees)
        )
        seen = found(exposure, direction="L", elevation_deg=degrees)["R4"]
        assert abs(seen.value) < 0.25

    def test_a_lamp_out_of_the_axis_and_light_from_elsewhere(self):
        exposure = shoot(
            Technique.RAKING,
            direction=Direction.RIGHT,
            lamp=Lamp(elevation_deg=14, azimuth_deg=93, leak=0.09),
        )
        seen = found(exposure, direction="R", elevation_deg=14.0)
        assert seen["R3"].value == pytest.approx(3, abs=0.5)
        assert seen["R7"].outcome is Outcome.FAIL

    def test_without_the_gauge_nobody_can_tell(self):
        exposure = shoot(Technique.RAKING, direction=Direction.LEFT, has_target=False)
        seen = found(exposure, direction="L")
        assert seen["R3"].outcome is Outcome.CANNOT_TELL


class TestInfrared:
    def test_clean_passes(self):
        seen = found(shoot(Technique.INFRARED))
        rules = ("I1", "I2", "I4", "I6")
        assert [seen[rule].outcome for rule in rules] == [Outcome.PASS] * 4

    def test_a_silicon_camera_still_sees_iron_gall_ink(self):
        from imaging_requests.imaging.synthesis import infrared_layout

        exposure = shoot(Technique.INFRARED)
        line = infrared_layout(SPEC).iron_gall_line
        to_px = np.linalg.inv(np.array(exposure.truth.px_to_face_mm))
        x, y = (to_px @ [line.x, line.y, 1])[:2].round().astype(int)
        right, low = (to_px @ [line.right, line.bottom, 1])[:2].round().astype(int)
        pixels = exposure.pixels.copy()
        pixels[y:low, x:right] = (0.65 * pixels[y:low, x:right]).astype(np.uint16)
        frame = frame_from_array(pixels, as_frame(exposure).encoding, clip=tools().clip())
        seen = {each.rule_id: each for each in check_frame(frame, Plan("IR"), tools())}
        assert seen["I6"].outcome is Outcome.FAIL
        assert "iron-gall ink is still visible" in seen["I6"].sentence.lower()

    def test_a_tone_curve_is_not_linear(self):
        exposure = shoot(Technique.INFRARED)
        curved = (np.sqrt(exposure.pixels / 65535) * 65535).astype(np.uint16)
        frame = frame_from_array(curved, as_frame(exposure).encoding, clip=tools().clip())
        seen = {each.rule_id: each for each in check_frame(frame, Plan("IR"), tools())}
        assert seen["I4"].outcome is Outcome.FAIL

    def test_dead_pixels(self):
        exposure = shoot(Technique.INFRARED)
        pixels = exposure.pixels.copy()
        rng = np.random.default_rng(9)
        at = rng.integers(0, pixels.size, int(0.0005 * pixels.size))
        pixels.reshape(-1)[at] = 65535
        frame = frame_from_array(pixels, as_frame(exposure).encoding, clip=tools().clip())
        seen = {each.rule_id: each for each in check_frame(frame, Plan("IR"), tools())}
        assert seen["I2"].outcome is Outcome.FAIL


class TestXRay:
    @pytest.mark.parametrize("is_detector", [False, True])
    def test_the_marker_proves_the_polarity(self, is_detector):
        exposure = shoot(Technique.X_RAY, plate=7, is_detector_polarity=is_detector, px_per_mm=4.0)
        true, false = "dense_bright", "dense_dark"
        if is_detector:
            true, false = false, true
        assert found(exposure, polarity=true)["X1"].outcome is Outcome.PASS
        assert found(exposure, polarity=false)["X1"].outcome is Outcome.FAIL
        assert found(exposure)["X1"].outcome is Outcome.CANNOT_TELL

    def test_without_a_marker_nothing_is_proven(self):
        exposure = shoot(Technique.X_RAY, px_per_mm=4.0)
        assert found(exposure, polarity="dense_bright")["X1"].outcome is Outcome.CANNOT_TELL

    def test_a_dead_column_and_the_inverted_plate(self):
        pixels = shoot(Technique.X_RAY, px_per_mm=3.0).pixels
        assert dead_lines(pixels / 65535) == (0, 0)
        broken = pixels.copy()
        broken[:, 300] = broken[:, 300] * 0.9
        assert dead_lines(broken / 65535) == (0, 1)
        framed = pixels.copy()
        rim = pixels.shape[0] // 12
        framed[rim:-rim, 300] = framed[rim:-rim, 300] * 0.9
        assert dead_lines(framed / 65535) == (0, 0), "a painted line ends before the plate does"
        assert is_inverted(pixels, 65535 - pixels, full_scale=65535) == 1.0
        assert is_inverted(pixels, 65534 - pixels, full_scale=65535) < 1.0


class TestBracket:
    def frames(self, technique, evs, **options):
        return [
            (ev, as_frame(shoot(technique, ev=ev, noise_seed=int(ev) + 9, **options))) for ev in evs
        ]

    def test_complete_and_in_steps(self):
        frames = self.frames(Technique.FLUORESCENCE, (-1.0, 0.0, 1.0))
        seen = check_bracket(frames, Plan("UV"), tools(), wanted_ev=(-1, 0, 1))
        assert [each.outcome for each in seen] == [Outcome.PASS] * 2

    def test_the_missing_exposure_is_named(self):
        frames = self.frames(Technique.RAKING, (-1.0, 0.0), direction=Direction.LEFT)
        seen = check_bracket(frames, Plan("RK", direction="L"), tools(), wanted_ev=(-1, 0, 1))
        assert seen[0].outcome is Outcome.FAIL
        assert "Exposure +1 is missing (have −1 and 0)" in seen[0].sentence

    def test_swapped_exposures_and_movement(self):
        one, two = self.frames(Technique.FLUORESCENCE, (-1.0, 0.0))
        swapped = check_bracket([(-1.0, two[1]), (0.0, one[1])], Plan("UV"), tools())
        assert swapped[0].outcome is Outcome.FAIL
        moved = as_frame(shoot(Technique.FLUORESCENCE, pose=Pose(shift_x_mm=0.8)))
        seen = check_bracket([one, (0.0, moved)], Plan("UV"), tools())
        assert seen[1].outcome is Outcome.FAIL
        assert seen[1].value == pytest.approx(2.0, abs=0.2)


def traits(technique, **options):
    """What is read of one synthetic frame to hold it against another."""
    plan = Plan(technique.value, direction="L", px_per_mm=PX_PER_MM, face_mm=FACE_MM)
    return traits_of(Sight(as_frame(shoot(technique, **options)), plan, tools()))


def test_what_is_kept_of_a_frame_is_what_it_was_shot_with():
    raking = traits(Technique.RAKING, direction=Direction.LEFT)
    assert raking.azimuth_deg == pytest.approx(270, abs=0.5)
    assert raking.elevation_deg == pytest.approx(10, abs=0.3)
    visible = traits(Technique.FLASH)
    assert visible.px_per_mm == pytest.approx(PX_PER_MM, rel=1e-3)
    width = np.ptp(np.array(visible.outline_mm)[:, 0])
    assert width == pytest.approx(SPEC.width_mm, abs=0.5)
    assert visible.chart == "strip-1"
    glow = traits(Technique.FLUORESCENCE)
    dimmer = traits(Technique.FLUORESCENCE, ev=-1)
    assert dimmer.glow_level / glow.glow_level == pytest.approx(0.5, rel=0.02)
    assert traits(Technique.INFRARED).ink_percent < 5
    kept = Traits.from_data(json.loads(json.dumps(visible.as_data())))
    assert kept == visible
    assert "glow_level" not in visible.as_data()


def test_charts_of_two_shoots_are_held_patch_against_patch():
    one, other = traits(Technique.FLASH), traits(Technique.FLASH, noise_seed=9)
    found = pair_by("VF", one, other, Pair())
    assert found.has_chart
    assert found.chart_delta_e < 0.2
    assert pair_by("VF", one, Traits(), Pair()) == Pair()


def test_a_frame_without_targets_keeps_nothing():
    blank = np.full((300, 400, 3), 9_000, np.uint16)
    frame = frame_from_array(blank, as_frame(shoot(Technique.FLASH)).encoding, clip=tools().clip())
    for technique in ("VF", "RK", "UV"):
        sight = Sight(frame, Plan(technique, px_per_mm=PX_PER_MM, face_mm=FACE_MM), tools())
        assert traits_of(sight).as_data() == {}
