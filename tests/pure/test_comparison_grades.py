"""The grade of a before and after pair: each row at its limits, and the worst row decides."""

from __future__ import annotations

import json
from dataclasses import replace
from itertools import product
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from imaging_requests.imaging.comparison.grading import grade_pair, may_map
from imaging_requests.imaging.comparison.limits import GradeLimits, MapLimits
from imaging_requests.imaging.comparison.measured import take_measured
from imaging_requests.imaging.comparison.set_up import Pair, SetUp, SupportChange, widest_turn
from imaging_requests.imaging.comparison.terms import TECHNIQUES, Comparability
from imaging_requests.imaging.files.data_values import DataError

DATA = json.loads(Path("fixtures/checks/comparability-1.json").read_text("utf-8"))
LIMITS = GradeLimits.from_settings(DATA)
BEFORE = SetUp(
    camera="Bay One",
    camera_serial="B1",
    lens="Repro 120",
    lens_serial="L1",
    px_per_mm=12.0,
    tilt_deg=0.0,
    aperture=8,
    focus_mm=2400,
    light="flash",
    lamps=("head A, serial 1", "head B, serial 2"),
    azimuths_deg=(300, 60),
    elevation_deg=10,
    polarisation="crossed",
    lamp_filter="365-A",
    barrier_filter="420-B",
    band_nm=(900, 1700),
    sensor="InGaAs",
    voltage_kv=30,
    charge_mas=10,
    polarity="negative",
    is_framed=False,
)
PAIR = Pair(chart_delta_e=0.4, has_chart=True, patch_percent=2, support=SupportChange.NONE)


def grade(technique: str, pair: Pair = PAIR, **changes: Any) -> str:
    after = replace(BEFORE, **changes)
    return grade_pair(technique, BEFORE, after, pair, limits=LIMITS).grade.value


@pytest.mark.parametrize("technique", TECHNIQUES)
def test_a_repeated_set_up_is_measurable(technique: str) -> None:
    assert grade(technique) == "A"


CASES: list[tuple[str, dict[str, Any], str]] = [
    ("VF", {"camera_serial": "B2"}, "B"),
    ("VF", {"camera_serial": "B2", "camera": "Bay Two"}, "C"),
    ("VF", {"lens_serial": "", "lens": ""}, "C"),
    ("VF", {"px_per_mm": 12.06}, "A"),
    ("VF", {"px_per_mm": 12.07}, "B"),
    ("VF", {"px_per_mm": 12.36}, "B"),
    ("VF", {"px_per_mm": 12.4}, "C"),
    ("VF", {"px_per_mm": 6.0}, "C"),
    ("VF", {"px_per_mm": 5.9}, "N"),
    ("VF", {"px_per_mm": 24.2}, "N"),
    ("VF", {"tilt_deg": 0.1}, "A"),
    ("VF", {"tilt_deg": -0.5}, "B"),
    ("VF", {"tilt_deg": 0.51}, "C"),
    ("VF", {"focus_mm": 2405}, "A"),
    ("VF", {"focus_mm": 2420}, "B"),
    ("VF", {"focus_mm": 2421}, "C"),
    ("VF", {"aperture": 11}, "B"),
    ("VF", {"aperture": 16}, "C"),
    ("VF", {"azimuths_deg": (65, 295)}, "A"),
    ("VF", {"azimuths_deg": (75, 300)}, "B"),
    ("VF", {"azimuths_deg": (80, 300)}, "C"),
    ("VF", {"elevation_deg": 25}, "B"),
    ("VF", {"lamps": ("head C, serial 7", "head D, serial 8")}, "A"),
    ("VF", {"lamps": ("panel C, serial 7", "panel D, serial 8")}, "C"),
    ("VF", {"light": "continuous"}, "C"),
    ("VF", {"polarisation": "none"}, "N"),
    ("VF", {"is_framed": True}, "B"),
    ("VC", {"is_framed": None}, "C"),
    ("RK", {"elevation_deg": 11}, "A"),
    ("RK", {"elevation_deg": 13}, "B"),
    ("RK", {"elevation_deg": 13.1}, "C"),
    ("RK", {"azimuths_deg": (315,)}, "B"),
    ("RK", {"azimuths_deg": (330,)}, "C"),
    ("RK", {"azimuths_deg": (30,)}, "N"),
    ("UV", {"lamps": ("head A, serial 9", "head B, serial 2")}, "B"),
    ("UV", {"barrier_filter": "390-C"}, "C"),
    ("UV", {"barrier_filter": "none"}, "N"),
    ("UV", {"barrier_filter": ""}, "C"),
    ("IR", {"band_nm": (925, 1700)}, "A"),
    ("IR", {"band_nm": (900, 1625)}, "B"),
    ("IR", {"band_nm": (1000, 1700)}, "C"),
    ("IR", {"sensor": "silicon"}, "N"),
    ("XR", {"voltage_kv": 31}, "A"),
    ("XR", {"voltage_kv": 33}, "B"),
    ("XR", {"voltage_kv": 34}, "C"),
    ("XR", {"charge_mas": 11}, "A"),
    ("XR", {"charge_mas": 13}, "B"),
    ("XR", {"charge_mas": 6.9}, "C"),
    ("XR", {"camera_serial": "B2"}, "C"),
    ("XR", {"polarity": "unknown"}, "N"),
]


@pytest.mark.parametrize(("technique", "changes", "expected"), CASES)
def test_each_row_at_its_limits(technique: str, changes: dict[str, Any], expected: str) -> None:
    assert grade(technique, **changes) == expected


@pytest.mark.parametrize(
    ("technique", "changes", "expected"),
    [
        ("VF", {"chart_delta_e": 1.0}, "A"),
        ("VF", {"chart_delta_e": 2.0}, "B"),
        ("VF", {"chart_delta_e": 4.0}, "C"),
        ("VF", {"chart_delta_e": 4.1}, "N"),
        ("VC", {"has_chart": False}, "N"),
        ("VC", {"chart_delta_e": None}, "C"),
        ("UV", {"patch_percent": -10}, "A"),
        ("UV", {"patch_percent": 25}, "B"),
        ("UV", {"patch_percent": 26}, "C"),
        ("UV", {"has_patch": False}, "N"),
        ("UV", {"patch_percent": None}, "C"),
        ("RK", {"support": SupportChange.RETENSIONED}, "C"),
        ("IR", {"support": SupportChange.FLATTENED}, "C"),
        ("XR", {"support": SupportChange.FORMAT}, "N"),
        ("XR", {"support": None}, "C"),
        ("VF", {"tilt_deg": 0.3}, "B"),
        ("VF", {"px_per_mm_ratio": 1.02}, "B"),
    ],
)
def test_rows_that_need_both_pictures(
    technique: str, changes: dict[str, Any], expected: str
) -> None:
    assert grade(technique, replace(PAIR, **changes)) == expected


@settings(max_examples=300, deadline=None)
@given(
    st.sampled_from(TECHNIQUES),
    st.lists(st.sampled_from([case[1] for case in CASES]), max_size=4),
    st.floats(0, 6),
)
def test_the_grade_is_always_the_worst_row(
    technique: str, changes: list[dict[str, Any]], chart: float
) -> None:
    merged = {name: value for change in changes for name, value in change.items()}
    found = grade_pair(
        technique,
        BEFORE,
        replace(BEFORE, **merged),
        replace(PAIR, chart_delta_e=chart),
        limits=LIMITS,
    )
    assert found.grade.rank == max(finding.grade.rank for finding in found.findings)
    assert found.deciding
    assert f"Grade {found.grade.value}" in found.sentence
    if found.grade is not Comparability.A:
        assert all(finding.reason in found.sentence for finding in found.deciding)


def test_nothing_recorded_is_never_better_than_indicative() -> None:
    for technique in TECHNIQUES:
        found = grade_pair(technique, SetUp(), SetUp(), Pair(), limits=LIMITS)
        assert found.grade.rank >= Comparability.C.rank


def test_the_sentence_names_the_row_and_what_cannot_be_told() -> None:
    found = grade_pair(
        "VF",
        BEFORE,
        BEFORE,
        replace(PAIR, chart_delta_e=1.6),
        limits=LIMITS,
        floor="colour differences under 2.2 ΔE00",
    )
    assert found.sentence == (
        "Grade B: the charts of the two shoots differ by 1.6 ΔE00 on average; colour differences "
        "under 2.2 ΔE00 cannot be told from the set-up."
    )


def test_maps_are_made_only_where_they_are_honest() -> None:
    allowed = {(t, g.value) for t, g in product(TECHNIQUES, Comparability) if may_map(t, g)}
    assert allowed == {
        ("VF", "A"), ("VF", "B"), ("VC", "A"), ("VC", "B"), ("UV", "A"), ("UV", "B"),
        ("IR", "A"), ("IR", "B"), ("XR", "A"),
    }  # fmt: skip


def test_measured_values_override_typed_ones_and_contradictions_are_said() -> None:
    measured = SetUp(elevation_deg=14, camera_serial="B9", px_per_mm=12.01)
    used, said = take_measured(BEFORE, measured, limits=LIMITS, which="after")
    assert (used.elevation_deg, used.camera_serial, used.px_per_mm) == (14, "B9", 12.01)
    assert said == (
        "The card says lamp elevation 10.0°, the file shows 14.0° (after).",
        "The card says camera B1, the file says B9 (after).",
    )
    assert grade_pair("RK", BEFORE, used, PAIR, limits=LIMITS).grade is Comparability.C


def test_lamps_are_paired_round_the_clock() -> None:
    assert widest_turn((350, 10, 180), (175, 355, 15)) == 5.0


def test_an_unknown_technique_names_those_that_are_known() -> None:
    with pytest.raises(ValueError, match="one of VF, VC, RK, UV, IR, XR"):
        grade_pair("ZZ", BEFORE, BEFORE, PAIR, limits=LIMITS)


@pytest.mark.parametrize("bad", [[3, 0.5], [0.5], "wide", [True, 3]])
def test_limits_that_make_no_sense_are_refused_by_name(bad: object) -> None:
    values = DATA["values"] | {
        "density.percent": DATA["values"]["density.percent"] | {"value": bad}
    }
    with pytest.raises(DataError, match=r"density\.percent"):
        GradeLimits.from_settings(DATA | {"values": values})


def test_every_number_of_the_map_is_in_the_data() -> None:
    assert MapLimits.from_settings(DATA).least_floor_delta_e == 1.5


def test_a_makers_name_before_a_model_is_no_disagreement() -> None:
    typed = replace(BEFORE, camera="Fenwick Optical Bay One")
    used, said = take_measured(typed, SetUp(camera="Bay One"), limits=LIMITS)
    assert (used.camera, said) == ("Fenwick Optical Bay One", ())
    _, said = take_measured(typed, SetUp(camera="Bay Two"), limits=LIMITS)
    assert said == ("The card says camera model Fenwick Optical Bay One, the file says Bay Two.",)


def test_nobody_can_vouch_for_a_chart_that_no_file_shows() -> None:
    unseen = replace(PAIR, has_chart=None, chart_delta_e=None)
    found = grade_pair("VF", BEFORE, BEFORE, unseen, limits=LIMITS, is_vouched=True)
    assert found.grade is Comparability.C
    assert [row.row for row in found.deciding] == ["chart"]
