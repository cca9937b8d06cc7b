"""`check_image` answers by its schema, by sentences and by exit codes."""

import io
import json
from datetime import UTC, datetime
from importlib import resources

import jsonschema
import pytest
from django.core.management import CommandError, call_command

from imaging_requests.imaging import measure
from imaging_requests.imaging.synthesis import CameraNotes, Technique, write_tiff
from tests.pure.measure_samples import SPEC, shoot

NOTES = CameraNotes(taken_at=datetime(2026, 3, 4, 10, 0, tzinfo=UTC), exposure_s=0.1)
SCHEMA = json.loads(
    (resources.files(measure) / "schemas" / "check_image.json").read_text(encoding="utf-8")
)


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    made = tmp_path_factory.mktemp("pictures")
    for name, technique, options in (
        ("clean.tif", Technique.FLUORESCENCE, {}),
        ("slip.tif", Technique.FLUORESCENCE, {"has_barrier_filter": False}),
        ("darker.tif", Technique.FLUORESCENCE, {"ev": -1, "noise_seed": 3}),
        ("flash.tif", Technique.FLASH, {}),
    ):
        exposure = shoot(technique, **options)
        write_tiff(made / name, exposure.pixels, px_per_mm=2.5, notes=NOTES)
    (made / "text.tif").write_text("no picture", encoding="utf-8")
    return made


def ask(*arguments):
    out = io.StringIO()
    code = 0
    try:
        call_command("check_image", *(str(each) for each in arguments), "--json", stdout=out)
    except SystemExit as end:
        code = end.code
    answer = json.loads(out.getvalue())
    jsonschema.validate(answer, SCHEMA)
    return code, answer


def test_a_clean_frame(folder):
    code, answer = ask(
        folder / "flash.tif", "--technique", "VF", "--px-per-mm", 2.5,
        "--width-mm", SPEC.width_mm, "--height-mm", SPEC.height_mm,
    )  # fmt: skip
    assert (code, answer["verdict"]) == (0, "pass")
    assert {each["rule"] for each in answer["files"][0]["findings"]} >= {"V1", "V7", "G6", "G10"}


def test_a_forgotten_filter_fails_with_its_place(folder):
    code, answer = ask(folder / "slip.tif", "--technique", "UV")
    assert (code, answer["verdict"]) == (1, "fail")
    slip = next(each for each in answer["files"][0]["findings"] if each["rule"] == "U1")
    assert slip["verdict"] == "fail"
    assert slip["place_px"][2] > 10


def test_a_bracket_together(folder):
    files = (folder / "darker.tif", folder / "clean.tif")
    code, answer = ask(*files, "--technique", "UV", "--ev", -1, 0, "--wanted-ev", -1, 0, 1)
    assert code == 1
    assert "+1 is missing" in answer["together"][0]["sentence"]


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("text.tif", "--technique", "UV"), "text"),
        (("nowhere.tif", "--technique", "UV"), "nowhere"),
        (("clean.tif", "--technique", "UV", "--width-mm", "5"), "width and its height"),
        (("clean.tif", "--technique", "UV", "--px-per-mm", "-3"), "above 0"),
        (("clean.tif", "--technique", "UV", "--ev", "0", "1"), "exposures"),
        (("clean.tif", "--technique", "VF", "--chart", "none"), "No chart is called none"),
    ],
)
def test_refusals_are_sentences(folder, arguments, words):
    name, *rest = arguments
    with pytest.raises(CommandError, match=words) as refused:
        call_command("check_image", str(folder / name), *rest, stdout=io.StringIO())
    assert refused.value.returncode == 2


def test_words_for_people(folder):
    out = io.StringIO()
    call_command("check_image", str(folder / "clean.tif"), "--technique", "UV", stdout=out)
    assert "Only the glow reached the camera" in out.getvalue()


@pytest.mark.parametrize("option", ["--ev", "--wanted-ev"])
@pytest.mark.parametrize("value", ["nan", "inf", "-inf"])
def test_an_exposure_that_is_no_number_is_refused_in_a_sentence(folder, option, value):
    arguments = [str(folder / "clean.tif"), "--technique", "UV", f"{option}={value}", "--json"]
    with pytest.raises(CommandError, match=f"{option} takes numbers such as -1 or 0.5") as refused:
        call_command("check_image", *arguments)
    assert refused.value.returncode == 2
