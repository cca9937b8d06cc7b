"""The command compare: its answer follows the schema, and bad input is answered in sentences."""

from __future__ import annotations

import io
import json
from pathlib import Path
from typing import Any

import jsonschema
import numpy as np
import pytest
from django.core.management import call_command
from PIL import Image

from imaging_requests.imaging.comparison.answer import load_schema
from imaging_requests.imaging.synthesis import Technique
from tests.pure import comparison_scenes as scenes


def run(*arguments: object) -> tuple[dict[str, Any], str]:
    out, err = io.StringIO(), io.StringIO()
    call_command("compare", *map(str, arguments), "--json", stdout=out, stderr=err)
    data = json.loads(out.getvalue())
    jsonschema.validate(data, load_schema())
    return data, err.getvalue()


def refused(*arguments: object) -> str:
    out, err = io.StringIO(), io.StringIO()
    with pytest.raises(SystemExit) as end:
        call_command("compare", *map(str, arguments), stdout=out, stderr=err)
    assert end.value.code == 2
    assert out.getvalue() == ""
    assert "Traceback" not in err.getvalue()
    return err.getvalue()


@pytest.fixture
def files(tmp_path: Path) -> tuple[Path, Path, str]:
    pair = scenes.shots()
    before = scenes.write(tmp_path / "before.tif", pair.before)
    pixels = pair.after.pixels.copy()
    pixels[150:210, 200:260] = (pixels[150:210, 200:260] * 0.7).astype(np.uint16)
    after = scenes.write(tmp_path / "after.tif", pair.after, pixels)
    (tmp_path / "same.json").write_text(json.dumps(scenes.SAME), "utf-8")
    return before, after, " ".join(str(value) for value in pair.matrix.ravel())


def test_a_darker_patch_is_found_and_drawn_with_its_sentence(
    files: tuple[Path, Path, str], tmp_path: Path
) -> None:
    before, after, matrix = files
    masters = before.read_bytes(), after.read_bytes()
    target = tmp_path / "told.png"
    data, err = run(
        before, after, "--matrix", matrix, "--px-per-mm", 3,
        "--set-ups", tmp_path / "same.json", "--output", target,
    )  # fmt: skip
    assert (data["grade"], data["map"]["may_be_shown"], err) == ("A", True, "")
    zone = data["map"]["zones"][0]
    assert (zone["width_mm"], zone["height_mm"]) == (
        pytest.approx(20, abs=2),
        pytest.approx(20, abs=2),
    )
    assert data["chart"]["found_in_both"] is True
    assert data["alignment"]["residual_mm"] < 0.2
    assert data["output"] == str(target)
    with Image.open(target) as picture:
        assert picture.size[0] > 3 * 600
    assert masters == (before.read_bytes(), after.read_bytes())


def test_without_set_ups_the_answer_is_indicative_and_no_map_is_drawn(
    files: tuple[Path, Path, str], tmp_path: Path
) -> None:
    before, after, matrix = files
    data, err = run(before, after, "--matrix", matrix)
    assert (data["grade"], data["map"]["may_be_shown"]) == ("C", False)
    assert "side by side only" in data["no_map_because"]
    assert "often a default and not a measurement" in err
    vouched, _ = run(before, after, "--matrix", matrix, "--same-set-up")
    assert (vouched["grade"], vouched["map"]["may_be_shown"]) == ("B", True)
    assert "only vouched for" in vouched["sentence"]


@pytest.mark.parametrize("lamp", [0.905, 0.8])
def test_an_ultraviolet_lamp_that_is_weaker_by_the_patch_is_no_change(
    lamp: float, tmp_path: Path
) -> None:
    pair = scenes.shots(Technique.FLUORESCENCE)
    before = scenes.write(tmp_path / "b.tif", pair.before)
    weaker = np.round(pair.before.pixels * lamp).astype(np.uint16)
    after = scenes.write(tmp_path / "a.tif", pair.before, weaker)
    glow = lamp if pair.before.is_linear else lamp**2
    same = {**scenes.SAME, "pair": {**scenes.SAME["pair"], "patch_percent": 100 * (glow - 1)}}
    (tmp_path / "same.json").write_text(json.dumps(same), "utf-8")
    data, _ = run(
        before, after, "--technique", "uv", "--px-per-mm", 3, "--matrix", "identity",
        "--set-ups", tmp_path / "same.json",
    )  # fmt: skip
    assert data["map"]["marked_percent"] < 1
    assert data["map"]["median_change"] < 2


def test_raking_pictures_get_an_arrow_and_no_map(tmp_path: Path) -> None:
    pair = scenes.shots(Technique.RAKING)
    before = scenes.write(tmp_path / "b.tif", pair.before)
    after = scenes.write(tmp_path / "a.tif", pair.after)
    (tmp_path / "same.json").write_text(json.dumps(scenes.SAME), "utf-8")
    data, _ = run(
        before, after, "--technique", "rk", "--px-per-mm", 3, "--output", tmp_path / "out.png",
        "--matrix", json.dumps(pair.matrix.tolist()), "--set-ups", tmp_path / "same.json",
    )  # fmt: skip
    assert data["map"] is None
    assert "shadows make no map" in data["no_map_because"]
    assert (tmp_path / "out.png").is_file()


def test_without_a_matrix_the_pictures_are_aligned(
    files: tuple[Path, Path, str], tmp_path: Path
) -> None:
    before, after, _ = files
    data, _ = run(before, after, "--px-per-mm", 3, "--set-ups", tmp_path / "same.json")
    assert data["map"]["may_be_shown"] is True
    assert data["alignment"]["residual_mm"] < 0.2
    assert data["map"]["zones"][0]["width_mm"] == pytest.approx(20, abs=2)


def test_a_wrong_matrix_is_noticed(files: tuple[Path, Path, str], tmp_path: Path) -> None:
    before, after, _ = files
    far = "1 0 40 0 1 25 0 0 1"
    data, _ = run(
        before, after, "--matrix", far, "--px-per-mm", 3, "--set-ups", tmp_path / "same.json"
    )
    assert data["map"] is None or data["map"]["may_be_shown"] is False
    assert "cannot be told" in data["no_map_because"]


def test_people_get_lines_of_text(files: tuple[Path, Path, str]) -> None:
    before, after, matrix = files
    out = io.StringIO()
    call_command(
        "compare", str(before), str(after), "--matrix", matrix, "--px-per-mm", "3",
        stdout=out, stderr=io.StringIO(),
    )  # fmt: skip
    assert out.getvalue().startswith("Grade C: ")


def test_bad_input_is_answered_in_sentences(files: tuple[Path, Path, str], tmp_path: Path) -> None:
    before, after, matrix = files
    text = tmp_path / "notes.tif"
    text.write_text("not a picture", "utf-8")
    assert "no file named gone.tif" in refused(before, tmp_path / "gone.tif", "--matrix", matrix)
    assert "is a text file" in refused(before, text, "--matrix", matrix)
    assert "technique ZZ is not known" in refused(before, after, "--technique", "ZZ")
    assert "neither nine numbers nor JSON" in refused(before, after, "--matrix", "1 2 3")
    assert "folds the picture flat" in refused(before, after, "--matrix", "0 0 0 0 0 0 0 0 1")
    assert "number above zero" in refused(before, after, "--matrix", matrix, "--px-per-mm", "-1")
    assert "does not end in .png" in refused(before, after, "--output", tmp_path / "x.tif")
    assert "is not overwritten" in refused(
        before, after, "--matrix", matrix, "--output", _there(tmp_path)
    )
    assert "does not exist" in refused(before, after, "--output", tmp_path / "no" / "x.png")
    for document, words in (
        ("[1]", "one JSON object"),
        ("{", "not valid JSON"),
        ('{"later": {}}', "known are before, after and pair"),
        ('{"before": {"colour": 1}}', "holds colour; known are camera"),
        ('{"after": {"aperture": "wide"}}', "aperture (after) must be a number"),
        ('{"after": {"band_nm": [900]}}', "two numbers"),
        ('{"pair": {"support": "burnt"}}', "must be one of none, retensioned"),
        ('{"before": {"is_framed": 1}}', "must be true or false"),
        ('{"before": {"lamps": [1]}}', "list of texts"),
    ):
        path = tmp_path / "set.json"
        path.write_text(document, "utf-8")
        assert words in refused(before, after, "--matrix", matrix, "--set-ups", path)


def _there(folder: Path) -> Path:
    path = folder / "there.png"
    path.write_bytes(b"kept")
    return path


@pytest.mark.parametrize(
    ("pixels", "words"),
    [
        (np.zeros((1, 1), np.uint8), "no colour profile"),
        (np.zeros((40, 40, 3), np.uint8), "no colour profile"),
    ],
)
def test_pictures_that_say_nothing_of_their_colour_are_refused(
    pixels: Any, words: str, tmp_path: Path
) -> None:
    path = tmp_path / "plain.png"
    Image.fromarray(pixels).save(path)
    found = refused(path, path, "--matrix", "identity", "--px-per-mm", 1)
    assert words in found


def test_a_constant_picture_gives_no_map_and_says_why(tmp_path: Path) -> None:
    pair = scenes.shots()
    flat = np.full_like(pair.before.pixels, 30_000)
    path = scenes.write(tmp_path / "flat.tif", pair.before, flat)
    data, _ = run(path, path, "--matrix", "identity", "--px-per-mm", 3, "--same-set-up")
    assert data["map"] is None
    assert "0 % of the parts" in data["no_map_because"]
    assert "same value everywhere" in refused(path, path, "--px-per-mm", 3)


def test_what_is_refused_is_told_as_json_too(tmp_path: Path) -> None:
    (tmp_path / "empty.tif").write_bytes(b"")
    for wrong in (tmp_path / "empty.tif", tmp_path, tmp_path / "gone.tif"):
        out, err = io.StringIO(), io.StringIO()
        with pytest.raises(SystemExit) as end:
            call_command("compare", str(wrong), str(wrong), "--json", stdout=out, stderr=err)
        assert end.value.code == 2
        data = json.loads(out.getvalue())
        jsonschema.validate(data, load_schema())
        assert data["refused"] == err.getvalue().strip()
        assert data["technique"] == "VF"


def test_grey_and_colour_do_not_mix(files: tuple[Path, Path, str], tmp_path: Path) -> None:
    grey = scenes.write(tmp_path / "ir.tif", scenes.shots(Technique.INFRARED).before)
    found = refused(files[0], grey, "--matrix", "identity", "--px-per-mm", 3)
    assert "One picture is in colour and the other is grey" in found
