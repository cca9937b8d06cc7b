"""The command itself on every tile vector, every worked example and every kind of bad fact."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from imaging_requests.reckoning.schemas import load_schema
from tests.pure.shot_samples import document
from tests.pure.test_shots_command import run
from tests.pure.test_shots_vectors import VECTORS

ROOT = Path(__file__).resolve().parents[2]


def answer(path: Path, facts: dict[str, Any]) -> dict[str, Any]:
    """Write FACTS.json, run the command, check the shape of what it prints."""
    file = path / "FACTS.json"
    file.write_text(json.dumps(facts), encoding="utf-8")
    code, out, err = run(str(file), "--json")
    assert (code, err) == (0, "")
    found: dict[str, Any] = json.loads(out)
    jsonschema.validate(found, load_schema("shot_list"))
    return found


def by_code(found: dict[str, Any]) -> dict[str, dict[str, Any]]:
    return {view["view"]: view for view in found["views"]}


@pytest.mark.parametrize("vector", VECTORS, ids=lambda v: f"{v[0]}x{v[1]}")
def test_the_command_prints_every_tile_vector(tmp_path: Path, vector: tuple[Any, ...]) -> None:
    width, height, density, *tiles, left, top = vector
    views = by_code(answer(tmp_path, document(width_mm=width, height_mm=height)))
    assert views["VF-F"]["px_per_mm"] == density
    codes = ("VF-F", "RK-F-L", "UV-F", "IR-F", "XR")
    assert [tuple(views[code]["tiles"]) for code in codes] == tiles
    assert len(views["RK-F-L"]["exposures_ev"]) == left
    assert len(views["RK-F-T"]["exposures_ev"]) == top
    assert (views["XR"]["technique"], views["XR"]["face"]) == ("XR", "T")


# facts; number of views; station: minutes and minutes with reserve; frames; desk minutes
EXAMPLES: dict[str, tuple[dict[str, Any], int, dict[str, tuple[float, float]], int, float]] = {
    "P1 copper": (
        {
            "height_mm": 240,
            "width_mm": 180,
            "depth_mm": 2,
            "warp_mm": 0,
            "weight_kg": 1.2,
            "support": "copper",
        },
        8,
        {"bay": (194, 225), "ir": (61, 75)},
        18,
        113,
    ),
    "P2 canvas": ({}, 10, {"bay": (215, 250), "ir": (121, 140), "xray": (71, 85)}, 35, 209),
    "P3 two-sided wing": (
        {
            "height_mm": 1480,
            "width_mm": 560,
            "depth_mm": 18,
            "warp_mm": 14,
            "weight_kg": 16,
            "support": "panel",
            "framed": False,
            "painted_faces": ["F", "B"],
        },
        14,
        {"bay": (307, 355), "ir": (300, 345), "xray": (87, 105)},
        68,
        307,
    ),
    "P4 oversized": (
        {"height_mm": 2650, "width_mm": 3900, "depth_mm": 45, "warp_mm": 25, "weight_kg": 95},
        10,
        {"bay": (382, 440), "ir": (367, 425), "xray": (695, 800)},
        258,
        713,
    ),
    "P5 gouache": (
        {
            "height_mm": 610,
            "width_mm": 480,
            "depth_mm": 12,
            "warp_mm": 3,
            "weight_kg": 6,
            "glazed": True,
            "sealed": True,
            "flash_allowed": False,
            "light_class": "high",
        },
        1,
        {"bay": (39, 45)},
        1,
        15,
    ),
    "P6 small warped panel": (
        {
            "height_mm": 330,
            "width_mm": 250,
            "depth_mm": 12,
            "warp_mm": 16,
            "weight_kg": 3,
            "support": "panel",
        },
        11,
        {"bay": (240, 280), "ir": (61, 75), "xray": (31, 40)},
        29,
        187,
    ),
}


@pytest.mark.parametrize("name", EXAMPLES)
def test_the_command_prints_every_worked_example(tmp_path: Path, name: str) -> None:
    changes, number, stations, frames, desk = EXAMPLES[name]
    found = answer(tmp_path, document(**changes))
    assert len(found["views"]) == number
    assert {
        each["station"]: (each["minutes"], each["minutes_with_reserve"])
        for each in found["stations"]
    } == stations
    assert sum(view["frames"] for view in found["views"]) == frames
    if name != "P5 gouache":
        assert sum(view["desk_minutes"] for view in found["views"]) == desk
    if number in (11, 14):
        edges = next(view for view in found["views"] if view["face"] == "E")
        assert (edges["technique"], edges["tiles"]) == ("VF", [4, 1])


def test_the_command_names_what_is_not_applicable_and_what_nearly_fits(tmp_path: Path) -> None:
    gouache = answer(tmp_path, document(**EXAMPLES["P5 gouache"][0]))
    assert len(gouache["not_applicable"]) == 9
    assert all(each["reason"] for each in gouache["not_applicable"])
    near = answer(tmp_path, document())["near_misses"]
    (infrared,) = (each for each in near if each["views"] == ["IR-F"])
    assert infrared["px_per_mm"] == pytest.approx(7.81, abs=0.005)
    assert (infrared["count_now"], infrared["count_then"]) == (6, 4)
    assert infrared["saves_minutes"] == 24
    slices = by_code(answer(tmp_path, document(**EXAMPLES["P6 small warped panel"][0])))
    assert slices["VF-F"]["focus_slices"] == 2


BAD: dict[str, tuple[dict[str, Any], tuple[str, ...], str]] = {
    "negative": ({"width_mm": -740}, (), "width_mm is -740 mm"),
    "zero": ({"depth_mm": 0}, (), "depth_mm is 0 mm"),
    "1e9 mm": ({"width_mm": 1e9}, (), "more than the studio believes"),
    "text": ({"weight_kg": "heavy"}, (), "weight_kg is the text “heavy”"),
    "missing": ({}, ("light_class",), "light_class is missing"),
    "swapped": (
        {"outline_mm": [[0, 0], [920, 0], [920, 740], [0, 740]]},
        (),
        "height and width look swapped",
    ),
}


def bad_facts(folder: Path, what: str) -> str:
    changes, gone, _ = BAD[what]
    facts = document(**changes)
    for name in gone:
        del facts[name]
    file = folder / "FACTS.json"
    file.write_text(json.dumps(facts), encoding="utf-8")
    return str(file)


@pytest.mark.parametrize("what", BAD)
def test_the_command_refuses_or_asks_about_bad_facts_in_words(tmp_path: Path, what: str) -> None:
    code, _, err = run(bad_facts(tmp_path, what), "--json")
    assert code == 2
    assert BAD[what][2] in err


def test_the_program_itself_ends_with_the_sentence(tmp_path: Path) -> None:
    done = subprocess.run(
        [sys.executable, "manage.py", "shot_list", bad_facts(tmp_path, "text"), "--json"],
        cwd=ROOT,
        env=os.environ | {"IMAGING_DATA_DIR": str(tmp_path / "data")},
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )
    assert done.returncode == 2
    assert BAD["text"][2] in done.stderr
    assert "Traceback" not in done.stderr
