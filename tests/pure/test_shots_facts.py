"""Bad facts are refused or questioned in words; good ones on the same set-up pass."""

import json
from dataclasses import replace

import pytest

from imaging_requests.reckoning.shots import (
    BadFactsError,
    ask_facts,
    derive_shot_list,
    read_facts,
)
from tests.pure.shot_samples import PLAIN_CANVAS, PROTOCOL_3, SETTINGS, document, facts, shot_list


def refusals(**changes):
    reading = read_facts(document(**changes), settings=SETTINGS)
    assert (reading.facts is None) == bool(reading.refusals)
    return reading.refusals


def questions(**changes):
    return ask_facts(facts(**changes), settings=SETTINGS)


def test_the_untouched_document_passes():
    assert refusals() == ()
    assert questions() == ()


REFUSED = [
    ({"height_mm": -920}, "height_mm is -920 mm, but the height must be more than 0 mm."),
    ({"height_mm": 0.92}, "cannot be less than 5 mm: check the unit and the digits."),
    ({"width_mm": 1e-9}, "cannot be less than 5 mm: check the unit and the digits."),
    ({"depth_mm": 0.028}, "cannot be less than 0.1 mm: check the unit and the digits."),
    ({"weight_kg": 0.007}, "cannot be less than 0.01 kg: check the unit and the digits."),
    ({"width_mm": 0}, "width_mm is 0 mm, but the width must be more than 0 mm."),
    ({"height_mm": 1e9}, "height_mm is 1,000,000,000 mm, which is more than the studio believes"),
    ({"depth_mm": 0}, "depth_mm is 0 mm, but the depth must be more than 0 mm."),
    ({"warp_mm": -0.1}, "warp_mm is -0.1 mm, but the warp cannot be less than 0 mm."),
    ({"weight_kg": 0}, "weight_kg is 0 kg, but the weight must be more than 0 kg."),
    ({"height_mm": float("nan")}, "not a number that can be measured"),
    ({"height_mm": float("inf")}, "not a number that can be measured"),
    ({"height_mm": "920"}, "height_mm is the text “920”, but must be a number without a unit."),
    ({"height_mm": "92 cm"}, "height_mm is the text “92 cm”"),
    ({"height_mm": True}, "height_mm is True, but must be a number."),
    ({"height_mm": [920]}, "height_mm is [920], but must be a number."),
    ({"framed": "yes"}, "framed is 'yes', but must be true or false."),
    ({"glazed": 1}, "glazed is 1, but must be true or false."),
    ({"support": "jelly"}, "support is “jelly”, but must be one of: canvas, panel, copper"),
    ({"support": 7}, "support is 7, but must be text."),
    ({"light_class": "extreme"}, "light_class is “extreme”, but must be one of: low, medium, high"),
    ({"painted_faces": "F"}, "painted_faces is 'F', but must be a list"),
    ({"painted_faces": ["F", "X"]}, "painted_faces is “X”, but must be one of: F, B."),
    ({"kind": "statue"}, "kind is “statue”, but must be one of: painting, frame"),
    ({"flaking": "some"}, "flaking is “some”"),
    ({"pinned_px_per_mm": {"vis": 0}}, "pinned_px_per_mm for vis is 0 px/mm"),
    ({"pinned_px_per_mm": {"nir": 8}}, "names “nir”, but there are only: vis, ir, xr."),
    ({"pinned_px_per_mm": 12}, "must name a density for each rule"),
    ({"outline_mm": [[0, 0], [740, 0]]}, "at least three points"),
    ({"outline_mm": [[0, 0], [740], [0, 920]]}, "at least three points, each [x, y]"),
    ({"outline_mm": [[0, 0], [740, float("nan")], [0, 920]]}, "at least three points"),
]


@pytest.mark.parametrize(("changes", "words"), REFUSED, ids=lambda value: str(value)[:40])
def test_a_fact_that_cannot_be_true_is_refused_in_a_sentence(changes, words):
    (sentence,) = refusals(**changes)
    assert words in sentence
    assert sentence.endswith(".")


def test_every_bad_fact_is_named_at_once():
    assert len(refusals(height_mm=-1, width_mm="740", support="jelly")) == 3


@pytest.mark.parametrize("whole", [[], "facts", 7, None])
def test_something_that_is_no_object_is_refused(whole):
    reading = read_facts(whole, settings=SETTINGS)
    assert reading.facts is None
    assert "one JSON object" in reading.refusals[0]


def test_an_unknown_name_is_left_aside_with_a_hint():
    reading = read_facts(document(warp=4), settings=SETTINGS)
    assert reading.facts is not None
    assert reading.remarks == (
        "“warp” is not an object fact and was left aside. Did you mean warp_mm?",
    )


@pytest.mark.parametrize("name", [name for name in PLAIN_CANVAS if name != "object_number"])
@pytest.mark.parametrize("gone", ["null", "absent"])
def test_a_missing_fact_becomes_a_question_to_a_person(name, gone):
    given = document(**{name: None})
    if gone == "absent":
        del given[name]
    known = read_facts(given, settings=SETTINGS).facts
    answer = shot_list(known)
    if name == "sealed":
        assert answer.questions == (), "not asked for an object without glass"
        return
    assert answer.views == ()
    assert [question.fact for question in answer.questions] == [name]
    assert answer.questions[0].question.startswith(f"{name} is missing")
    assert answer.questions[0].who in answer.questions[0].question.lower()


def test_the_seal_is_asked_for_behind_glass():
    assert [q.fact for q in questions(glazed=True, sealed=None)] == ["sealed"]


def test_a_rolled_canvas_is_not_asked_for_its_warp():
    rolled = facts(rolled=True, warp_mm=None)
    answer = shot_list(rolled)
    assert answer.questions == ()
    assert answer.view("VF-F").focus_slices == 1
    assert any("flat bed" in text for text in answer.cautions)


class TestOutlineAgainstSize:
    UPRIGHT = [[0, 0], [740, 0], [740, 920], [0, 920]]

    def test_a_fitting_outline_passes(self):
        assert questions(outline_mm=self.UPRIGHT) == ()

    def test_swapped_height_and_width_are_questioned(self):
        (question,) = questions(height_mm=740, width_mm=920, outline_mm=self.UPRIGHT)
        assert question.fact == "height_mm"
        assert "height and width look swapped. Swap them?" in question.question

    def test_swapped_sizes_give_no_list_not_even_a_provisional_one(self):
        known = facts(height_mm=740, width_mm=920, outline_mm=self.UPRIGHT)
        assert shot_list(known).views == ()
        assert shot_list(known, provisional=True).views == ()

    def test_an_outline_that_fits_neither_way_is_questioned(self):
        (question,) = questions(outline_mm=[[0, 0], [500, 0], [500, 600]])
        assert "Which is right?" in question.question

    def test_a_back_with_its_own_outline_is_checked_too(self):
        (question,) = questions(outlines_mm={"B": [[0, 0], [920, 0], [920, 740], [0, 740]]})
        assert "outline of the back" in question.question


def test_a_depth_larger_than_both_sides_is_questioned():
    (question,) = questions(depth_mm=930)
    assert "are the three sizes in the right order?" in question.question


def test_a_bow_too_deep_for_the_size_is_questioned():
    (question,) = questions(height_mm=920, width_mm=740, warp_mm=185)
    assert (question.fact, question.who) == ("warp_mm", "a conservator")
    assert "185 mm) is more than 20 % of the long side (920 mm)" in question.question
    assert questions(height_mm=920, width_mm=740, warp_mm=184) == ()


def test_a_seal_without_a_frame_is_questioned():
    (question,) = questions(framed=False, glazed=True, sealed=True)
    assert question.fact == "sealed"
    assert "sealed is true, but framed is false" in question.question
    assert questions(framed=True, glazed=True, sealed=True) == ()


def test_a_painting_without_paint_on_its_front_is_questioned():
    assert [q.fact for q in questions(painted_faces=["B"])] == ["painted_faces"]
    assert [q.fact for q in questions(painted_faces=[])] == ["painted_faces"]


def test_words_are_read_whatever_their_case_and_spaces():
    known = facts(support="Paper on canvas", light_class="LOW", painted_faces=["back", "f"])
    assert (known.support, known.light_class) == ("paper_on_canvas", "low")
    assert known.painted_faces == ("F", "B")


def test_facts_from_elsewhere_are_checked_as_well():
    impossible = replace(facts(), height_mm=-1)
    with pytest.raises(BadFactsError, match="height_mm is -1 mm"):
        derive_shot_list(impossible, protocol=PROTOCOL_3, settings=SETTINGS)


def test_facts_survive_a_round_through_json():
    again = json.loads(json.dumps(document(outline_mm=[[0, 0], [740, 0], [370, 920]])))
    assert read_facts(again, settings=SETTINGS).facts == facts(
        outline_mm=[[0, 0], [740, 0], [370, 920]]
    )
