"""Set-up recall: numbers from a test frame, on rendered scenes whose offsets are known."""

from __future__ import annotations

import numpy as np
import pytest

from imaging_requests.imaging.comparison.recall import (
    Measured,
    Part,
    Tolerances,
    Wanted,
    advise,
    tilt_from_keystone_deg,
)
from tests.benchmarks import recall_accuracy as rendered

NEAR = Tolerances(distance_mm=5, tilt_deg=0.1, exposure_ev=0.07, elevation_deg=1)


@pytest.mark.parametrize(
    "offset",
    [
        rendered.Offset(distance_mm=-34, tilt_deg=0.6, exposure_ev=-0.3, elevation_deg=0.7),
        rendered.Offset(distance_mm=50, tilt_deg=-0.9, exposure_ev=0.4, elevation_deg=-2),
        rendered.Offset(distance_mm=4, tilt_deg=0.05, exposure_ev=0.02, elevation_deg=3),
    ],
)
def test_a_rendered_frame_tells_its_offsets(offset: rendered.Offset) -> None:
    distance, tilt, exposure, elevation = rendered.errors(offset, seed=1)
    assert abs(distance) <= 3
    assert abs(tilt) <= 0.1
    assert abs(exposure) <= 0.05
    assert abs(elevation) <= 0.5


def test_three_rounds_lead_back_to_grade_a() -> None:
    rng = np.random.default_rng(5)
    rounds = [rendered.rounds_to_grade_a(rng) for _ in range(600)]
    assert np.mean(np.array(rounds) <= 3) >= 0.95


def test_the_worked_example() -> None:
    told = advise(
        Measured(px_per_mm=12.17, keystone=0.004, level=0.2, shadow_mm=52.9),
        Wanted(
            px_per_mm=12,
            distance_mm=2400,
            height_mm=920,
            level=0.2 * 2**0.3,
            elevation_deg=10,
            lamp_distance_mm=3000,
            pin_mm=10,
        ),
        Tolerances(distance_mm=5, tilt_deg=0.1, exposure_ev=0.07, elevation_deg=0.5),
    )
    assert [each.sentence for each in told] == [
        "Move the camera 34 mm back.",
        "Tip the easel top 0.6° towards you.",
        "Expose +0.3 EV.",
        "Set the lamp 38 mm lower: it stands at 10.7° instead of 10.0°.",
    ]
    assert [each.part for each in told] == [Part.DISTANCE, Part.TILT, Part.EXPOSURE, Part.LAMP]


def test_what_is_near_enough_is_said_to_be_right() -> None:
    told = advise(
        Measured(px_per_mm=12.01, keystone=0.0, side_keystone=0.0, level=0.2, shadow_mm=56.7),
        Wanted(
            px_per_mm=12,
            distance_mm=2400,
            height_mm=920,
            width_mm=740,
            level=0.2,
            elevation_deg=10,
            lamp_distance_mm=3000,
            pin_mm=10,
        ),
        NEAR,
    )
    assert len(told) == 5
    assert all(each.is_good for each in told)
    assert all("right" in each.sentence or "square" in each.sentence for each in told)


def test_the_other_way_round() -> None:
    told = advise(
        Measured(px_per_mm=11.9, keystone=-0.004, side_keystone=0.005, level=0.4, shadow_mm=70),
        Wanted(
            px_per_mm=12,
            distance_mm=2400,
            height_mm=920,
            width_mm=740,
            level=0.2,
            elevation_deg=10,
            lamp_distance_mm=3000,
            pin_mm=10,
        ),
        NEAR,
    )
    assert [each.sentence for each in told] == [
        "Move the camera 20 mm closer.",
        "Tip the easel top 0.6° away from you.",
        "Turn the easel's left side 0.9° towards you.",
        "Expose −1.0 EV.",
        "Set the lamp 100 mm higher: it stands at 8.1° instead of 10.0°.",
    ]


def test_nothing_measured_is_no_advice() -> None:
    assert advise(Measured(), Wanted(distance_mm=2400, px_per_mm=12), NEAR) == ()


def test_numbers_that_make_no_sense_are_refused_by_name() -> None:
    with pytest.raises(ValueError, match="measured density must be above zero"):
        advise(Measured(px_per_mm=0), Wanted(distance_mm=2400, px_per_mm=12), NEAR)
    with pytest.raises(ValueError, match="cannot come from a tilt"):
        tilt_from_keystone_deg(0.9, 2400, 920)
    with pytest.raises(ValueError, match="between 0 and 90"):
        advise(Measured(), Wanted(distance_mm=2400, elevation_deg=90), NEAR)


def test_a_frame_without_its_strip_says_so() -> None:
    blank = np.full((400, 400), 0.2, np.float32)
    found = rendered.read(blank)
    assert found.measured == Measured()
    assert "was not found within 8 mm" in found.reason
