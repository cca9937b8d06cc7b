"""`check_image` on files that are no pictures to be measured: a reason each, never a traceback."""

import io
import json
from importlib import resources

import jsonschema
import numpy as np
import pytest
import tifffile
from django.core.management import CommandError, call_command
from PIL import Image

from imaging_requests.imaging import measure
from imaging_requests.imaging.files.structure import read_structure
from imaging_requests.imaging.files.verdicts import Outcome
from imaging_requests.imaging.measure.checks import TECHNIQUES, check_frame
from imaging_requests.imaging.measure.frame import Frame
from imaging_requests.imaging.measure.plan import Plan
from imaging_requests.imaging.measure.read import read_frame
from tests.pure.measure_samples import tools
from tests.pure.test_measure_reading import CLIP, LIMITS

SCHEMA = json.loads(
    (resources.files(measure) / "schemas" / "check_image.json").read_text(encoding="utf-8")
)
RNG = np.random.default_rng(5)
NOISE = RNG.integers(0, 65_536, (60, 80, 4)).astype(np.uint16)
HOLES = np.where(NOISE[..., 0] > 40_000, np.nan, 0.5).astype(np.float32)
GREY = {"photometric": "minisblack"}
RGB = {"photometric": "rgb"}

#: Name → levels, how they are written, whether the file can be measured, words of the answer.
FILES = {
    "one pixel": (np.full((1, 1, 3), 900, np.uint16), RGB, True, "so small"),
    "one grey pixel": (np.full((1, 1), 900, np.uint16), GREY, True, "so small"),
    "one level": (np.full((400, 500, 3), 30_000, np.uint16), RGB, True, "8 bit"),
    "black": (np.zeros((400, 500), np.uint16), GREY, True, "8 bit"),
    "one column": (NOISE[:, :1, 0], GREY, True, "so small"),
    "two channels": (NOISE[..., :2], GREY | {"planarconfig": "contig"}, False, "2 channels"),
    "four inks": (NOISE, {"photometric": "separated"}, False, "grey and RGB"),
    "numbers with a point": (HOLES, GREY, False, "32-bit float"),
    "numbers with a sign": (NOISE[..., 0].astype(np.int16), GREY, False, "16 bits"),
    "doubles": (HOLES.astype(np.float64), GREY, False, "64-bit float"),
    "32 bits": (NOISE[..., 0].astype(np.uint32), GREY, False, "32"),
}


def ask(path, technique):
    out = io.StringIO()
    code, words = 0, ""
    try:
        call_command("check_image", str(path), "--technique", technique, "--json", stdout=out)
    except SystemExit as end:
        code = end.code
    except CommandError as error:
        code, words = error.returncode, str(error)
    answer = json.loads(out.getvalue())
    jsonschema.validate(answer, SCHEMA)
    return code, answer, words


def look(path, tmp_path, technique):
    frame = read_frame(path, clip=CLIP, limits=LIMITS, scratch=tmp_path)
    if not isinstance(frame, Frame):
        return None, frame.sentence
    plan = Plan(technique, direction="L", ev=0, px_per_mm=5, face_mm=(100, 80))
    seen = check_frame(frame, plan, tools())
    assert all((each.value is None) == (each.outcome is Outcome.CANNOT_TELL) for each in seen)
    assert Outcome.PASS not in {each.outcome for each in seen if each.rule_id == "V1"}
    return seen, " ".join(each.sentence for each in seen)


@pytest.mark.parametrize("technique", TECHNIQUES)
@pytest.mark.parametrize("name", FILES)
def test_every_file_has_its_reason(name, technique, tmp_path):
    pixels, options, is_measured, words = FILES[name]
    path = tmp_path / "frame.tif"
    tifffile.imwrite(path, pixels, **options)
    seen, said = look(path, tmp_path, technique)
    assert (seen is not None) is is_measured, said
    assert words in said


def test_one_bit_is_told_by_its_depth(tmp_path):
    path = tmp_path / "scan.tif"
    Image.fromarray(NOISE[..., 0] > 30_000).save(path)
    assert read_structure(path).bits_per_sample == 1
    for technique in TECHNIQUES:
        seen, said = look(path, tmp_path, technique)
        assert seen is not None
        depth = next(each for each in seen if each.rule_id == "G3")
        assert depth.outcome is Outcome.FAIL, said


@pytest.mark.parametrize(
    ("name", "code"), [("one pixel", 0), ("four inks", 2), ("numbers with a point", 2)]
)
def test_the_command_answers_by_its_schema(name, code, tmp_path):
    path = tmp_path / "frame.tif"
    tifffile.imwrite(path, FILES[name][0], **FILES[name][1])
    found, answer, words = ask(path, "VF")
    assert found == code
    assert ("refused" in answer["files"][0]) is (code == 2)
    assert "Traceback" not in words
