"""Bad input gives a value with a reason, never a traceback."""

import json

import numpy as np
import pytest

from imaging_requests.imaging.files.data_values import DataError
from imaging_requests.imaging.files.verdicts import Outcome
from imaging_requests.imaging.measure import (
    bracket,
    evenness,
    fluorescence,
    infrared,
    outline,
    scale,
    specks,
    transfer,
    xray,
)
from imaging_requests.imaging.measure.checks import TECHNIQUES, check_frame
from imaging_requests.imaging.measure.encoding import power_encoding, read_encoding
from imaging_requests.imaging.measure.finding import Rules
from imaging_requests.imaging.measure.frame import frame_from_array
from imaging_requests.imaging.measure.plan import Plan
from imaging_requests.imaging.synthesis.colour import RGB_TO_XYZ
from imaging_requests.imaging.synthesis.profiles import wide_rgb_profile
from tests.pure.measure_samples import data, tools

PICTURES = {
    "one pixel": np.zeros((1, 1, 3), np.uint16),
    "one grey pixel": np.full((1, 1), 40_000, np.uint16),
    "one row": np.zeros((1, 300, 3), np.uint16),
    "black": np.zeros((200, 300, 3), np.uint16),
    "white": np.full((200, 300), 65_535, np.uint16),
    "one level": np.full((300, 200, 3), 30_000, np.uint16),
    "two levels": (np.random.default_rng(0).integers(0, 2, (200, 300)) * 255).astype(np.uint8),
    "noise": np.random.default_rng(1).integers(0, 65_536, (240, 260, 3)).astype(np.uint16),
}


@pytest.mark.parametrize("technique", TECHNIQUES)
@pytest.mark.parametrize("name", PICTURES)
def test_every_technique_answers_for_every_picture(technique, name):
    pixels = PICTURES[name]
    encoding = power_encoding(2.0, matrix=RGB_TO_XYZ if pixels.ndim == 3 else None)
    frame = frame_from_array(pixels, encoding, clip=tools().clip())
    plan = Plan(technique, direction="L", ev=0, px_per_mm=5, face_mm=(100, 80), polarity="")
    seen = check_frame(frame, plan, tools())
    assert seen
    assert all(each.sentence.endswith((".", ")")) for each in seen)
    assert all((each.value is None) == (each.outcome is Outcome.CANNOT_TELL) for each in seen)
    json.dumps([each.as_data() for each in seen], allow_nan=False)


@pytest.mark.parametrize("technique", TECHNIQUES)
def test_without_a_profile_colour_cannot_be_told(technique):
    frame = frame_from_array(PICTURES["noise"], None, clip=tools().clip())
    seen = check_frame(frame, Plan(technique, ev=0), tools())
    assert not [each for each in seen if each.rule_id[0] in "VRU" and each.rule_id in
                ("V1", "R3", "U1") and each.outcome is not Outcome.CANNOT_TELL]  # fmt: skip


@pytest.mark.parametrize(
    ("pixels", "words"),
    [
        (np.zeros((0, 5), np.uint8), "no picture"),
        (np.zeros(5, np.uint8), "no picture"),
        (np.zeros((5, 5, 2), np.uint16), "2 channels"),
        (np.zeros((5, 5, 5), np.uint16), "5 channels"),
        (np.zeros((5, 5), bool), "bool"),
        (np.full((5, 5), np.nan), "float64"),
    ],
)
def test_what_is_no_picture_says_so(pixels, words):
    assert words in frame_from_array(pixels, None, clip=(0.004, 0.996))


BAD = [
    np.zeros((0, 0)),
    np.zeros((1, 1)),
    np.full((80, 80), np.nan),
    np.zeros((80, 80, 3)),
    np.full((80, 80), np.inf),
    np.zeros(7),
]


@pytest.mark.parametrize("picture", BAD)
def test_the_functions_answer_none(picture):
    assert fluorescence.find_glow(picture) is None
    assert infrared.find_grey_row(picture, count=8) is None
    assert xray.find_marker(picture) is None
    assert xray.signal_to_noise(picture) is None
    assert evenness.measure_field(picture) is None
    assert evenness.banding([picture, picture]) in (None, 0.0)
    assert bracket.step_ev(picture, picture) is None
    assert bracket.shift_between(picture, picture) is None
    assert isinstance(outline.find_outline(picture), outline.NoOutline)
    assert scale.read_ruler(picture.ravel(), block_mm=10) is None
    assert specks.count_specks(picture, least=0.1) in (None, 0.0)
    assert transfer.clipped_share(picture, low=-1, high=2) in (None, 0.0, 1.0)


@pytest.mark.parametrize("cut", [0, 10, 127, 200, 400, 470])
def test_a_broken_profile_is_no_profile(cut):
    assert read_encoding(wide_rgb_profile()[:cut]) is None
    assert read_encoding(b"\xff" * cut) is None


def test_limits_that_are_not_whole_are_refused_by_name():
    broken = data("measurements")
    del broken["values"]["V1"]["value"]["pass"]
    with pytest.raises(DataError, match="V1"):
        Rules.from_settings(broken)
    with pytest.raises(DataError, match="X99"):
        tools().rules.rule("X99")


def test_every_limit_has_source_unit_and_mark():
    document = data("measurements")
    assert Rules.from_settings(document).ids()
    for name, entry in document["values"].items():
        assert entry["source"], name
        assert entry["mark"] in document["marks"], name
