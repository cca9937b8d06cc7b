"""The answer as a whole: schema, existing pictures, cautions, light, comparability."""

import json
from dataclasses import fields, replace

import jsonschema
import pytest

from imaging_requests.reckoning.schemas import load_schema
from imaging_requests.reckoning.shots import ObjectFacts, as_data, derive_owed
from tests.pure.shot_samples import (
    PLAIN_CANVAS,
    PROTOCOL_3,
    SETTINGS,
    document,
    facts,
    load,
    shot_list,
)

ANSWER = jsonschema.Draft202012Validator(load_schema("shot_list"))
FACTS = jsonschema.Draft202012Validator(load_schema("facts"))
TWO_SIDED = facts(
    painted_faces=["F", "B"],
    light_class="high",
    flash_allowed=False,
    light_used_lxh=1120,
    height_mm=1450,
    width_mm=1020,
    depth_mm=6,
    framed=False,
)


@pytest.mark.parametrize("schema", [ANSWER, FACTS], ids=["answer", "facts"])
def test_the_schemas_are_valid_schemas(schema):
    schema.check_schema(schema.schema)


@pytest.mark.parametrize(
    "known",
    [
        facts(),
        TWO_SIDED,
        facts(support="copper"),
        facts(depth_mm=None),
        facts(height_mm=2650, width_mm=3900),
        facts(glazed=True, sealed=True, flash_allowed=False),
    ],
)
def test_every_answer_fits_its_schema_after_json(known):
    plain = json.loads(json.dumps(as_data(shot_list(known))))
    ANSWER.validate(plain)


@pytest.mark.parametrize(
    "spoil",
    [
        lambda answer: answer["views"][0].pop("tiles"),
        lambda answer: answer["views"][0].update(face="front"),
        lambda answer: answer["views"][0].update(tiles=[1]),
        lambda answer: answer.update(extra=1),
        lambda answer: answer["stations"][0].pop("minutes_with_reserve"),
    ],
)
def test_the_schema_notices_a_spoilt_answer(spoil):
    plain = json.loads(json.dumps(as_data(shot_list())))
    spoil(plain)
    assert not ANSWER.is_valid(plain)


def test_the_facts_schema_accepts_the_demo_objects_and_names_every_fact():
    for row in load("demo/objects.json")["objects"]:
        FACTS.validate(row["facts"])
    named = set(FACTS.schema["properties"])
    assert named == {f.name for f in fields(ObjectFacts)} | {"object", "outline", "outline_mm"}


@pytest.mark.parametrize(
    "change", [{"height_mm": -1}, {"height_mm": "920"}, {"painted_faces": ["X"]}, {"framed": "no"}]
)
def test_the_facts_schema_refuses_what_the_reader_refuses(change):
    assert FACTS.is_valid(PLAIN_CANVAS)
    assert not FACTS.is_valid(document(**change))


def test_edges_and_xray_carry_the_agreed_faces():
    panel = facts(support="panel", depth_mm=18)
    edges, xray = shot_list(panel).view("VF-E"), shot_list(panel).view("XR")
    assert (edges.technique, edges.face, edges.tiles, edges.frames) == ("VF", "E", (4, 1), 4)
    assert (xray.technique, xray.face, xray.direction) == ("XR", "T", None)


def test_the_longest_edge_decides_the_density_of_the_edge_frames():
    wing = facts(support="panel", depth_mm=18, height_mm=1480, width_mm=560)
    edges = shot_list(wing).view("VF-E")
    assert edges.px_per_mm == 7.63
    assert "One frame per edge reaches 7.63 px/mm" in edges.notes[0]


class TestExistingPictures:
    def test_a_filed_view_is_not_shot_again(self):
        answer = shot_list(already_met={"UV-F": "filed", "XR": "accepted"})
        assert answer.view("UV-F") is None
        assert {(s.view, s.reason) for s in answer.already_met} == {
            ("UV-F", "filed"),
            ("XR", "accepted"),
        }
        assert answer.station("xray") is None
        assert answer.station("bay").minutes == 215 - 28

    def test_unless_somebody_wants_it_again(self):
        answer = shot_list(already_met={"UV-F": "filed"}, shoot_again={"UV-F"})
        assert answer.view("UV-F").minutes == 28
        assert answer.already_met == ()

    def test_with_only_front_views_left_nothing_is_turned(self):
        backs = dict.fromkeys(("VF-B", "RK-B-L", "UV-B"), "filed")
        bay = shot_list(already_met=backs).station("bay")
        assert (bay.turn_min, bay.minutes) == (0, 131)

    def test_when_all_is_there_the_list_is_empty_and_says_so(self):
        everything = {view.view: "filed" for view in shot_list().views}
        answer = shot_list(already_met=everything)
        assert (answer.views, answer.stations, answer.expected_files) == ((), (), 0)
        assert len(answer.already_met) == 10

    def test_a_visit_to_the_infrared_stand_alone_brings_its_own_slate(self):
        rest = {view.view: "filed" for view in shot_list().views if view.view != "IR-F"}
        answer = shot_list(already_met=rest)
        assert answer.expected_files_by_station == (("ir", 6 + 4),)


def test_a_partner_card_replaces_the_standard_card():
    answer = shot_list(partner_cards={"UV-F": "BAY-UV-06 v3"})
    assert answer.view("UV-F").setup_card == "BAY-UV-06 v3"
    assert answer.view("UV-B").setup_card == "BAY-UV-06"


def test_views_given_by_anchor_are_merged_into_one_shot():
    owed = derive_owed(facts(), protocol=PROTOCOL_3)
    ultraviolet = next(view for view in owed if view.code == "UV-F")
    answer = shot_list(owed=[ultraviolet, replace(ultraviolet, anchor="BT(T4)")])
    assert [(v.view, v.anchors) for v in answer.views] == [("UV-F", ("CUR", "BT(T4)"))]


class TestCautions:
    CASES = [
        ({"flaking": "general"}, "do not turn the object"),
        ({"flaking": "local"}, "a conservator is present when the object is placed"),
        ({"weight_kg": 15.1}, "two people"),
        ({"weight_kg": 40.1}, "four people and the lift"),
        ({"weight_kg": 60.1}, "floor set-up card"),
        ({"depth_mm": 61}, "edge rest deeper"),
        ({"warp_mm": 10}, "padded corners, do not clamp"),
        ({"glazed": True}, "unframe, or cross-polarise"),
        ({"glazed": True, "sealed": True}, "through glass"),
        ({"on_display": True}, "closing days only"),
        ({"loan_departure_in_days": 30}, "crate check"),
        ({"wax_lined": True}, "Wax lining"),
        ({"loose_keys": True}, "removes, tapes and bags them"),
        ({"metal_leaf": True}, "one more raking view from the top"),
        ({"toxic_dust_on_back": True}, "gloves and mask"),
        ({"engaged_frame": True}, "waiver of the edge view"),
        ({"heat_sensitive": True}, "Sensitive to heat"),
        ({"size_is": "sight"}, "frame opening"),
        ({"painted_faces": ["F", "B"]}, "which face is the front"),
    ]

    @pytest.mark.parametrize(("changes", "words"), CASES, ids=lambda value: str(value)[:30])
    def test_a_fact_raises_its_caution_and_only_then(self, changes, words):
        assert any(words in text for text in shot_list(facts(**changes)).cautions)
        assert not any(words in text for text in shot_list(facts()).cautions)

    @pytest.mark.parametrize(
        ("changes", "words"),
        [
            ({"weight_kg": 15}, "two people"),
            ({"weight_kg": 40}, "four people"),
            ({"depth_mm": 60}, "edge rest deeper"),
            ({"warp_mm": 9.9}, "padded corners"),
            ({"loan_departure_in_days": 31}, "crate check"),
        ],
    )
    def test_limits_belong_to_the_milder_side(self, changes, words):
        assert not any(words in text for text in shot_list(facts(**changes)).cautions)

    def test_an_xray_caution_is_silent_where_there_is_no_xray(self):
        keys = facts(loose_keys=True)
        assert any("loose" in text.lower() for text in shot_list(keys).cautions)
        without = shot_list(keys, already_met={"XR": "filed"})
        assert not any("stretcher keys" in text for text in without.cautions)

    def test_every_xray_line_defers_to_licensed_people_and_permits_nothing(self):
        (text,) = shot_list().view("XR").cautions
        assert "local law" in text
        assert "does not authorise" in text


class TestLight:
    def test_light_book_and_list_together_pass_the_share(self):
        dose = shot_list(TWO_SIDED).dose
        assert (dose.used_before_lxh, dose.yearly_share_lxh) == (1120, 1500)
        assert dose.over_share

    def test_both_painted_faces_count(self):
        dose = shot_list(TWO_SIDED).dose
        assert dose.light_lxh == pytest.approx(sum(dose.light_lxh_by_face.values()), abs=0.1)
        assert set(dose.light_lxh_by_face) == {"F", "B"}

    def test_the_caution_names_the_ways_out_and_who_decides(self):
        (text,) = [t for t in shot_list(TWO_SIDED).cautions if t.startswith("Light:")]
        assert "1,120 are in the light book" in text
        assert "ask the conservator, who decides" in text

    def test_within_the_share_there_is_no_such_caution(self):
        assert not any(text.startswith("Light:") for text in shot_list().cautions)

    @pytest.mark.parametrize(("cap", "said"), [(0.5, 2), (1, 0), (None, 0)])
    def test_a_conservators_own_ultraviolet_cap_counts(self, cap, said):
        answer = shot_list(facts(uv_cap_min=cap))
        assert sum(text.startswith("Ultraviolet:") for text in answer.cautions) == said


class TestFrameThatStaysOn:
    def test_xray_plates_are_counted_for_the_outer_size_of_the_frame(self):
        framed = facts(frame_stays_on=True, frame_height_mm=1100, frame_width_mm=920)
        answer = shot_list(framed)
        assert answer.view("XR").tiles == (3, 3)
        assert answer.view("VF-F").tiles == (1, 2)
        assert answer.moves.unframe_min == 0
        assert any("outer size of the frame" in text for text in answer.cautions)


class TestUnframing:
    @pytest.mark.parametrize(
        ("changes", "minutes"),
        [
            ({}, 45),
            ({"glazed": True}, 60),
            ({"framed": False}, 0),
            ({"glazed": True, "sealed": True}, 0),
            ({"height_mm": 1500}, 60),
            ({"weight_kg": 50, "glazed": True}, 105),
        ],
    )
    def test_minutes_by_size_and_glazing(self, changes, minutes):
        assert shot_list(facts(**changes)).moves.unframe_min == minutes


def test_a_tondo_skips_tiles_its_outline_does_not_touch():
    diamond = [[1500, 0], [3000, 1500], [1500, 3000], [0, 1500]]
    answer = shot_list(facts(height_mm=3000, width_mm=3000, outline_mm=diamond))
    xray = answer.view("XR")
    assert xray.tile_count == xray.tiles[0] * xray.tiles[1] - len(xray.empty_tiles)
    assert xray.empty_tiles
    assert xray.frames == xray.tile_count
    assert xray.minutes == 23 + 8 * xray.tile_count


def test_a_missing_corner_lies_on_the_other_side_when_seen_from_the_back():
    cut = [[0, 0], [2000, 0], [2000, 1500], [900, 1500], [900, 700], [0, 700]]
    known = facts(height_mm=1500, width_mm=2000, outline_mm=cut, painted_faces=["F", "B"])
    answer = shot_list(known)
    front, back = answer.view("IR-F"), answer.view("IR-B")
    assert front.tiles == back.tiles
    assert front.empty_tiles
    across = front.tiles[0]
    assert {(across - 1 - x, y) for x, y in front.empty_tiles} == set(back.empty_tiles)


def test_a_large_joined_picture_is_announced_as_bigtiff():
    large = facts(height_mm=2650, width_mm=3900, pinned_px_per_mm={"vis": 12})
    view = shot_list(large).view("VF-F")
    assert view.joined_bytes == 3940 * 12 * 2750 * 12 * 6
    assert any("9.4 GB and needs BigTIFF" in note for note in view.notes)


def test_the_same_facts_give_the_same_answer():
    assert shot_list() == shot_list()
    assert SETTINGS.version == 1
