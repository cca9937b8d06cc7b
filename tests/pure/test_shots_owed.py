"""Which views are owed: counts by kind of object, replacements, requests, missing facts."""

from dataclasses import replace

import pytest

from imaging_requests.reckoning.shots import (
    BadProtocolError,
    ObjectFacts,
    derive_owed,
    read_line,
    read_protocol,
)
from tests.pure.shot_samples import PROTOCOL_2, PROTOCOL_3, facts, load, shot_list


def owed(known, protocol=PROTOCOL_3, extra=()):
    views = derive_owed(known, protocol=protocol, extra_lines=extra)
    return [view.code for view in views if view.not_applicable is None]


def refused(known, protocol=PROTOCOL_3, extra=()):
    views = derive_owed(known, protocol=protocol, extra_lines=extra)
    return {v.code: v.not_applicable.rule_id for v in views if v.not_applicable is not None}


PANEL = {"support": "panel", "depth_mm": 18}
COUNTS = [
    ("canvas", {}, 10, 8),
    ("flat panel", PANEL | {"warp_mm": 9.9}, 10, 9),
    ("warped panel", PANEL | {"warp_mm": 10}, 11, 10),
    ("thin flat panel", {"support": "panel", "depth_mm": 7.9, "warp_mm": 0}, 9, 8),
    ("copper", {"support": "copper", "warp_mm": 0, "depth_mm": 2}, 8, 7),
    ("two-sided warped panel", PANEL | {"warp_mm": 14, "painted_faces": ["F", "B"]}, 14, 12),
    ("two-sided canvas, no flash", {"painted_faces": ["F", "B"], "flash_allowed": False}, 11, 9),
    ("sealed, no flash", {"glazed": True, "sealed": True, "flash_allowed": False}, 1, 1),
    ("sealed, flash allowed", {"glazed": True, "sealed": True}, 2, 1),
    ("frame", {"kind": "frame", "support": "wood", "painted_faces": [], "depth_mm": 90}, 4, 4),
    ("canvas, ultraviolet forbidden", {"uv_allowed": False}, 8, 6),
]


@pytest.mark.parametrize(("name", "changes", "in_version_3", "in_version_2"), COUNTS)
def test_counts_by_kind_of_object(name, changes, in_version_3, in_version_2):
    known = facts(**changes)
    assert len(owed(known, PROTOCOL_3)) == in_version_3
    assert len(owed(known, PROTOCOL_2)) == in_version_2


def test_every_view_names_its_line_and_anchor():
    views = derive_owed(facts(), protocol=PROTOCOL_3)
    assert {view.line_id for view in views} <= {line.id for line in PROTOCOL_3.lines}
    assert {view.anchor for view in views} == {"CUR"}
    assert all(view.line.waived_by == ("lead",) for view in views)


def test_a_frame_owes_front_raking_back_and_edges():
    frame = facts(kind="frame", support="wood", painted_faces=[])
    assert owed(frame) == ["VF-F", "RK-F-L", "VF-B", "VF-E"]


def test_support_frame_is_read_as_a_frame():
    assert owed(facts(support="frame", painted_faces=[])) == ["VF-F", "RK-F-L", "VF-B", "VF-E"]


class TestForbiddenFlash:
    panel = facts(**PANEL, flash_allowed=False)

    def test_back_turns_to_continuous_light_and_edges_keep_flash(self):
        assert "VC-B" in owed(self.panel)
        assert "VF-B" not in owed(self.panel)
        assert "VF-E" in owed(self.panel)

    def test_a_face_that_owes_continuous_light_owes_it_once(self):
        assert owed(self.panel).count("VC-F") == 1
        assert refused(self.panel) == {"VF-F": "flash-forbidden"}

    def test_under_version_2_the_front_still_gets_its_picture(self):
        assert "VC-F" in owed(self.panel, PROTOCOL_2)
        assert refused(self.panel, PROTOCOL_2) == {}

    def test_the_replaced_view_brings_the_minutes_of_continuous_light(self):
        assert shot_list(self.panel).view("VC-B").minutes == 26

    def test_the_same_panel_with_flash_keeps_every_flash_view(self):
        assert refused(replace(self.panel, flash_allowed=True)) == {}


class TestRequestLines:
    def test_a_request_adds_a_view(self):
        line = read_line({"id": "request 12", "technique": "IR", "face": "B"})
        assert owed(facts(), extra=[line])[-1] == "IR-B"

    def test_the_same_wish_joins_the_protocol_view(self):
        line = read_line({"id": "request 12", "technique": "IR", "face": "F"})
        views = derive_owed(facts(), protocol=PROTOCOL_3, extra_lines=[line])
        infrared = [view for view in views if view.code == "IR-F"]
        assert len(infrared) == 1
        assert infrared[0].also_asked_by == ("request 12",)

    def test_a_detail_is_a_view_of_its_own_at_its_own_density(self):
        line = read_line(
            {
                "id": "request 13",
                "technique": "VF",
                "face": "F",
                "detail": {"name": "signature", "region_mm": [100, 50, 120, 80], "px_per_mm": 48},
            }
        )
        answer = shot_list(facts(), extra_lines=[line])
        whole, detail = (view for view in answer.views if view.view == "VF-F")
        assert (whole.detail, whole.px_per_mm, whole.tiles) == (None, 12, (1, 2))
        assert (detail.detail, detail.px_per_mm, detail.tiles) == ("signature", 48, (1, 1))

    def test_a_detail_that_needs_tiles_is_tiled(self):
        region = {"name": "sky", "region_mm": [0, 0, 400, 200], "px_per_mm": 48}
        line = read_line({"id": "r", "technique": "VC", "face": "F", "detail": region})
        detail = next(v for v in shot_list(facts(), extra_lines=[line]).views if v.detail)
        assert detail.tiles == (3, 2), "440 × 300 mm with fields of 241.7 × 181.3 mm"

    def test_another_anchor_is_another_duty_but_the_same_shot(self):
        line = read_line({"id": "bt", "technique": "UV", "face": "F", "anchor": "BT(T4)"})
        views = derive_owed(facts(), protocol=PROTOCOL_3, extra_lines=[line])
        assert [v.anchor for v in views if v.code == "UV-F"] == ["CUR", "BT(T4)"]
        shot = shot_list(facts(), extra_lines=[line]).view("UV-F")
        assert shot.anchors == ("CUR", "BT(T4)")
        assert shot.protocol_lines == ("painted.uv", "bt")

    def test_a_request_may_override_a_rule_by_name(self):
        copper = facts(support="copper")
        plain = read_line({"id": "r", "technique": "XR", "face": "T"})
        despite = read_line(
            {"id": "r", "technique": "XR", "face": "T", "despite": ["metal-support"]}
        )
        assert refused(copper, extra=[plain]) == {"XR": "metal-support"}
        assert refused(copper, extra=[despite]) == {}
        assert "XR" in owed(copper, extra=[despite])

    def test_a_line_may_set_exposures_density_and_overlap(self):
        line = read_line(
            {
                "id": "r",
                "technique": "IR",
                "face": "B",
                "exposures_ev": [-1, 0, 1],
                "px_per_mm": 4,
                "overlap": 0.3,
            }
        )
        view = shot_list(facts(), extra_lines=[line]).view("IR-B")
        assert (view.px_per_mm, view.exposures_ev, view.tiles) == (4, (-1, 0, 1), (1, 1))
        assert view.frames == 3


class TestMissingFacts:
    def test_an_unknown_warp_makes_the_top_light_of_a_panel_provisional(self):
        panel = replace(facts(**PANEL), warp_mm=None)
        top = next(v for v in derive_owed(panel, protocol=PROTOCOL_3) if v.code == "RK-F-T")
        assert top.provisional_on == ("warp_mm",)

    def test_an_unknown_warp_does_not_matter_on_canvas(self):
        canvas = replace(facts(), warp_mm=None)
        views = derive_owed(canvas, protocol=PROTOCOL_3)
        assert all(view.provisional_on == () for view in views)

    def test_nothing_known_hides_no_view(self):
        views = derive_owed(ObjectFacts(), protocol=PROTOCOL_3)
        assert {"VF-F", "RK-F-T", "XR", "VF-E", "VF-B"} <= {view.code for view in views}
        assert all(v.provisional_on for v in views if v.code in ("VF-F", "RK-F-T", "XR", "VF-E"))

    def test_an_unknown_seal_is_named_on_the_views_it_could_take_away(self):
        unsure = replace(facts(), glazed=True, sealed=None)
        views = {view.code: view for view in derive_owed(unsure, protocol=PROTOCOL_3)}
        assert views["XR"].provisional_on == ("sealed",)
        assert views["VC-F"].provisional_on == ()


class TestBadProtocols:
    def good(self):
        return load("protocols/catalogue-3.json")

    def test_the_untouched_protocol_is_read(self):
        assert read_protocol(self.good()).version == 3

    def test_two_lines_with_one_id(self):
        document = self.good()
        document["lines"].append(document["lines"][0])
        with pytest.raises(BadProtocolError, match=r"share the id painted\.vf"):
            read_protocol(document)

    @pytest.mark.parametrize(
        ("change", "words"),
        [
            ({"face": "front"}, "face is “front”, but must be one of painted"),
            ({"direction": "W"}, "light direction is “W”, but must be one of L, R, T, B"),
            ({"technique": ""}, "an id and a technique are needed"),
            ({"when": {"fact": "colour", "is": "red"}}, "“colour”, which is not an object fact"),
            ({"when": {"fact": "warp_mm"}}, "exactly one test"),
            ({"when": {"all": []}}, "at least one condition"),
            ({"when": {"some": [1]}}, "“fact”, “all”, “any” or “not”"),
            ({"when": [1]}, "must be a group of named values"),
            ({"detail": {"region_mm": [0, 0, 0, 5], "px_per_mm": 48}}, "a detail needs region_mm"),
        ],
    )
    def test_a_bad_line_is_named(self, change, words):
        document = self.good()
        document["lines"][2] |= change
        with pytest.raises(BadProtocolError, match=r"painted\.rk\.left") as refusal:
            read_protocol(document)
        assert words in str(refusal.value)

    def test_a_missing_part_is_named(self):
        document = self.good()
        del document["title"]
        with pytest.raises(BadProtocolError, match="lacks 'title'"):
            read_protocol(document)
