"""Thresholds are data: each has unit, source and mark, and changing one changes the answer."""

import ast
import copy
from pathlib import Path

import pytest

from imaging_requests.reckoning import shots
from imaging_requests.reckoning.shots import BadSettingsError, read_settings
from tests.pure.shot_samples import facts, load, shot_list

DOCUMENT = load("studio/settings-1.json")


def changed(**values):
    """Settings with some values replaced; dots of the ids are written as double underscores."""
    document = copy.deepcopy(DOCUMENT)
    for name, value in values.items():
        document["values"][name.replace("__", ".")]["value"] = value
    return read_settings(document)


@pytest.mark.parametrize("name", DOCUMENT["values"])
def test_a_value_has_unit_source_and_mark(name):
    row = DOCUMENT["values"][name]
    assert set(row) == {"value", "unit", "source", "mark"}
    assert row["unit"]
    assert row["source"]
    assert row["mark"] in DOCUMENT["marks"]


def test_the_settings_have_a_version_and_a_date():
    settings = read_settings(DOCUMENT)
    assert (settings.id, settings.version, settings.published_on) == ("studio", 1, "2025-09-01")


@pytest.mark.parametrize(
    ("change", "question", "before", "after"),
    [
        ({"station__bay__overlap_fraction": 0.6}, lambda a: a.view("VF-F").tiles, (1, 2), (1, 3)),
        ({"station__bay__frame_px": [14204, 10652]}, lambda a: a.view("VF-F").tiles, (1, 2),
         (1, 1)),
        ({"station__xray__plate_mm": [180, 240]}, lambda a: a.view("XR").tiles, (2, 3), (4, 6)),
        ({"bracket__raking__narrow_up_to_ev": 0.7}, lambda a: len(a.view("RK-F-T").exposures_ev),
         3, 5),
        ({"bracket__uv_ev": [0, 1]}, lambda a: a.view("UV-F").frames, 4, 2),
        ({"method__ir__per_tile_min": 10}, lambda a: a.view("IR-F").minutes, 106, 94),
        ({"reserve__factor": 1.0}, lambda a: a.station("bay").minutes_with_reserve, 250, 215),
        ({"size__small__weight_up_to_kg": 6}, lambda a: a.moves.size_class, "small", "medium"),
        ({"light__studio_share_fraction": 0.01}, lambda a: a.dose.yearly_share_lxh, 60000, 6000),
        ({"near_miss__largest_fraction": 0.05}, lambda a: len(a.near_misses), 2, 1),
        ({"focus__usable_fraction": 0.05}, lambda a: a.view("VF-F").focus_slices, 1, 2),
        ({"order__techniques": ["UV", "VF", "VC", "RK", "IR", "XR"]},
         lambda a: a.views[0].view, "VF-F", "UV-F"),
    ],
)  # fmt: skip
def test_changing_a_value_changes_the_answer(change, question, before, after):
    assert question(shot_list()) == before
    assert question(shot_list(settings=changed(**change))) == after


def test_a_caution_shows_the_value_of_the_setting_it_names():
    def heat(answer):
        return next(text for text in answer.view("IR-F").cautions if text.startswith("Halogen"))

    assert heat(shot_list()) == (
        "Halogen at least 1.5 m away, surface rise at most 2 K, pause 5 min after every 10 min."
    )
    assert "at least 2 m away" in heat(shot_list(settings=changed(heat__lamp_distance_m=2)))


class TestNearMissByDefault:
    def test_inside_the_free_tolerance_it_is_applied_and_said(self):
        answer = shot_list(settings=changed(near_miss__is_applied_by_default=True))
        infrared = answer.view("IR-F")
        assert (infrared.px_per_mm, infrared.tiles) == (7.81, (2, 2))
        assert "Density lowered from 8 to 7.81 px/mm to save tiles." in infrared.notes

    def test_beyond_it_stays_a_question(self):
        answer = shot_list(settings=changed(near_miss__is_applied_by_default=True))
        assert answer.view("VF-F").tiles == (1, 2)
        (miss,) = answer.near_misses
        assert miss.needs_lead


def test_rental_days_too_short_for_one_plate_are_refused():
    large = facts(height_mm=2650, width_mm=3900)
    with pytest.raises(ValueError, match="Not one plate"):
        shot_list(large, settings=changed(rental__hire_min=85))


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("station.bay.margin_mm", "lack a value for “station.bay.margin_mm”"),
        ("method.ir.setup_min", "lack a value for “method.ir.setup_min”"),
        ("raking.elevation_deg", "lack a value for “raking.elevation_deg”"),
        ("density.vis.classes", "density rule “vis”, which does not exist"),
    ],
)
def test_a_missing_value_is_named(name, words):
    document = copy.deepcopy(DOCUMENT)
    del document["values"][name]
    with pytest.raises(BadSettingsError, match="studio settings") as refusal:
        shot_list(settings=read_settings(document))
    assert words in str(refusal.value)


@pytest.mark.parametrize(
    ("name", "value", "words"),
    [
        ("station.bay.margin_mm", "20", "must be a number"),
        ("station.bay.frame_px", [1], "must hold two numbers"),
        ("bracket.uv_ev", "0", "must be a list of numbers"),
        ("method.ir.station", "cellar", "works at station “cellar”, which does not exist"),
        ("method.ir.density", "nir", "density rule “nir”, which does not exist"),
        ("method.ir.bracket", "wide", "bracket “wide”, but must have one of single, raking, uv"),
        ("method.vf.lamp_on", "often", "lamp_on “often”, but must have one of none, fixed"),
        ("density.ir.classes", [], "must end with an open class"),
        (
            "density.ir.classes",
            [{"long_side_up_to_mm": 1500, "px_per_mm": 8}],
            "must end with an open class",
        ),
        ("size.order", ["small", "medium"], "The last size class must be open"),
        ("station.bay.overlap_fraction", 1, "overlap must leave room to advance"),
        ("caution.deep", {"when": {"fact": "colour", "is": 1}, "text": "x"}, "not an object fact"),
    ],
)
def test_a_value_of_the_wrong_kind_is_refused_in_words(name, value, words):
    document = copy.deepcopy(DOCUMENT)
    document["values"][name]["value"] = value
    with pytest.raises(BadSettingsError, match=words):
        shot_list(settings=read_settings(document))


def test_an_unknown_method_lists_the_known_ones():
    with pytest.raises(BadSettingsError, match=r"no working method “tl”\. There are: vf, vc, rk"):
        read_settings(DOCUMENT).method("tl")


def test_a_new_technique_is_rows_of_data_only():
    document = copy.deepcopy(DOCUMENT)
    for name, row in list(document["values"].items()):
        if name.startswith("method.vc."):
            document["values"][name.replace("method.vc.", "method.tl.")] = copy.deepcopy(row)
    document["values"]["method.tl.technique"]["value"] = "TL"
    line = shots.read_line({"id": "request 1", "technique": "TL", "face": "F"})
    answer = shot_list(settings=read_settings(document), extra_lines=[line])
    assert answer.view("TL-F").minutes == 26
    codes = [view.view for view in answer.views]
    assert codes.index("TL-F") == codes.index("UV-F") - 1, "ultraviolet stays last on the face"


def test_no_threshold_is_written_in_the_code():
    """Numbers in the package are structure (0, 1, 2, halves of turns, units), not thresholds."""
    allowed = {-1, 0, 1, 2, 3, 4, 9, 10, 60, 90, 100, 180, 270, 360, 1000, 3600, 25.4}
    allowed |= {0.0, 0.5, 1.0, 6, 1e15, 1e9}
    package = Path(shots.__file__).parent
    files = sorted(package.glob("*.py"))
    assert len(files) >= 20
    for path in files:
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Constant) and type(node.value) in (int, float):
                assert node.value in allowed, f"{path.name}:{node.lineno} has {node.value}"


def test_periods_are_whole_days():
    settings = changed(ahead__steps_days=21, merger__reversible_days=7)
    assert (settings.periods.steps_ahead.days, settings.periods.merger_reversible.days) == (21, 7)
    for wrong in (-1, 0.5, 1e9, "two weeks"):
        with pytest.raises(BadSettingsError, match=r"ahead\.windows_days"):
            changed(ahead__windows_days=wrong)
