"""The file rules, case by case: verdict, value, limit and words."""

from __future__ import annotations

import copy
from dataclasses import replace
from typing import Any

import pytest

from imaging_requests.imaging.files.data_values import DataError
from imaging_requests.imaging.files.derived import Derived
from imaging_requests.imaging.files.facts import Length, Profile, Structure
from imaging_requests.imaging.files.file_checks import FileChecks
from imaging_requests.imaging.files.levels import ChannelLevels
from imaging_requests.imaging.files.limits import Limits
from imaging_requests.imaging.files.recipe import Recipe
from imaging_requests.imaging.files.refusals import Reason, Unreadable
from imaging_requests.imaging.files.verdicts import (
    Outcome,
    Verdict,
    check_new,
    check_refused,
    check_structure,
)
from tests.pure.files_samples import checks, settings

AGREED = Profile("Ardenmoor wide RGB", "RGB", 476, "a" * 64, True)
GREY = Profile("Gray Gamma 2.2", "GRAY", 400, "b" * 64, True)
MASTER = Structure(
    format="tiff", width_px=4_000, height_px=3_000, bands=3, bits_per_sample=16,
    sample_format="unsigned", layout="strips", is_planar=False, byte_order="little",
    compression="none", is_lossy=False, colour="rgb", orientation=1, alpha="", extra_bands=0,
    pages=1, previews=0, has_layers=False, profile=AGREED, resolution_px_per_mm=None, exif=None,
    length=Length(72_000_500, 72_000_500),
)  # fmt: skip
RICH = ChannelLevels(distinct=30_000, lowest=100, highest=60_000, grid_share=0.004)
DECODED = Derived(
    key="k", source_sha256="c" * 64, width_px=4_000, height_px=3_000, files=(),
    is_tone_stretched=False, window=None, colour_source="embedded", levels=(RICH, RICH, RICH),
    alpha_is_opaque=None, turned_from=1, decoder="d", timings_ms={},
)  # fmt: skip
PLAN = (4_000, 3_000)


def verdict(
    rule_id: str, structure: Structure = MASTER, decoded: Any = DECODED, plan: Any = PLAN
) -> Verdict:
    found = check_structure(structure, checks=checks(), planned_size_px=plan, decoded=decoded)
    return next(one for one in found if one.rule_id == rule_id)


def levels(distinct: int, highest: int = 65_535, grid_share: float = 0.0) -> Derived:
    channel = ChannelLevels(distinct, 0, highest, grid_share)
    return replace(DECODED, levels=(channel, channel, channel))


def test_a_good_master_passes_every_rule_with_value_unit_and_limit() -> None:
    found = check_structure(MASTER, checks=checks(), planned_size_px=PLAN, decoded=DECODED)
    assert [one.rule_id for one in found] == ["G1", "G3", "G4", "G5", "G7"]
    for one in found:
        assert one.outcome is Outcome.PASS, one
        assert one.rule_version == 1
        assert one.value is not None
        assert one.unit
        assert one.limit
        assert one.as_data()["outcome"] == "pass"


def test_before_decoding_nothing_is_called_good_that_only_pixels_can_show() -> None:
    outcomes = {
        one.rule_id: one.outcome
        for one in check_structure(MASTER, checks=checks(), planned_size_px=PLAN)
    }
    assert outcomes == {
        "G1": Outcome.CANNOT_TELL,
        "G3": Outcome.CANNOT_TELL,
        "G4": Outcome.PASS,
        "G5": Outcome.PASS,
        "G7": Outcome.PASS,
    }


CASES: list[tuple[str, Structure, Any, Any, Outcome, str]] = [
    ("G1", replace(MASTER, length=Length(72_000_500, 72_000_000, "half is missing")), None, PLAN,
     Outcome.FAIL, "The file is cut short: half is missing."),
    ("G1", MASTER, Unreadable(Reason.DAMAGED, "Strip 7 is gone."), PLAN, Outcome.FAIL, "Strip 7"),
    ("G1", replace(MASTER, length=Length(None, 500)), DECODED, PLAN, Outcome.PASS, "whole"),
    ("G3", replace(MASTER, bits_per_sample=8), replace(DECODED, levels=()), PLAN, Outcome.FAIL,
     "has 8 bits per channel, a master needs 16"),
    ("G3", MASTER, levels(256), PLAN, Outcome.FAIL, "Upgraded from 8 bit: no channel uses more"),
    ("G3", MASTER, levels(257), PLAN, Outcome.PASS, "257 levels"),
    ("G3", MASTER, levels(180, highest=255), PLAN, Outcome.WARN, "Only the lowest 256 of 65,536"),
    ("G3", MASTER, replace(DECODED, levels=(ChannelLevels(180, 1_000, 1_255, 0.1),)), PLAN,
     Outcome.CANNOT_TELL, "flat field"),
    ("G3", MASTER, levels(1, highest=0), PLAN, Outcome.CANNOT_TELL, "flat field"),
    ("G3", MASTER, levels(180, highest=256), PLAN, Outcome.FAIL, "Upgraded from 8 bit"),
    ("G3", MASTER, levels(9_000, grid_share=0.2), PLAN, Outcome.WARN, "20% of the pixels"),
    ("G3", MASTER, levels(9_000, grid_share=0.19), PLAN, Outcome.PASS, "uses them"),
    ("G3", MASTER, Unreadable(Reason.DAMAGED, "x."), PLAN, Outcome.CANNOT_TELL, "says 16 bits"),
    ("G3", MASTER, replace(DECODED, levels=(RICH, ChannelLevels(200, 0, 65_535, 1.0))), PLAN,
     Outcome.PASS, "30,000 levels"),
    ("G4", replace(MASTER, profile=None), DECODED, PLAN, Outcome.FAIL,
     "No colour profile is embedded"),
    ("G4", replace(MASTER, profile=replace(AGREED, description="sRGB IEC61966-2.1")), DECODED, PLAN,
     Outcome.WARN, "The embedded profile is sRGB IEC61966-2.1; agreed is Ardenmoor wide RGB or"),
    ("G4", replace(MASTER, profile=replace(AGREED, description=" adobe  RGB (1998)")), DECODED,
     PLAN, Outcome.PASS, "agreed profile"),
    ("G4", replace(MASTER, profile=replace(AGREED, is_sound=False)), DECODED, PLAN, Outcome.FAIL,
     "cannot be used for this picture"),
    ("G4", replace(MASTER, profile=GREY), DECODED, PLAN, Outcome.FAIL, "another kind of colour"),
    ("G4", replace(MASTER, colour="grey", bands=1, profile=GREY), DECODED, PLAN, Outcome.PASS, ""),
    ("G4", replace(MASTER, colour="grey", bands=1, profile=AGREED), DECODED, PLAN, Outcome.FAIL,
     ""),
    ("G5", MASTER, DECODED, None, Outcome.CANNOT_TELL, "no planned size is known"),
    ("G5", MASTER, DECODED, (4_080, 3_000), Outcome.PASS, "planned were 4,080 × 3,000"),
    ("G5", MASTER, DECODED, (4_100, 3_000), Outcome.WARN, "2.4 % off"),
    ("G5", MASTER, DECODED, (4_200, 3_000), Outcome.WARN, "4.8 % off"),
    ("G5", MASTER, DECODED, (4_300, 3_000), Outcome.FAIL, "7.0 % off"),
    ("G5", MASTER, DECODED, (4_000, 3_300), Outcome.FAIL, "9.1 % off"),
    ("G5", MASTER, DECODED, (3_000, 4_000), Outcome.FAIL, "fits when turned by 90°"),
    ("G7", replace(MASTER, orientation=6), DECODED, PLAN, Outcome.FAIL,
     "stored turned (orientation flag 6)"),
    ("G7", replace(MASTER, has_layers=True), DECODED, PLAN, Outcome.FAIL, "holds layers"),
    ("G7", replace(MASTER, pages=3), DECODED, PLAN, Outcome.FAIL, "holds 3 pictures"),
    ("G7", replace(MASTER, is_lossy=True, compression="JPEG"), DECODED, PLAN, Outcome.FAIL,
     "compressed with loss (JPEG)"),
    ("G7", replace(MASTER, is_lossy=None, compression="WebP"), DECODED, PLAN, Outcome.CANNOT_TELL,
     "with or without loss"),
    ("G7", replace(MASTER, previews=2), DECODED, PLAN, Outcome.PASS, ""),
    ("G7", replace(MASTER, alpha="associated"), None, PLAN, Outcome.CANNOT_TELL, "has been"),
    ("G7", replace(MASTER, alpha="associated"), replace(DECODED, alpha_is_opaque=True), PLAN,
     Outcome.WARN, "hides nothing"),
    ("G7", replace(MASTER, alpha="associated"), replace(DECODED, alpha_is_opaque=False), PLAN,
     Outcome.FAIL, "transparency that is used"),
    ("G7", replace(MASTER, orientation=3, pages=2, is_lossy=True), DECODED, PLAN, Outcome.FAIL,
     "; it holds 2 pictures; deliver each as a file of its own; it is compressed"),
]  # fmt: skip


@pytest.mark.parametrize(("rule_id", "structure", "decoded", "plan", "outcome", "words"), CASES)
def test_each_rule_has_its_verdict_and_its_words(
    rule_id: str, structure: Structure, decoded: Any, plan: Any, outcome: Outcome, words: str
) -> None:
    found = verdict(rule_id, structure, decoded, plan)
    assert found.outcome is outcome, found
    assert words in found.sentence
    assert found.sentence.endswith(".")


def test_every_outcome_of_every_rule_is_among_the_cases() -> None:
    seen = {(case[0], case[4]) for case in CASES}
    possible = {
        "G1": {Outcome.PASS, Outcome.FAIL}, "G3": set(Outcome),
        "G4": {Outcome.PASS, Outcome.WARN, Outcome.FAIL}, "G5": set(Outcome), "G7": set(Outcome),
    }  # fmt: skip
    assert seen == {(rule, outcome) for rule, outcomes in possible.items() for outcome in outcomes}


def test_a_refused_file_fails_the_first_rule_with_its_own_sentence() -> None:
    found = check_refused(Unreadable(Reason.EMPTY, "It is empty."), checks=checks())
    assert (found.rule_id, found.outcome, found.value) == ("G1", Outcome.FAIL, "empty")
    assert found.sentence == "It is empty."


def test_the_same_file_twice_is_already_here() -> None:
    new = check_new("d" * 64, held_as=None, checks=checks())
    known = check_new("d" * 64, held_as="IMG_0042.tif", checks=checks())
    assert (new.rule_id, new.outcome) == ("G2", Outcome.PASS)
    assert known.outcome is Outcome.FAIL
    assert known.sentence.startswith(
        "Already here: exactly this content was received as IMG_0042.tif."
    )


# Data --------------------------------------------------------------------------------------------

READERS = {
    "file-checks": FileChecks.from_settings,
    "derivatives": Recipe.from_settings,
    "reading-limits": Limits.from_settings,
}


@pytest.mark.parametrize("name", READERS)
def test_every_number_stands_with_unit_source_and_mark_and_is_used(name: str) -> None:
    data = settings(name)
    READERS[name](data)
    for entry in data["values"]:
        for part in ("value", "unit", "source", "mark"):
            broken = copy.deepcopy(data)
            del broken["values"][entry][part]
            with pytest.raises(DataError, match=entry):
                READERS[name](broken)
        assert data["values"][entry]["mark"] in data["marks"]


@pytest.mark.parametrize(
    ("name", "entry", "value"),
    [
        ("file-checks", "depth.required_bits", "sixteen"),
        ("file-checks", "depth.required_bits", 16.5),
        ("file-checks", "size.pass_percent", -1),
        ("file-checks", "size.pass_percent", True),
        ("file-checks", "profile.agreed_rgb", "sRGB"),
        ("derivatives", "pyramid.tile_px", 500),
        ("derivatives", "thumbnail.sizes_px", []),
        ("derivatives", "thumbnail.sizes_px", [0]),
    ],
)
def test_data_of_the_wrong_kind_is_refused_by_name(name: str, entry: str, value: Any) -> None:
    data = settings(name)
    data["values"][entry]["value"] = value
    with pytest.raises(DataError, match=entry):
        READERS[name](data)


@pytest.mark.parametrize("name", READERS)
def test_data_without_a_version_is_refused(name: str) -> None:
    with pytest.raises(DataError, match="no version"):
        READERS[name](settings(name) | {"version": "one"})
